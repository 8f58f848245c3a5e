"""The class that is held now: one practice case, a seat for each trainee, their journals on the trainer's side.

A session that opened the class is the trainer's. What a trainee gets is made by `diag.training.view_of`, which knows
no truth; seats, journals and debriefs stay here until the trainee's own case has ended.
May import: the rooms below.
"""

from __future__ import annotations

import re
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from diag.basics import Place, UsageError
from diag.casebook import load_study
from diag.knowledge_base import Knowledge
from diag.store import book_place

if TYPE_CHECKING:
    from diag.report import ClassSheet, DebriefSheet, PracticeStateSheet
    from diag.training import Belief, Bench, HiddenTruth, Play, Practice, Seat

__all__ = ["Course", "School", "Taken"]

MOST_TRAINEES = 60
SEED_BYTES = 16


@dataclass
class Taken:
    """One trainee's seat: name, when it began, where its journal is kept (none: nowhere)."""

    name: str
    begun: str
    seat: Seat
    file: Path | None
    looked_back: DebriefSheet | None = None

    @property
    def play(self) -> Play:
        """What the trainee knows."""
        return self.seat.play


@dataclass
class Course:
    """The class that is held: its case, its bench, its seats by the session's key."""

    trainer: str
    practice: Practice
    hidden: HiddenTruth
    bench: Bench
    folder: Path | None
    seats: dict[str, Taken] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)


class School:
    """Opens a class, seats trainees, and does what they ask, one thing at a time."""

    def __init__(self, knowledge: Knowledge, book: str | None) -> None:
        self.knowledge, self.book = knowledge, book
        self.course: Course | None = None
        self._lock = threading.Lock()
        self._offered: dict[str, tuple[str, int]] = {}

    def offered(self) -> dict[str, tuple[str, int]]:
        """The case studies that ship: id, what the customer tells, grade."""
        from diag.training import studies

        with self._lock:
            if not self._offered:
                files = {name: load_study(path, self.knowledge) for name, path in studies().items()}
                easy_first = sorted(files.items(), key=lambda each: (each[1].grade, each[0]))
                self._offered = {name: (file.case.title, file.grade) for name, file in easy_first}
            return self._offered

    def open(self, trainer: str, name: str) -> None:
        """Open a class on a study; a class that was held before ends, its journals stay. Raises UsageError."""
        from diag.training import Bench, studies, study_named

        known = studies()
        if name not in known:
            raise UsageError("there is no such case study; choose one of the list")
        seed = int.from_bytes(secrets.token_bytes(SEED_BYTES), "big")
        practice, hidden = study_named(self.knowledge, name, known[name], seed)
        self.course = Course(trainer, practice, hidden, Bench.of(self.knowledge, practice), self._folder())

    def _folder(self) -> Path | None:
        """A new folder of journals beside the book; none where the book is no file."""
        place = book_place(self.book)
        if "://" in place:
            return None
        stamp = datetime.now(UTC).strftime("%Y-%m-%d_%H%M%S")
        folder = Path(place).parent / "classes" / f"{stamp}_{secrets.token_hex(3)}"
        folder.mkdir(mode=0o700, parents=True)
        return folder

    def held(self) -> Course:
        """The class that is held. Raises UsageError where there is none."""
        if self.course is None:
            raise UsageError("no class is held now; the trainer opens one at the machine that serves this page")
        return self.course

    def join(self, session: str, name: str) -> None:
        """Take a seat under a name. Raises UsageError for a name that is taken or missing, or a full class."""
        from diag.training import start

        course, plain = self.held(), " ".join("".join(c for c in name if c.isprintable()).split())[:60]
        if not plain:
            raise UsageError("say your name, so that the trainer knows who you are")
        with course.lock:
            if session in course.seats:
                return
            if plain.casefold() in {each.name.casefold() for each in course.seats.values()}:
                raise UsageError("somebody of that name sits there already; add a letter to yours")
            if len(course.seats) >= MOST_TRAINEES:
                raise UsageError(f"the class is full: {MOST_TRAINEES} sit there")
            word = re.sub(r"\W+", "_", plain)[:30]
            file = course.folder / f"{len(course.seats) + 1:02d}_{word}.json" if course.folder is not None else None
            begun = datetime.now(UTC).isoformat(timespec="seconds")
            taken = Taken(plain, begun, start(course.practice, course.hidden), file)
            course.seats[session] = taken
            _save(taken)

    def seat_of(self, session: str) -> Taken:
        """The seat of a session. Raises UsageError where it has none."""
        taken = self.held().seats.get(session)
        if taken is None:
            raise UsageError("you have no seat in this class yet; say your name first")
        return taken

    def state(self, session: str) -> PracticeStateSheet:
        """All that a trainee may see."""
        from diag.report import practice_state_sheet
        from diag.training import view_of

        course, taken = self.held(), self.seat_of(session)
        with course.lock:
            return practice_state_sheet(self.knowledge, view_of(course.bench, taken.play))

    def ask(self, session: str, check: str, place: Place) -> None:
        """Ask for a check."""
        from diag.training import ask

        self._step(session, lambda bench, seat: ask(bench, seat, check, place))

    def fit(self, session: str, words: tuple[str, ...]) -> None:
        """Fit something for a trial; `words` such as `reseal@2`."""
        from diag.training import fit
        from diag.worksheet import jobs_from

        jobs = jobs_from(self.knowledge, self.held().practice.start.engine, words)
        if not jobs:
            raise UsageError("tick the work first")
        self._step(session, lambda bench, seat: fit(bench, seat, jobs))

    def believe(self, session: str, belief: Belief) -> None:
        """Note how sure the trainee is."""
        from diag.training import believe

        self._step(session, lambda bench, seat: believe(bench, seat, (belief,)))

    def decide(self, session: str, words: tuple[str, ...], told: str) -> None:
        """End the case with a plan, and with what the customer is told."""
        from diag.training import decide
        from diag.worksheet import jobs_from

        jobs = jobs_from(self.knowledge, self.held().practice.start.engine, words)
        self._step(session, lambda bench, seat: decide(bench, seat, jobs, told))

    def _step(self, session: str, do: Callable[[Bench, Seat], Seat]) -> None:
        """One step at the bench, kept in the journal before it is answered."""
        course, taken = self.held(), self.seat_of(session)
        with course.lock:
            before = taken.seat
            taken.seat = do(course.bench, before)
            try:
                _save(taken)
            except BaseException:
                taken.seat = before
                raise

    def debrief(self, session: str) -> DebriefSheet:
        """The look back at a case that has ended. Raises UsageError before: until then the truth stays here."""
        from diag.report import debrief_sheet
        from diag.training import debrief

        course, taken = self.held(), self.seat_of(session)
        if not taken.play.ended:
            raise UsageError("the case still runs; look back once you have told your plan")
        with course.lock:
            if taken.looked_back is None:
                found = debrief(course.bench, taken.seat, draws=0)
                taken.looked_back = debrief_sheet(self.knowledge, taken.seat, found, taken.name, 0)
            return taken.looked_back

    def compared(self) -> ClassSheet:
        """All trainees beside each other, for the trainer. Raises UsageError where nothing is kept or nobody sits."""
        from diag.report import class_sheet
        from diag.training import class_of

        course = self.held()
        if course.folder is None:
            raise UsageError("this book is no file, so no journals of the class are kept")
        with course.lock:
            return class_sheet(self.knowledge, class_of(self.knowledge, course.folder))


def _save(taken: Taken) -> None:
    from diag.training import Journal, save_journal

    if taken.file is not None:
        save_journal(taken.file, Journal(taken.name, taken.begun, taken.seat))
