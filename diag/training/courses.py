"""A class in its folder: the set of cases, and a journal for each trainee and case; begun, kept, taken up again.

`FOLDER/cases/01.json`, ... are the cases in the order of the course, as journals of nobody in which nothing was done;
`FOLDER/*.json` are the journals of the trainees. All of them hold the truth, so the folder is the trainer's alone.
Nothing is kept in memory only: who opens the folder again finds every seat as it was after its last step.
May import: casebook, knowledge_base, basics, and `journal`, `records`, `playing`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from diag.basics import CaseError, UsageError, is_there
from diag.knowledge_base import Knowledge
from diag.training.journal import Journal, load_journal, save_journal
from diag.training.records import Play, Seat

__all__ = [
    "CASES",
    "Course",
    "KeptClass",
    "Sat",
    "begin_class",
    "by_number",
    "journals_in",
    "kept_classes",
    "load_set",
    "next_case",
    "resume_class",
    "save_set",
    "seat_all",
    "sit_down",
    "stepped",
]

CASES = "cases"
JOURNALS = "*.json"
MOST_IN_NAME = 40
OWNER_ONLY = 0o700


@dataclass(frozen=True)
class Sat:
    """One trainee at one case of the course: `number` from 1, in the order of the course (0: no case of it)."""

    path: Path
    number: int
    journal: Journal

    @property
    def trainee(self) -> str:
        """Who sits there."""
        return self.journal.trainee


@dataclass(frozen=True)
class Course:
    """A class: its folder, its cases in order (seats at which nothing was done), and who sits where. `unread`: journals
    of the folder that could not be read, and why."""

    folder: Path
    begun: str
    cases: tuple[Seat, ...]
    sittings: tuple[Sat, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def trainees(self) -> tuple[str, ...]:
        """Everybody, in the order in which they sat down."""
        ordered = sorted(self.sittings, key=lambda each: (each.journal.begun, each.path.name))
        return tuple(dict.fromkeys(each.trainee for each in ordered))

    def sitting(self, trainee: str, number: int) -> Sat | None:
        """A trainee's seat at a case; none where they have not sat down there. Names are one in any case of letters."""
        name = trainee.casefold()
        return next((s for s in self.sittings if s.number == number and s.trainee.casefold() == name), None)


@dataclass(frozen=True)
class KeptClass:
    """A class that lies in a folder, by a glance: when it was `begun`, how many cases and journals it has."""

    folder: Path
    begun: str
    cases: int
    journals: int


def save_set(folder: Path, cases: Sequence[Seat], begun: str) -> None:
    """Keep a set of cases as a folder of its own. Raises UsageError for an empty set, and for a folder in use."""
    if not cases:
        raise UsageError("a set of cases has at least one case")
    if is_there(folder) and any(folder.iterdir()):
        raise UsageError(f"{folder} is already there and was left as it is; choose another name")
    _make(folder)
    for number, seat in enumerate(_apart(cases), start=1):
        save_journal(folder / f"{number:02d}.json", Journal("", begun, _unplayed(seat)), overwrite=False)


def load_set(folder: Path, knowledge: Knowledge) -> tuple[Seat, ...]:
    """The cases of a set, of a class, or of any folder of journals, not begun: each once, in order. Raises UsageError
    where there are none, and CaseError for what cannot be read."""
    paths = journals_in(folder / CASES) or journals_in(folder)
    if not paths:
        raise UsageError(f"{folder} holds no practice cases; name the folder of a set or of a class")
    return _distinct([load_journal(path, knowledge) for path in paths])


def begin_class(folder: Path, cases: Sequence[Seat], begun: str, trainees: Sequence[str] = ()) -> Course:
    """Open a class in a folder, made where there is none, and give `trainees` a seat at every case. Raises UsageError
    where a class lies there already, or a name is none; then nothing was written."""
    if journals_in(folder) or is_there(folder / CASES):
        raise UsageError(f"a class lies in {folder} already; choose another name, or take it up again")
    _check_names(trainees)
    _make(folder)
    save_set(folder / CASES, cases, begun)
    return seat_all(Course(folder, begun, tuple(_unplayed(each) for each in _apart(cases))), trainees, begun)


def seat_all(course: Course, trainees: Sequence[str], begun: str) -> Course:
    """Give each of them a seat at every case of the course; who sits there already stays. Raises UsageError."""
    _check_names(trainees)
    for trainee in trainees:
        for number in range(1, len(course.cases) + 1):
            course = sit_down(course, trainee, number, begun)
    return course


def _check_names(trainees: Sequence[str]) -> None:
    seen: set[str] = set()
    for trainee in trainees:
        name = " ".join(trainee.split()).casefold()
        _plain(trainee)
        if name in seen:
            raise UsageError(f"'{trainee}' stands there twice; add a letter to one of them")
        seen.add(name)


