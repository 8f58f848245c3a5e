"""What a fault is called. May import: `diag.basics`, sheets, words."""

from __future__ import annotations

from diag.basics import listed
from diag.report.sheets_weigh import FaultLine
from diag.report.words import WEIGH

__all__ = ["fault_words", "likely_states"]

MOST_OF_IT = 0.8


def fault_words(fault: FaultLine) -> str:
    """The component with the states that it is likely in: `combustion seal: weeping or blown`."""
    words = f"{fault.name}: {listed(likely_states(fault))}" if fault.listed else fault.name
    return f"{words} ({WEIGH['dangerous']})" if fault.dangerous else words


def likely_states(fault: FaultLine) -> tuple[str, ...]:
    """The unsound states, likeliest first, that together make up most of its chance; where it is dangerous also the
    state for which it is."""
    unsound = sorted(fault.states[1:], key=lambda state: -state.chance)
    total, names = 0.0, list[str]()
    for state in unsound:
        if total < MOST_OF_IT * fault.chance or not names or (fault.dangerous and state.dangerous):
            names.append(state.name)
            total += state.chance
    return tuple(names)
