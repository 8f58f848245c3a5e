"""Reads a case study: a case file that holds besides, under `study:`, the hidden truth and the notes of the trainer.

    title: Skerry van chuffs when cold        # what the trainee is told first, as in any case file
    engine: ostrel_4
    findings: {fumes: present}
    study:
      grade: 1                                # 1 easy to 5 hard
      truth: [seal blown 2]                   # component, state, place; everything else is sound
      covers: [one seal]
      learn: what to take home from it
      misleads: what leads astray
      ask: [questions for the talk afterwards]
      answers:                                # what was written by hand; all else is drawn from the truth
        findings: {tar: {1: present}}

May import: `diag.basics`, `diag.knowledge_base`, and everything within the room but writing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath

from diag.basics import CaseError, Place, did_you_mean
from diag.casebook.cases import PRESENT, Case, Epoch
from diag.casebook.found import read_answers, read_measured
from diag.casebook.loading import read_case
from diag.casebook.notebook import Notebook, Path, shown
from diag.casebook.words import place_fault
from diag.knowledge_base import Key, Knowledge, Tree, read_document

__all__ = ["StudyFile", "TruthTold", "load_study"]

STUDY = "study"
SYMPTOM = "symptom"
KEYS = ("grade", "truth", "covers", "learn", "misleads", "ask", "answers")
HARDEST = 5


@dataclass(frozen=True)
class TruthTold:
    """One fault of the hidden truth."""

    component: str
    state: str
    place: Place


@dataclass(frozen=True)
class StudyFile:
    """A case study: the case as the trainee gets it, the truth, what was answered by hand, and the trainer's notes."""

    case: Case
    truth: tuple[TruthTold, ...]
    answers: Epoch
    grade: int
    covers: tuple[str, ...]
    learn: str
    misleads: str
    ask: tuple[str, ...]


def load_study(path: FilePath | str, knowledge: Knowledge) -> StudyFile:
    """Read the case study at `path`. Raises CaseError with every problem, each with file, line and column."""
    case = read_case(path, knowledge, beside=(STUDY,))
    book = Notebook(read_document(path, None, CaseError), knowledge, case.engine)
    block = book.mapping((STUDY,), book.document.data.get(STUDY), "study: {truth: [seal blown 2]}")
    book.unknown_keys((STUDY,), block, KEYS)
    found = StudyFile(
        case=case,
        truth=_truth(book, (STUDY, "truth"), block.get("truth")),
        answers=_answers(book, (STUDY, "answers"), block.get("answers")),
        grade=_grade(book, (STUDY, "grade"), block.get("grade")),
        covers=_texts(book, (STUDY, "covers"), block.get("covers")),
        learn=book.text((STUDY, "learn"), block.get("learn")),
        misleads=book.text((STUDY, "misleads"), block.get("misleads")),
        ask=_texts(book, (STUDY, "ask"), block.get("ask")),
    )
    first = {(each.item, each.place, each.condition): each.answer for each in case.epochs[0].answers}
    for each in found.answers.answers:
        told_first = first.get((each.item, each.place, each.condition), each.answer)
        if told_first != each.answer:
            message = f"'{each.item}' is told otherwise under findings:, so this answer would never be given"
            book.complain((STUDY, "answers", "findings"), message, "leave it out there or here")
    if len(case.epochs) > 1:
        book.complain(("tried",), "a study begins with the complaint, and nothing was tried in it yet", "use history:")
    if case.epochs[0].measured:
        book.complain(("readings",), "a study begins with the complaint alone", "put them under study: answers:")
    told = [each.item for each in case.epochs[0].answers if each.answer == PRESENT]
    if not any(knowledge.findings[item].kind == SYMPTOM for item in told):
        message = "a study begins with what the customer complains of, and work is judged by whether that goes away"
        book.complain(("findings",), message, "tell a symptom that is there, such as rough_idle: present")
    if book.problems:
        raise CaseError(book.problems)
    return found


def _truth(book: Notebook, path: Path, value: Tree) -> tuple[TruthTold, ...]:
    example = "truth: [seal blown 2]"
    entries = book.entries(path, value, example)
    if not entries and not isinstance(value, dict | str):
        book.complain(path, "this does not say what is wrong with the vehicle", f"write '{example}'")
    found: dict[tuple[str, Place], TruthTold] = {}
    for index, entry in enumerate(entries):
        fault = _fault(book, (*path, index), entry)
        if fault is None:
            continue
        before = found.setdefault((fault.component, fault.place), fault)
        if before is not fault:
            message = f"'{fault.component}' was told as '{before.state}' there already; one thing is in one state"
            book.complain((*path, index), message, "leave one of the two out")
    return tuple(found.values())


def _fault(book: Notebook, path: Path, entry: Tree) -> TruthTold | None:
    words = entry.split() if isinstance(entry, str) else []
    if len(words) not in (2, 3):
        book.complain(path, f"{shown(entry)} is no fault", "write for example 'seal blown 2', or 'mounts worn'")
        return None
    component = book.known(path, words[0], "component", book.knowledge.components)
    if component is None:
        return None
    known = book.knowledge.components[component]
    unsound = list(known.states)[1:]
    if words[1] not in unsound:
        book.complain(
            path, f"'{component}' has no unsound state '{words[1]}'", did_you_mean(words[1], unsound, most=20)
        )
        return None
    place: Place = None
    if len(words) == 3:
        place = int(words[2]) if words[2].isdecimal() else words[2]
    fault = place_fault(book.engine, known.per, place) if book.engine is not None else None
    if fault is not None:
        book.complain(path, *fault)
        return None
    return TruthTold(component, words[1], place)


def _answers(book: Notebook, path: Path, value: Tree) -> Epoch:
    block: dict[Key, Tree] = book.mapping(path, value, "answers: {findings: {tar: {2: present}}}")
    book.unknown_keys(path, block, ("findings", "codes", "other_codes", "readings"))
    return Epoch((), read_answers(book, path, block), read_measured(book, (*path, "readings"), block.get("readings")))


def _grade(book: Notebook, path: Path, value: Tree) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= HARDEST:
        book.complain(path, f"{shown(value)} is no grade", "it is a number from 1 (easy) to 5 (hard)")
        return 1
    return value


def _texts(book: Notebook, path: Path, value: Tree) -> tuple[str, ...]:
    return tuple(
        book.text((*path, index), entry) for index, entry in enumerate(book.entries(path, value, "[a text, another]"))
    )
