"""What a fault is called. May import: `diag.basics`, sheets, words."""

from __future__ import annotations

from diag.basics import listed
from diag.report.sheets_weigh import FaultLine
from diag.report.words import WEIGH

__all__ = ["fault_words", "likely_states", "only_state"]

MOST_OF_IT = 0.8
BY_ITSELF = 0.1  # a state as likely as this is named whatever the others come to


def fault_words(fault: FaultLine) -> str:
    """The component with the states that it is likely in: `combustion seal: weeping or blown`."""
    words = f"{fault.name}: {listed(likely_states(fault))}" if fault.listed else fault.name
    return f"{words} ({WEIGH['dangerous']})" if fault.dangerous else words


def likely_states(fault: FaultLine) -> tuple[str, ...]:
    """The unsound states, likeliest first, that together make up most of its chance, and any that is likely enough by
    itself; where it is dangerous also the state for which it is."""
    unsound = sorted(fault.states[1:], key=lambda state: -state.chance)
    total, names = 0.0, list[str]()
    for state in unsound:
        enough = total >= MOST_OF_IT * fault.chance and names and state.chance < BY_ITSELF
        if not enough or (fault.dangerous and state.dangerous):
            names.append(state.name)
            total += state.chance
    return tuple(names)


def only_state(fault: FaultLine) -> str | None:
    """The id of the one unsound state that stands for the fault; none where another is likely enough to be named."""
    main, *others = sorted(fault.states[1:], key=lambda state: -state.chance)
    alone = main.chance >= MOST_OF_IT * fault.chance and all(other.chance < BY_ITSELF for other in others)
    return main.state if alone else None
