"""The class that is held: its cases, a seat for each trainee at each of them, their journals on the trainer's side.

The class lies in a folder beside the book (`diag.training` keeps it), so that it goes on after a restart. Whose browser
the trainer's is and who sits where stands there too, as fingerprints of secrets that only those browsers hold. What a
trainee gets is made by `diag.training.view_of`, which knows no truth.
May import: the rooms below, `reckoner` and `trainers`.
"""

from __future__ import annotations

import re
import secrets
import tempfile
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.basics import DiagError, Place, UsageError
from diag.casebook import load_study
from diag.knowledge_base import Knowledge
from diag.store import book_place
from diag.web.reckoner import Reckoner
from diag.web.reckoning import Desk
from diag.web.reckoning_class import cases
from diag.web.trainers import KEPT_AS, Marks, TrainerCode, began, end_marks, fingerprint, keep_marks, read_marks

if TYPE_CHECKING:
    from diag.report import PracticeStateSheet
    from diag.training import Belief, Bench, BookOffer, Course, KeptClass, Sat, Seat

__all__ = ["Held", "Looking", "School", "Wanted", "moment"]

MOST_TRAINEES = 60
MOST_CASES = 12
SECRET_BYTES = 24
BOOK_CASE = re.compile(r"book-(\d+)")  # what `diag.training` calls a case of the book


@dataclass(frozen=True)
class Wanted:
    """What a class is made of, in this order: studies by id, closed cases of the book, wishes as `diag practice` writes
    them, and the cases of earlier classes by the names of their folders."""

    studies: tuple[str, ...] = ()
    book: tuple[str, ...] = ()
    wishes: tuple[str, ...] = ()
    again: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """All but the earlier classes, by name."""
        return (*self.studies, *(f"book:{number}" for number in self.book), *self.wishes)


@dataclass
class Held:
    """The class that is held. `trainer` and `seats` (by name) are fingerprints; `returned`: taken up after a restart,
    and the trainer's browser was not seen since."""

    course: Course
    trainer: str
    seats: dict[str, str] = field(default_factory=dict)
    returned: bool = False
    benches: dict[int, Bench] = field(default_factory=dict)
    lock: threading.RLock = field(default_factory=threading.RLock)


@dataclass(frozen=True)
class Looking:
    """Looking back, in two goes: `at_once` without the doubt of the numbers, then `in_doubt` with it, which takes long
    (none: not begun yet)."""

    at_once: Future[Any]
    in_doubt: Future[Any] | None


@dataclass
class _Making:
    """A class whose cases are being made, and for whom."""

    trainer: str
    cases: Future[tuple[Seat, ...]]


