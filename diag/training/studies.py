"""Case studies: those that ship, those that people write, and closed cases of the book with the names removed.

May import: store (its records), network, casebook, knowledge_base, basics, and `bench`, `drawing`, `records`, `worlds`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from diag.basics import Place, UsageError
from diag.casebook import (
    ABSENT,
    PRESENT,
    Answer,
    Case,
    Epoch,
    Measured,
    as_the_maker_numbers,
    demo_studies,
    load_study,
)
from diag.knowledge_base import Knowledge
from diag.network import is_numbered_told
from diag.store import Outcome
from diag.training.bench import Bench
from diag.training.drawing import draw_world
from diag.training.records import Found, HiddenTruth, Notes, Practice, TruthPart
from diag.training.worlds import Key, Question, World

__all__ = ["allowed_for", "from_book", "scripted_from", "studies", "study_named", "why_not_from_book"]

NEAREST_KM = 1_000.0  # distances of closed cases are rounded to so much, so that they name no vehicle
SYMPTOM = "symptom"


def studies() -> dict[str, Path]:
    """The case studies that ship: id -> path."""
    return demo_studies()


def study_named(knowledge: Knowledge, name: str, path: Path, seed: int) -> tuple[Practice, HiddenTruth]:
    """A case study as a practice case; `seed` draws all that was not written by hand. The control unit numbers as the
    maker does where the study says nothing: the vehicle is drawn so, and the trainee is told."""
    file = load_study(path, knowledge)
    numbering = file.case.numbering or as_the_maker_numbers(knowledge)
    begins = replace(file.case, note="", numbering=numbering)
    practice = Practice(name, file.case.title, begins, "study", file.grade, knowledge.prices.currency)
    faults = tuple(TruthPart(each.component, each.place, each.state) for each in file.truth)
    notes = Notes(file.covers, file.learn, file.misleads, file.ask)
    world = _world(knowledge, practice.start, faults, seed)
    return practice, HiddenTruth(faults, world, world, scripted_from(file.answers), notes)


def from_book(
    knowledge: Knowledge, number: int, case: Case, outcome: Outcome, seed: int
) -> tuple[Practice, HiddenTruth]:
    """A closed case with names, notes and exact distances removed. What was found in it is the truth, and what was
    told in it is answered as it was; everything else is drawn from the model with that truth. How the control unit
    numbers stays open where nobody had looked it up and something that it numbers was recorded.

    Raises UsageError where nothing was found, or where it began with no symptom.
    """
    why = why_not_from_book(knowledge, number, case, outcome)
    if why:
        raise UsageError(why)
    first, told = case.epochs[0], _complaint(knowledge, case)
    distance = None if case.distance_km is None else round(case.distance_km / NEAREST_KM) * NEAREST_KM
    start = Case(
        title="",
        engine=case.engine,
        engine_id=case.engine_id,
        distance_km=distance,
        age_years=case.age_years,
        history=tuple(replace(work, note="") for work in case.history),
        epochs=(Epoch(answers=told),),
        cannot=case.cannot,
        numbering=case.numbering or (None if is_numbered_told(knowledge, case) else as_the_maker_numbers(knowledge)),
    )
    faults = tuple(TruthPart(each.component, each.place, each.state) for each in outcome.found)
    practice = Practice(f"book-{number}", "", start, "book", currency=knowledge.prices.currency)
    world = _world(knowledge, start, faults, seed)
    return practice, HiddenTruth(faults, world, world, _as_found(first))


def _as_found(epoch: Epoch) -> Mapping[Question, Found]:
    """What was found in a closed case. Where nobody had looked, or could tell, a trainee who looks sees the vehicle."""
    return {
        question: each
        for question, each in scripted_from(epoch).items()
        if not isinstance(each, Answer) or each.answer in (PRESENT, ABSENT)
    }


def why_not_from_book(knowledge: Knowledge, number: int, case: Case, outcome: Outcome) -> str:
    """Why a closed case cannot be practised; empty where it can."""
    if not outcome.found:
        return f"case {number} of the book was closed without saying what was found; it cannot be practised"
    if not _complaint(knowledge, case):
        return f"case {number} of the book began with no symptom of the vehicle; it cannot be practised"
    return ""


def _complaint(knowledge: Knowledge, case: Case) -> tuple[Answer, ...]:
    """What the customer came with, of the vehicle as a whole."""
    return tuple(
        replace(each, at=None)
        for each in case.epochs[0].answers
        if each.answer == PRESENT and each.place is None and knowledge.findings[each.item].kind == SYMPTOM
    )


def scripted_from(epoch: Epoch) -> Mapping[Question, Found]:
    """What was written or recorded, by its question. Of several readings of one thing the first stands."""
    found: dict[Question, Found] = {}
    entries: Sequence[Answer | Measured] = (*epoch.answers, *epoch.measured)
    for each in entries:
        plain = replace(each, at=None) if isinstance(each, Answer) else each
        found.setdefault((each.item, each.place, each.condition), plain)
    return found


def allowed_for(bench: Bench, faults: Sequence[TruthPart]) -> dict[Key, tuple[int, ...]]:
    """States so that these faults are there and no others; circumstances that are no faults stay open."""
    components = bench.knowledge.components
    named: dict[tuple[str, Place], str] = {(each.component, each.place): each.state for each in faults}
    allowed: dict[Key, tuple[int, ...]] = {}
    for key in bench.bare().layout.versions:
        known = components[key[0]]
        if key in named:
            allowed[key] = (list(known.states).index(named[key]),)
        elif known.fault:
            allowed[key] = (0,)
    missing = [key for key in named if key not in allowed]
    if missing:
        raise UsageError(f"this engine has no '{missing[0][0]}' there")
    return allowed


def _world(knowledge: Knowledge, start: Case, faults: Sequence[TruthPart], seed: int) -> World:
    bench = Bench(knowledge, start)
    return draw_world(bench.bare(), allowed_for(bench, faults), start.epochs[-1].answers, seed)