def resume_class(folder: Path, knowledge: Knowledge) -> Course:
    """Take a class up again as it was after its last step. Raises UsageError where there is none."""
    cases = load_set(folder, knowledge)
    paths = journals_in(folder / CASES) or journals_in(folder)
    begun = min(load_journal(path, knowledge).begun for path in paths)
    sittings: list[Sat] = []
    unread: list[str] = []
    for path in journals_in(folder):
        try:
            journal = load_journal(path, knowledge)
        except CaseError as error:
            unread.append(error.message)
            continue
        sittings.append(Sat(path, _number(cases, journal.seat), journal))
    return Course(folder, begun, cases, tuple(sittings), tuple(unread))


def kept_classes(parent: Path) -> tuple[KeptClass, ...]:
    """The classes in the folders of a folder, newest first."""
    found = []
    for folder in sorted(parent.iterdir()) if parent.is_dir() else ():
        journals, cases = journals_in(folder), journals_in(folder / CASES)
        if journals or cases:
            first = (cases or journals)[0]
            found.append(KeptClass(folder, _begun(first), len(cases), len(journals)))
    return tuple(sorted(found, key=lambda each: (each.begun, each.folder.name), reverse=True))


def sit_down(course: Course, trainee: str, number: int, begun: str) -> Course:
    """Give a trainee the seat at a case; their journal is begun. A seat that they have already stays as it is.

    Raises UsageError for no name, and for a case that the course has not.
    """
    name = " ".join(trainee.split())
    if not 1 <= number <= len(course.cases):
        raise UsageError(f"there is no case {number}; the course has {len(course.cases)}")
    if course.sitting(name, number) is not None:
        return course
    path = course.folder / f"{_file_name(course, name)}-{number}.json"
    journal = Journal(name, begun, course.cases[number - 1])
    save_journal(path, journal, overwrite=False)
    return replace(course, sittings=(*course.sittings, Sat(path, number, journal)))


def stepped(course: Course, sat: Sat, seat: Seat) -> Course:
    """The class after a step of one trainee, which is in the journal before this returns."""
    after = replace(sat, journal=replace(sat.journal, seat=seat))
    save_journal(after.path, after.journal)
    return replace(course, sittings=tuple(after if each.path == sat.path else each for each in course.sittings))


def next_case(course: Course, trainee: str) -> int | None:
    """The first case of the course that a trainee has not ended; none where all are."""
    for number in range(1, len(course.cases) + 1):
        sat = course.sitting(trainee, number)
        if sat is None or not sat.journal.seat.play.ended:
            return number
    return None


def journals_in(folder: Path) -> tuple[Path, ...]:
    """The files of a folder that may be journals, by name and number."""
    return tuple(sorted(folder.glob(JOURNALS), key=by_number)) if folder.is_dir() else ()


def by_number(path: Path) -> tuple[tuple[str, int], ...]:
    """What files are ordered by: a number in a name counts as one, so that the tenth case comes after the ninth."""
    return tuple((words, int(digits or 0)) for words, digits in re.findall(r"(\D*)(\d{0,9})", path.name))


def _make(folder: Path) -> None:
    try:
        folder.mkdir(mode=OWNER_ONLY, parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder} cannot be made: {error.strerror or error}") from error


def _unplayed(seat: Seat) -> Seat:
    return Seat(Play(seat.play.practice), replace(seat.hidden, world=seat.hidden.first))


def _distinct(journals: Sequence[Journal]) -> tuple[Seat, ...]:
    found: list[Seat] = []
    for journal in journals:
        if not _number(found, journal.seat):
            found.append(_unplayed(journal.seat))
    return tuple(found)


def _number(cases: Sequence[Seat], seat: Seat) -> int:
    """Which of the cases a seat is at, from 1; 0 where it is none of them."""
    mine = _unplayed(seat)
    return next((n for n, each in enumerate(cases, start=1) if each == mine), 0)


def _apart(cases: Sequence[Seat]) -> list[Seat]:
    """The cases with ids that differ, so that a comparison tells them apart."""
    found: list[Seat] = []
    seen: set[str] = set()
    for seat in cases:
        practice, count = seat.play.practice, 1
        name = practice.id
        while name in seen:
            count += 1
            name = f"{practice.id}-{count}"
        seen.add(name)
        found.append(replace(seat, play=replace(seat.play, practice=replace(practice, id=name))))
    return found


def _file_name(course: Course, trainee: str) -> str:
    """A trainee's name as that of a file which no other trainee of the class has."""
    plain = _plain(trainee)
    mine = [each.path for each in course.sittings if each.trainee.casefold() == trainee.casefold()]
    if mine:
        return mine[0].stem.rpartition("-")[0]
    taken = {each.path.stem.rpartition("-")[0] for each in course.sittings}
    taken |= {path.stem.rpartition("-")[0] for path in journals_in(course.folder)}
    name, count = plain, 1
    while name in taken:
        count += 1
        name = f"{plain}_{count}"
    return name


def _plain(trainee: str) -> str:
    plain = re.sub(r"[^\w]+", "-", trainee).strip("-").lower()[:MOST_IN_NAME]
    if not plain:
        raise UsageError(f"'{trainee}' is no name that a file can have; write letters")
    return plain


def _begun(path: Path) -> str:
    try:
        return str(json.loads(path.read_text(encoding="utf-8")).get("begun", ""))
    except (OSError, ValueError, AttributeError):
        return ""
