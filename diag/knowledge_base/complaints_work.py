"""Complaints about work: findings no check yields, faults no repair cures, hazards without cautions, missing parts.

The ids of the injector, its seal and its code are part of the language, because what follows from taking an injector
out is. May import: within the room.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from diag.basics import listed
from diag.knowledge_base.cautions import cautions_for, cautions_of_danger
from diag.knowledge_base.complaints import Complaint, doings
from diag.knowledge_base.records import Check, Hazard, Knowledge, Reading, Repair

__all__ = ["check_work"]

_INJECTOR, _SEAL, _WRITE_CODE = "injector", "seal", "write_code"
_UNLISTED = "unlisted"  # what the knowledge does not list has no repair of its own
_SINGLE_USE = (("washer",), ("o-ring", "o_ring"), ("bolt",))  # new at every removal of an injector
_HAZARDS_OF_NEEDS: dict[str, Hazard] = {
    "engine_running": "engine running",
    "engine_warm": "engine running",  # what warms it
    "cranking_possible": "moving parts",
    "pressure_gone": "opens fuel pressure",  # what waits for that opens something that stood under it
}
_HAZARDS_OF_REMOVAL: tuple[Hazard, ...] = ("opens fuel pressure", "unplugs an injector")


def check_work(knowledge: Knowledge) -> Iterator[Complaint]:
    """Checks, repairs, and the engines on which they are done."""
    yield from _brought_by_no_check(knowledge)
    yield from _cured_by_no_repair(knowledge)
    for item, doing in doings(knowledge):
        yield from _hazards(knowledge, item, doing)
        yield from _parts(knowledge, item, doing)
    yield from _dangers(knowledge)
    yield from _codes(knowledge)
    yield from _engines(knowledge)


def _brought_by_no_check(knowledge: Knowledge) -> Iterator[Complaint]:
    brought = {one.item for check in knowledge.checks.values() for one in check.yields}
    for name, finding in knowledge.findings.items():
        if name not in brought and finding.kind == "symptom":
            sentence = "no check yields it; it comes only from what the customer tells"
            yield Complaint("no check yields it", f"findings.{name}", sentence, "note")
        elif name not in brought:
            yield Complaint("no check yields it", f"findings.{name}", f"no check yields this {finding.kind}")
    for name in knowledge.readings:
        if name not in brought:
            yield Complaint("no check yields it", f"readings.{name}", "no check yields this reading")


def _cured_by_no_repair(knowledge: Knowledge) -> Iterator[Complaint]:
    renewed = {component for repair in knowledge.repairs.values() for component in repair.renews}
    for name, component in knowledge.components.items():
        if component.fault and name not in renewed:
            weight: Literal["fault", "note"] = "note" if name.endswith(_UNLISTED) else "fault"
            yield Complaint("no repair cures it", f"components.{name}", "no repair renews it", weight)


def _dangers(knowledge: Knowledge) -> Iterator[Complaint]:
    """What is dangerous has a caution, or nobody is warned and no check is barred where it is probable."""
    for name, component in knowledge.components.items():
        states = [state for state, known in component.states.items() if known.dangerous]
        if states and not cautions_of_danger(knowledge, name):
            sentence = f"no caution speaks of its dangerous state '{states[0]}' ('danger:' there names it)"
            yield Complaint("hazard without caution", f"components.{name}", sentence)


def _takes_injector_out(doing: Check | Repair) -> bool:
    return isinstance(doing, Repair) and bool({_INJECTOR, _SEAL} & set(doing.renews))


def _hazards(knowledge: Knowledge, item: str, doing: Check | Repair) -> Iterator[Complaint]:
    warned = {hazard for caution in cautions_for(knowledge, doing) for hazard in caution.hazards}
    for hazard in doing.hazards:
        if hazard not in warned:
            yield Complaint("hazard without caution", item, f"no caution speaks of its hazard '{hazard}'")
    expected = [_HAZARDS_OF_NEEDS[need] for need in doing.needs if need in _HAZARDS_OF_NEEDS]
    expected += _HAZARDS_OF_REMOVAL if _takes_injector_out(doing) else ()
    for hazard in expected:
        if hazard not in doing.hazards:
            yield Complaint("hazard not named", item, f"by what it does, its hazards include '{hazard}'")


def _parts(knowledge: Knowledge, item: str, doing: Check | Repair) -> Iterator[Complaint]:
    """Taking an injector out spends its washer, O-ring and clamp bolt."""
    named = {
        part: f"{part} {knowledge.prices.parts[part].name}".lower()
        for part in doing.parts
        if part in knowledge.prices.parts
    }
    found = [any(word in text for text in named.values() for word in words) for words in _SINGLE_USE]
    spends_some = isinstance(doing, Check) and any(found)
    if not (_takes_injector_out(doing) or spends_some):
        return
    missing = [words[0] for words, there in zip(_SINGLE_USE, found, strict=True) if not there]
    if missing:
        sentence = f"it takes an injector out and fits no new {listed(missing, 'and no')}"
        yield Complaint("single-use part missing", item, sentence)
    for part, text in named.items():
        single_use = any(word in text for words in _SINGLE_USE for word in words)
        if single_use and not knowledge.prices.parts[part].single_use:
            sentence = f"the part '{part}' is never fitted twice, and prices.yaml does not say so"
            yield Complaint("single-use part missing", item, sentence)


def _codes(knowledge: Knowledge) -> Iterator[Complaint]:
    for name, repair in knowledge.repairs.items():
        if _INJECTOR in repair.renews and _WRITE_CODE not in repair.then:
            sentence = "it fits another injector, and the trim code is not written afterwards"
            yield Complaint("trim code not written", f"repairs.{name}", sentence)


def _engines(knowledge: Knowledge) -> Iterator[Complaint]:
    limits = {name for reading in knowledge.readings.values() for name in _limits_of(reading)}
    kinds = {doing.access for _, doing in doings(knowledge)} - {"none"}
    for name, engine in knowledge.engines.items():
        for limit in sorted(limits - set(engine.limits)):
            sentence = f"the limit '{limit}', which readings name, is missing (write 'value:' if only the maker knows)"
            yield Complaint("limit missing", f"engines.{name}", sentence, "note")
        for kind in sorted(kinds - set(engine.access_minutes)):
            sentence = f"checks and repairs need the access '{kind}', and its minutes are missing"
            yield Complaint("access minutes missing", f"engines.{name}", sentence)


def _limits_of(reading: Reading) -> list[str]:
    """The limits of the engine that a reading names."""
    named = (reading.limit, reading.relative_to, reading.scaled.by if reading.scaled is not None else None)
    return [name for name in named if name]
