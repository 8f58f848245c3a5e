"""The cautions that are printed with a check or a repair. May import: within the room `records`."""

from __future__ import annotations

from collections.abc import Iterator

from diag.knowledge_base.records import Caution, Check, Knowledge, Repair, WorkStep

__all__ = ["cautions_for", "cautions_of_danger", "hazards_of"]


def cautions_for(knowledge: Knowledge, doing: Check | Repair) -> tuple[Caution, ...]:
    """Every caution that a check or repair names, then every one for a hazard of it, each once; those of the steps by
    which its place is opened and closed are among them."""
    steps, hazards = tuple(_steps_of_access(knowledge, doing.access)), hazards_of(knowledge, doing)
    called = [*doing.cautions, *(name for step in steps for name in step.cautions)]
    named = [name for name in called if name in knowledge.cautions]
    by_hazard = [name for name, caution in knowledge.cautions.items() if set(caution.hazards) & hazards]
    return tuple(knowledge.cautions[name] for name in dict.fromkeys([*named, *by_hazard]))


def hazards_of(knowledge: Knowledge, doing: Check | Repair) -> frozenset[str]:
    """The hazards of a check or repair, and of the steps by which its place is opened and closed."""
    steps = _steps_of_access(knowledge, doing.access)
    return frozenset({*doing.hazards, *(hazard for step in steps for hazard in step.hazards)})


def cautions_of_danger(knowledge: Knowledge, component: str) -> tuple[str, ...]:
    """Ids of the cautions that stand where a dangerous state of a component is probable: its own, and those of the
    findings that would show it."""
    states = [state.danger for state in knowledge.components[component].states.values() if state.dangerous]
    shown = [finding.danger for finding in knowledge.findings.values() if finding.shows == component]
    return tuple(dict.fromkeys(name for names in (*states, *shown) for name in names))


def _steps_of_access(knowledge: Knowledge, access: str) -> Iterator[WorkStep]:
    """The steps that open and close a kind of access, and the kinds that are open with it."""
    kind = knowledge.vocabulary.access.get(access)
    if kind is None:
        return
    for name in (*kind.open, *kind.close):
        if name in knowledge.steps:
            yield knowledge.steps[name]
    for inner in kind.includes:
        yield from _steps_of_access(knowledge, inner)
