"""Complaints about the steps of work: missing ones, hazards without a caution where they stand, parts fitted nowhere.

May import: within the room.
"""

from __future__ import annotations

from collections.abc import Iterator

from diag.basics import listed
from diag.knowledge_base.complaints import Complaint
from diag.knowledge_base.records import Knowledge, Repair, WorkStep
from diag.knowledge_base.steps import cautions_at, steps_of

__all__ = ["check_steps_of_work"]

_TAKES_OUT = "unplugs an injector"  # the hazard that every removal of an injector has somewhere on its way


def check_steps_of_work(knowledge: Knowledge) -> Iterator[Complaint]:
    """Repairs, the dismantling, and each step."""
    for name, repair in knowledge.repairs.items():
        if not repair.steps:
            yield Complaint("no steps", f"repairs.{name}", "it has no steps; a work sheet would leave it out")
        else:
            yield from _repair(knowledge, f"repairs.{name}", repair)
    for name, kind in knowledge.vocabulary.access.items():
        missing = [word for word, steps in (("opening", kind.open), ("closing", kind.close)) if not steps]
        if missing and knowledge.steps:
            sentence = f"it has no steps for {listed(missing, 'and')}"
            yield Complaint("no steps", f"vocabulary.access.{name}", sentence)
    for name, step in knowledge.steps.items():
        yield from _step(knowledge, f"steps.{name}", step)


def _repair(knowledge: Knowledge, item: str, repair: Repair) -> Iterator[Complaint]:
    steps = steps_of(knowledge, repair).values()
    standing = {hazard for step in steps for hazard in step.hazards}
    for hazard in repair.hazards:
        if hazard not in standing:
            yield Complaint("hazard at no step", item, f"its hazard '{hazard}' stands at none of its steps")
    for name in repair.steps:
        step = knowledge.steps[name]
        for hazard in step.hazards if step.stage == "work" else ():
            if hazard not in repair.hazards:
                sentence = f"its step '{name}' has the hazard '{hazard}', and it does not name it"
                yield Complaint("hazard not named", item, sentence)
    named = {name for step in steps for name in cautions_at(knowledge, step)}
    for name in repair.cautions:
        if name not in named and not knowledge.cautions[name].head_only:
            yield Complaint("hazard at no step", item, f"its caution '{name}' stands at none of its steps")
    fitted = {part for step in steps for part in step.parts}
    missing = [part for part in repair.parts if part not in fitted]
    if missing:
        yield Complaint("part at no step", item, f"no step of it fits or uses up {listed(missing, 'or')}")
    uncounted = sorted(fitted - set(repair.parts))
    if uncounted:
        sentence = f"its steps fit or use up {listed(uncounted, 'and')}, and it does not count that among its parts"
        yield Complaint("part at no step", item, sentence)
    if any(step.removes_injector for step in steps) and _TAKES_OUT not in standing:
        yield Complaint("hazard at no step", item, f"it takes an injector out, and no step '{_TAKES_OUT}'")


def _step(knowledge: Knowledge, item: str, step: WorkStep) -> Iterator[Complaint]:
    warned = {hazard for caution in cautions_at(knowledge, step).values() for hazard in caution.hazards}
    for hazard in step.hazards:
        if hazard not in warned:
            sentence = f"no caution that stands at a step speaks of its hazard '{hazard}'"
            yield Complaint("hazard without caution", item, sentence)
    known = {name for engine in knowledge.engines.values() for name in engine.torques}
    for name in step.torques:
        if name not in known:
            sentence = f"no engine names the tightening value '{name}' (write it there, empty if only the maker knows)"
            yield Complaint("torque unknown", item, sentence)
    kinds = knowledge.vocabulary.access.values()
    used = {name for kind in kinds for name in (*kind.open, *kind.close)}
    used |= {name for repair in knowledge.repairs.values() for name in repair.steps}
    if item.removeprefix("steps.") not in used:
        yield Complaint("unused", item, "no repair and no dismantling names it", "note")
