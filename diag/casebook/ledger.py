"""The ledger of trim codes: what the codes on the parts and in the control unit say when they are held side by side.

That a code has a length and an alphabet, that each injector has its own, and that it goes with the injector, is common
practice; no source. May import: the records of `diag.knowledge_base`, and within the room the records of the case.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from diag.casebook.cases import ABSENT, PRESENT, Answer, Case, TrimCode, Work
from diag.knowledge_base import Knowledge

__all__ = ["LedgerRemark", "TrimVerdict", "ledger_answers", "ledger_remarks", "trim_verdict", "trim_verdicts"]

MISMATCH, NOT_STORED, ELSEWHERE = "code_mismatch", "code_not_stored", "code_belongs_elsewhere"
IN_FIRING_ORDER = "codes_in_firing_order"
REPLACES = "injector"

Verdict = Literal["agrees", "not_stored", "old_code", "of_another", "differs", "unknown"]
Remark = Literal["same_part", "same_unit", "unchanged_part", "unchanged_unit", "firing_order", "exchanged", "not_noted"]


@dataclass(frozen=True)
class TrimVerdict:
    """How the code stored for a cylinder compares with the one on its injector. `of` is the cylinder on whose injector
    the stored code is printed, for 'of_another'."""

    cylinder: int
    verdict: Verdict
    of: int | None = None


@dataclass(frozen=True)
class LedgerRemark:
    """Something about the ledger as a whole that a person should look at, and the cylinders that it is about.

    `same_part`: injectors that carry one code; `same_unit`: cylinders for which one code is stored; `unchanged_part`: a
    new injector that carries the old one's code; `unchanged_unit`: a new injector, and the old code still stored;
    `firing_order`: the codes are stored in the order of firing; `exchanged`: two codes each in the place of the other;
    `not_noted`: cylinders of which no code was noted.
    """

    kind: Remark
    cylinders: tuple[int, ...]


def trim_verdicts(case: Case, knowledge: Knowledge) -> tuple[TrimVerdict, ...]:
    """The verdict of every cylinder in the ledger."""
    renewed = _renewed(case, knowledge)
    return tuple(trim_verdict(entry, case.trim_codes, entry.cylinder in renewed) for entry in case.trim_codes)


def trim_verdict(entry: TrimCode, ledger: tuple[TrimCode, ...], renewed: bool) -> TrimVerdict:
    """The verdict of one cylinder. `renewed`: whether work is told of that put another injector there."""
    if entry.unit == "":
        return TrimVerdict(entry.cylinder, "not_stored")
    if entry.unit is None:
        return TrimVerdict(entry.cylinder, "unknown")
    if entry.unit == entry.part:
        return TrimVerdict(entry.cylinder, "agrees")
    another = next((each.cylinder for each in ledger if each is not entry and each.part == entry.unit), None)
    if another is not None:
        return TrimVerdict(entry.cylinder, "of_another", another)
    if _still_the_old(entry, renewed):
        return TrimVerdict(entry.cylinder, "old_code")
    return TrimVerdict(entry.cylinder, "unknown" if entry.part is None else "differs")


def _still_the_old(entry: TrimCode, renewed: bool) -> bool:
    """Whether the stored code is the one of the injector that was there before."""
    if entry.unit == entry.part_before:
        return True
    changed = renewed or (entry.part is not None and entry.part_before is not None and entry.part != entry.part_before)
    return changed and entry.unit == entry.unit_before


def ledger_answers(case: Case, knowledge: Knowledge) -> tuple[Answer, ...]:
    """What the ledger says of the findings about trim codes, each fact once: codes that agree answer 'differs' with no;
    codes that differ answer it with yes, and say of what kind the difference is where that can be seen. Where they
    stand in the order of firing, that is the fact: either they were written so or the control unit counts so, and no
    single code can be told wrong until that is known."""
    answers: list[Answer] = []
    in_order = any(remark.kind == "firing_order" for remark in ledger_remarks(case, knowledge))
    if in_order:
        answers.append(Answer(IN_FIRING_ORDER, None, PRESENT))
    parts_known = {entry.cylinder for entry in case.trim_codes if entry.part is not None} == set(case.engine.cylinders)
    by_cylinder = {entry.cylinder: entry for entry in case.trim_codes}
    for verdict in trim_verdicts(case, knowledge):
        if in_order and verdict.verdict == "of_another":
            continue
        said = dict(_said(verdict, by_cylinder[verdict.cylinder].part is not None, parts_known))
        answers += [Answer(item, verdict.cylinder, answer) for item, answer in said.items()]
    return tuple(answer for answer in answers if answer.item in knowledge.findings)


def _said(verdict: TrimVerdict, part_known: bool, parts_known: bool) -> Iterator[tuple[str, str]]:
    match verdict.verdict:
        case "agrees":
            yield MISMATCH, ABSENT
        case "of_another":
            if part_known:
                yield MISMATCH, PRESENT
            yield ELSEWHERE, PRESENT
        case "not_stored" | "old_code":
            if part_known:
                yield MISMATCH, PRESENT
            yield NOT_STORED, PRESENT
        case "differs":
            yield MISMATCH, PRESENT
            if parts_known:
                yield ELSEWHERE, ABSENT


def ledger_remarks(case: Case, knowledge: Knowledge) -> tuple[LedgerRemark, ...]:
    """What a person should look at, in the order in which it is said."""
    ledger, renewed = case.trim_codes, _renewed(case, knowledge)
    if not ledger:
        return ()
    parts = {entry.cylinder: entry.part for entry in ledger if entry.part}
    units = {entry.cylinder: entry.unit for entry in ledger if entry.unit}
    found = [LedgerRemark("same_part", same) for same in _alike(parts)]
    found += [LedgerRemark("same_unit", same) for same in _alike(units)]
    as_before = tuple(
        entry.cylinder
        for entry in ledger
        if entry.cylinder in renewed and entry.part and entry.part == entry.part_before
    )
    still = tuple(
        entry.cylinder
        for entry in ledger
        if entry.unit and entry.unit != entry.part and _still_the_old(entry, entry.cylinder in renewed)
    )
    found += [LedgerRemark("unchanged_part", as_before)] if as_before else []
    found += [LedgerRemark("unchanged_unit", still)] if still else []
    found += _orders(parts, units, case.engine.firing_order)
    missing = tuple(number for number in case.engine.cylinders if number not in {entry.cylinder for entry in ledger})
    return (*found, *([LedgerRemark("not_noted", missing)] if missing else []))


def _alike(codes: Mapping[int, str]) -> list[tuple[int, ...]]:
    """Groups of cylinders with one and the same code."""
    groups: dict[str, list[int]] = {}
    for cylinder, code in codes.items():
        groups.setdefault(code, []).append(cylinder)
    return [tuple(group) for group in groups.values() if len(group) > 1]


def _orders(parts: Mapping[int, str], units: Mapping[int, str], firing_order: tuple[int, ...]) -> list[LedgerRemark]:
    """Whether the codes stand in the order of firing, or pairwise exchanged.

    In the order of firing: the code stored as number k is that of the k-th cylinder to fire (a control unit that counts
    so, read out by cylinder), or the other way round (codes written by cylinder into such a unit).
    """
    wrong = [number for number in parts if number in units and parts[number] != units[number]]
    if not wrong or len(set(parts.values())) < len(parts):
        return []
    order = dict(enumerate(firing_order, start=1))
    for turned in (order, {number: place for place, number in order.items()}):
        told = [number for number in units if turned[number] in parts]
        if len(told) >= 3 and set(wrong) <= set(told) and all(units[each] == parts[turned[each]] for each in told):
            return [LedgerRemark("firing_order", tuple(sorted(wrong)))]
    pairs = [
        (first, second)
        for place, first in enumerate(wrong)
        for second in wrong[place + 1 :]
        if units[first] == parts[second] and units[second] == parts[first]
    ]
    return [LedgerRemark("exchanged", pair) for pair in pairs]


def _renewed(case: Case, knowledge: Knowledge) -> set[int]:
    """The cylinders that are told to have had another injector."""
    works: list[Work] = [*case.history, *(work for epoch in case.epochs for work in epoch.work)]
    return {
        cylinder
        for work in works
        if REPLACES in knowledge.repairs[work.repair].renews
        for cylinder in case.engine.cylinders
        if work.place in (None, cylinder, case.engine.bank_of(cylinder))
    }