class School:
    """Opens a class, seats trainees, and does what they ask, one thing at a time."""

    def __init__(
        self, knowledge: Knowledge, book: str | None, reckoner: Reckoner, wait_s: float, tell: Callable[[str], None]
    ) -> None:
        self.knowledge, self.book, self.reckoner, self.wait_s = knowledge, book, reckoner, wait_s
        self.trouble = ""
        self._making: _Making | None = None
        self._held: Held | None = None
        self._lock = threading.RLock()
        self._looked = False
        self.code = TrainerCode(tell)
        self._offered: dict[str, tuple[str, int]] = {}
        place = book_place(book)
        self.folder = None if "://" in place else Path(place).parent / "classes"

    # ---- what there is to choose --------------------------------------------------------------------------------

    def offered(self) -> dict[str, tuple[str, int]]:
        """The case studies that ship: id, what the customer tells, grade."""
        from diag.training import studies

        with self._lock:
            if not self._offered:
                files = {name: load_study(path, self.knowledge) for name, path in studies().items()}
                easy_first = sorted(files.items(), key=lambda each: (each[1].grade, each[0]))
                self._offered = {name: (file.case.title, file.grade) for name, file in easy_first}
            return self._offered

    def of_book(self) -> tuple[BookOffer, ...]:
        """The closed cases of the book that can be practised."""
        from diag.training import book_offers

        return book_offers(self.knowledge, self.book)

    def earlier(self) -> tuple[KeptClass, ...]:
        """The classes that were held here, newest first; the one that is held now is not among them."""
        from diag.training import kept_classes

        now = self.held_now()
        held = now.course.folder if now is not None else None
        found = kept_classes(self.folder) if self.folder is not None else ()
        return tuple(each for each in found if each.folder != held and each.cases)

    # ---- opening and taking up ----------------------------------------------------------------------------------

    def held_now(self) -> Held | None:
        """The class that is held, none where there is none; one that was held when the server ended is taken up."""
        with self._lock:
            if not self._looked:
                self._looked = True
                self._take_up_the_last()
            if self._making is not None and self._making.cases.done():
                self._open_made(self._making)
            return self._held

    def practised(self) -> frozenset[int]:
        """The closed cases of the book at which the class that is held sits: what was found in them is the truth."""
        held = self._held if self._looked else self.held_now()
        practices = [each.play.practice for each in held.course.cases] if held is not None else []
        found = (BOOK_CASE.match(each.id) for each in practices if each.source == "book")
        return frozenset(int(each.group(1)) for each in found if each is not None)

    def held(self) -> Held:
        """The same. Raises UsageError where there is none."""
        held = self.held_now()
        if held is None:
            raise UsageError("no class is held now; the trainer opens one at the machine that serves this page")
        return held

    def making_for(self, token: str) -> bool:
        """Whether the cases of a class of this browser are being made."""
        with self._lock:
            return self._making is not None and self._making.trainer == fingerprint(token)

    def is_trainer(self, token: str) -> bool:
        """Whether this browser is the one that opened the class."""
        held = self.held_now()
        mine = held is not None and bool(token) and held.trainer == fingerprint(token)
        if mine and held is not None:
            held.returned = False
        return mine

    def open(self, trainer: str, wanted: Wanted) -> bool:
        """Open a class for the browser with this secret; a class that was held before ends, its journals stay. Cases
        that take long are made while the page says so: whether it is open already. Raises UsageError for what cannot be
        chosen."""
        with self._lock:
            self._check(wanted, trainer)
            self.trouble = ""
            folders = tuple(str(each.folder) for each in self.earlier() if each.folder.name in wanted.again)
            told = {"names": wanted.names, "sets": folders, "book": self.book}
            key = secrets.token_hex(8)
            future = self.reckoner.apart("class cases", key, **told) if wanted.wishes else self._here(key, told)
            self._making = making = _Making(fingerprint(trainer), future)
        try:
            making.cases.result(self.wait_s)
        except TimeoutError:
            return False
        except DiagError:
            with self._lock:
                self._making = None
            raise
        self.held_now()
        return True

    def _here(self, key: str, told: Mapping[str, Any]) -> Future[tuple[Seat, ...]]:
        """Cases that need no making, at once."""
        made: Future[tuple[Seat, ...]] = Future()
        made.set_result(cases(Desk(self.knowledge), key, None, **told))
        return made

    def _check(self, wanted: Wanted, trainer: str) -> None:
        offered, closed = self.offered(), {str(each.number) for each in self.of_book()} if wanted.book else set()
        mine = (each.folder for each in self.earlier() if began(trainer, each.folder)) if wanted.again else ()
        folders = {each.name for each in mine}
        if not wanted.names and not wanted.again:
            raise UsageError("choose at least one case for the class")
        if len(wanted.names) > MOST_CASES:
            raise UsageError(f"a class has at most {MOST_CASES} cases; choose fewer")
        if not set(wanted.studies) <= set(offered):
            raise UsageError("there is no such case study; choose one of the list")
        if not set(wanted.book) <= closed:
            raise UsageError("that case of the book cannot be practised; choose one of the list")
        if not set(wanted.again) <= folders:
            raise UsageError("there is no such class; choose one of the list")

    def _open_made(self, making: _Making) -> None:
        from diag.training import begin_class

        self._making = None
        try:
            course = begin_class(self._new_folder(), making.cases.result(), _now())
        except DiagError as error:
            self.trouble = error.message.splitlines()[0]
            return
        self._end_held()
        self._held = Held(course, making.trainer)
        _keep(self._held)

    def _end_held(self) -> None:
        if self._held is not None:
            end_marks(self._held.course.folder)

    def go_on_with(self, trainer: str, name: str, code: str, address: str) -> None:
        """Take an earlier class up again, for the browser that began it, or by the code. Raises UsageError where there
        is none of that name, and for a wrong code."""
        from diag.training import resume_class

        with self._lock:
            folder = next((each.folder for each in self.earlier() if each.folder.name == name), None)
            if folder is None:
                raise UsageError("there is no such class; choose one of the list")
            course = resume_class(folder, self.knowledge)
            if not began(trainer, folder):
                self.code.admit(code, address)
            self._end_held()
            self._held = Held(course, fingerprint(trainer))
            _keep(self._held)

    def take_over(self, trainer: str, code: str, address: str) -> None:
        """Make this browser the trainer's, by the code: of a class that was taken up after a restart and whose
        trainer's browser was not seen since. Raises UsageError otherwise, and for a wrong code."""
        held = self.held()
        with held.lock:
            if not held.returned:
                raise UsageError("the class has its trainer; it is held by another browser")
            self.code.admit(code, address)
            held.trainer, held.returned = fingerprint(trainer), False
            _keep(held)

    def end(self) -> None:
        """End the class; its journals stay, and it can be taken up again."""
        with self._lock:
            self._end_held()
            self._held = None

    def _take_up_the_last(self) -> None:
        found = sorted(self.folder.glob(f"*/{KEPT_AS}")) if self.folder is not None and self.folder.is_dir() else []
        if not found:  # as a rule; the first screen does not wait for that room then
            return
        from diag.training import resume_class

        for path in reversed(found):
            marks = read_marks(path)
            with suppress(DiagError):  # what cannot be read is left; `diag practice` says what is the matter with it
                if marks is not None:
                    course = resume_class(path.parent, self.knowledge)
                    self._held = Held(course, marks.trainer, dict(marks.seats), returned=True)
                    return

    def _new_folder(self) -> Path:
        """A new folder of a class beside the book; where the book is no file, among the machine's passing files."""
        stamp = f"{datetime.now(UTC).strftime('%Y-%m-%d_%H%M%S')}_{secrets.token_hex(3)}"
        return (self.folder or Path(tempfile.mkdtemp(prefix="diag-class-"))) / stamp

    # ---- sitting down -------------------------------------------------------------------------------------------

    def join(self, name: str) -> str:
        """Take a seat under a name; the secret by which the browser is known from then on. Raises UsageError for a name
        that is taken or missing, or a full class."""
        from diag.training import sit_down

        held, plain = self.held(), " ".join("".join(c for c in name if c.isprintable()).split())[:60]
        if not plain:
            raise UsageError("say your name, so that the trainer knows who you are")
        with held.lock:
            if plain.casefold() in held.seats:
                raise UsageError("somebody of that name sits there already; add a letter to yours")
            known = {each.casefold(): each for each in held.course.trainees}
            if len(known) >= MOST_TRAINEES and plain.casefold() not in known:
                raise UsageError(f"the class is full: {MOST_TRAINEES} sit there")
            if plain.casefold() not in known:
                held.course = sit_down(held.course, plain, 1, _now())
            token = secrets.token_urlsafe(SECRET_BYTES)
            held.seats[plain.casefold()] = fingerprint(token)
            _keep(held)
            return token

    def let_in_again(self, name: str) -> None:
        """Let whoever says this name next have its seat: for a trainee with another device."""
        held = self.held()
        with held.lock:
            held.seats.pop(name.casefold(), None)
            _keep(held)

    def name_of(self, token: str) -> str:
        """The name under which a browser sits there; empty where it does not."""
        held = self.held_now()
        if held is None or not token:
            return ""
        mark = fingerprint(token)
        spelled = {each.casefold(): each for each in held.course.trainees}
        return next((spelled.get(name, "") for name, each in held.seats.items() if each == mark), "")

    def seat_of(self, token: str, number: int = 0) -> Sat:
        """A browser's seat at case `number`; 0: the last one that it sat down at. Raises UsageError where it has
        none."""
        held, name = self.held(), self.name_of(token)
        mine = [each for each in held.course.sittings if each.trainee == name and number in (0, each.number)]
        if not name or not mine:
            raise UsageError("you have no seat in this class yet; say your name first")
        return max(mine, key=lambda each: each.number)

    def ended_of(self, token: str) -> tuple[Sat, ...]:
        """The cases that a browser's trainee has ended, in order; none without a seat."""
        held, name = self.held_now(), self.name_of(token)
        if held is None or not name:
            return ()
        mine = [each for each in held.course.sittings if each.trainee == name and each.journal.seat.play.ended]
        return tuple(sorted(mine, key=lambda each: each.number))

    def move_on(self, token: str) -> None:
        """Sit down at the next case, once the last one has ended. Raises UsageError where there is none."""
        from diag.training import next_case, sit_down

        held, sat = self.held(), self.seat_of(token)
        with held.lock:
            number = next_case(held.course, sat.trainee)
            if number is None:
                raise UsageError("that was the last case of this class")
            held.course = sit_down(held.course, sat.trainee, number, _now())

    # ---- playing ------------------------------------------------------------------------------------------------

    def state(self, token: str, number: int = 0) -> PracticeStateSheet:
        """All that a trainee may see."""
        from diag.report import practice_state_sheet
        from diag.training import view_of

        held, sat = self.held(), self.seat_of(token, number)
        with held.lock:
            return practice_state_sheet(self.knowledge, view_of(self._bench(held, sat), sat.journal.seat.play))

    def _bench(self, held: Held, sat: Sat) -> Bench:
        from diag.training import Bench

        if sat.number not in held.benches:
            held.benches[sat.number] = Bench.of(self.knowledge, sat.journal.seat.play.practice)
        return held.benches[sat.number]

    def ask(self, token: str, check: str, place: Place, on: str = "") -> bool:
        """Ask for a check. Of this and what follows: whether it was done, which it is not `on` a moment that is past
        (see `moment`): a form that was sent twice, or from a page that was left open."""
        from diag.training import ask

        return self._step(token, lambda bench, seat: ask(bench, seat, check, place), on)

    def fit(self, token: str, words: tuple[str, ...], on: str = "") -> bool:
        """Fit something for a trial; `words` such as `reseal@2`."""
        from diag.training import fit
        from diag.worksheet import jobs_from

        jobs = jobs_from(self.knowledge, self.seat_of(token).journal.seat.play.practice.start.engine, words)
        if not jobs:
            raise UsageError("tick the work first")
        return self._step(token, lambda bench, seat: fit(bench, seat, jobs), on)

    def believe(self, token: str, belief: Belief, on: str = "") -> bool:
        """Note how sure the trainee is."""
        from diag.training import believe

        return self._step(token, lambda bench, seat: believe(bench, seat, (belief,)), on)

    def decide(self, token: str, words: tuple[str, ...], told: str, on: str = "") -> bool:
        """End the case with a plan, and with what the customer is told."""
        from diag.training import decide
        from diag.worksheet import jobs_from

        jobs = jobs_from(self.knowledge, self.seat_of(token).journal.seat.play.practice.start.engine, words)
        return self._step(token, lambda bench, seat: decide(bench, seat, jobs, told), on)

    def _step(self, token: str, do: Callable[[Bench, Seat], Seat], on: str) -> bool:
        """One step at the bench, kept in the journal before it is answered."""
        from diag.training import stepped

        held = self.held()
        with held.lock:
            sat = self.seat_of(token)
            if on and on != moment(sat):
                return False
            held.course = stepped(held.course, sat, do(self._bench(held, sat), sat.journal.seat))
        return True

    # ---- looking back -------------------------------------------------------------------------------------------

    def debrief(self, token: str, number: int = 0) -> Looking:
        """The look back at a case that has ended. Raises UsageError before: until then the truth stays here."""
        held, sat = self.held(), self.seat_of(token, number)
        if not sat.journal.seat.play.ended:
            raise UsageError("the case still runs; look back once you have told your plan")
        told = {"seat": sat.journal.seat, "trainee": sat.trainee, "folder": str(held.course.folder)}
        return self._looking("class debrief", str(sat.path), **told)

    def compared(self) -> Looking:
        """All trainees beside each other, for the trainer."""
        course = self.held().course
        if not course.sittings:
            raise UsageError("nobody sits in this class yet, so there is nothing to compare")
        steps = sum(len(each.journal.seat.play.events) for each in course.sittings)
        key = f"{course.folder}:{len(course.sittings)}:{steps}"
        return self._looking("class compared", key, folder=str(course.folder))

    def _looking(self, job: str, key: str, **told: Any) -> Looking:
        at_once = self.reckoner.apart(job, key, **told)
        made = at_once.done() and not at_once.cancelled() and at_once.exception() is None
        return Looking(at_once, self.reckoner.apart(f"{job} in doubt", key, **told) if made else None)


def moment(sat: Sat) -> str:
    """Which case a trainee is at, and after how many steps: what a form was made for."""
    return f"{sat.number}.{len(sat.journal.seat.play.events)}"


def _keep(held: Held) -> None:
    keep_marks(held.course.folder, Marks(held.trainer, held.seats))


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="microseconds")
