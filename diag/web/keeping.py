"""Reads cases of the book and writes to them, so that two tablets at one case lose nothing.

What is written is a deed: how the case changes. A tablet says on which revision it stood. Where somebody else wrote
since, the deed is done again on the case as it stands, unless the two touch the same thing; then nothing is written and
both are shown. May import: `diag.basics`, `diag.casebook`, `diag.knowledge_base`, `diag.store`, and words.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from diag.basics import BookMoved, DiagError, UsageError
from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.store import (
    Book,
    CaseRow,
    Draft,
    Event,
    Kept,
    Likeness,
    Payload,
    Undo,
    append,
    case_of,
    changes,
    keep,
    opening,
    read_kept,
)
from diag.web.words import SAY

__all__ = ["Clash", "Keeping", "Written", "group_start", "touched"]

REMEMBERED = 200
TRIES = 5
WHOLE = "the whole case"


class Clash(BookMoved):
    """Somebody else wrote about the same thing meanwhile; `theirs` are their events, `now` the case as it stands."""

    def __init__(self, theirs: tuple[Event, ...], now: Kept) -> None:
        super().__init__("somebody else wrote about the same thing meanwhile; nothing of this was written")
        self.theirs, self.now = theirs, now


@dataclass(frozen=True)
class Written:
    """A case after writing: as it stands, and what others had written in between, which was kept too.
    `changed`: whether anything was written at all."""

    kept: Kept
    case: Case
    others: tuple[Event, ...] = ()
    changed: bool = True


@dataclass
class Keeping:
    """The book as the page uses it. `withheld`: numbers of cases that are not shown now, as a class practises them."""

    book: Book
    knowledge: Knowledge
    withheld: Callable[[], frozenset[int]] = frozenset
    _cases: OrderedDict[tuple[str, int], Case] = field(default_factory=OrderedDict)
    _journals: OrderedDict[int, Kept] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def read(self, number: int) -> tuple[Kept, Case]:
        """A case as it stands. Raises UsageError where the book has none of that number, or it is withheld now."""
        self._show(number)
        kept = self._kept(number)
        return kept, self.at(kept, kept.revision)

    def _show(self, number: int) -> None:
        if number in self.withheld():
            raise UsageError(SAY["practised"].format(number=number))

    def shown(self, rows: Sequence[CaseRow]) -> list[CaseRow]:
        """Those of the rows that are not withheld now."""
        withheld = self.withheld()
        return [row for row in rows if row.number not in withheld]

    def _kept(self, number: int) -> Kept:
        """The journal of a case; read anew only where it has grown since. A journal is only ever added to."""
        with self.book.database.reading() as session:
            row = session.one("SELECT uid, revision FROM cases WHERE number = :number", number=number)
        with self._lock:
            known = self._journals.get(number)
        if known is not None and row is not None and (known.uid, known.revision) == (str(row[0]), int(row[1])):
            return known
        kept = read_kept(self.book, number)
        with self._lock:
            self._journals[number] = kept
            while len(self._journals) > REMEMBERED:
                self._journals.popitem(last=False)
        return kept

    def at(self, kept: Kept, revision: int) -> Case:
        """The case as it stood at a revision."""
        key = (kept.uid, revision)
        with self._lock:
            found = self._cases.get(key)
        if found is None:
            found = case_of(kept, self.knowledge, revision)
            with self._lock:
                self._cases[key] = found
                while len(self._cases) > REMEMBERED:
                    self._cases.popitem(last=False)
        return found

    def revision(self, number: int) -> int | None:
        """How many events a case has, asked cheaply; none where there is no such case."""
        return self.revisions((number,)).get(number)

    def revisions(self, numbers: tuple[int, ...]) -> dict[int, int]:
        """The same of several cases at once."""
        inside = ", ".join(str(int(number)) for number in numbers) or "0"
        with self.book.database.reading() as session:
            rows = session.rows(f"SELECT number, revision FROM cases WHERE number IN ({inside})")
        return {int(number): int(revision) for number, revision in rows}

    def begin(self, case: Case, by: str) -> Kept:
        """Keep a new case."""
        return keep(self.book, opening(Draft.of(case, self.knowledge)), by)

    def write(
        self,
        number: int,
        seen: int,
        deed: Callable[[Case], Case],
        by: str = "",
        possible: Callable[[Case], object] | None = None,
    ) -> Written:
        """Do a deed to a case on top of what others wrote. `possible` raises where the case cannot be so.

        Raises Clash where others wrote about the same thing since the revision `seen`.
        """
        for _ in range(TRIES):
            kept, now = self.read(number)
            if not 1 <= seen <= kept.revision:
                raise UsageError(f"case {number} has no revision {seen}; it stands at {kept.revision}")
            if self._written_already(kept, seen, deed, by):
                return Written(kept, now)
            after = deed(now)
            others = kept.events[seen:]
            if others:
                before = Draft.of(self.at(kept, seen), self.knowledge)
                mine = touched(Draft.of(now, self.knowledge), Draft.of(after, self.knowledge))
                theirs = touched(before, Draft.of(now, self.knowledge))
                if _meet(mine, theirs) or _closed_since(kept, seen):
                    raise Clash(others, kept)
            if possible is not None and after != now:
                possible(after)
            steps = changes(Draft.of(now, self.knowledge), Draft.of(after, self.knowledge))
            try:
                added = append(self.book, number, steps, based_on=kept.revision, by=by)
            except BookMoved:
                continue  # somebody wrote between reading and writing: look again
            return Written(added, self.at(added, added.revision), others, changed=bool(steps))
        raise BookMoved("others are writing to this case without a pause; nothing of this was written, try again")

    def _written_already(self, kept: Kept, seen: int, deed: Callable[[Case], Case], by: str) -> bool:
        """Whether all that was written since is this very deed, by the same: a form that was sent twice, because a hand
        touched twice or the answer to the first was lost."""
        since = kept.events[seen:]
        if not since or any(event.by != by for event in since) or _closed_since(kept, seen):
            return False
        try:
            would_be = deed(self.at(kept, seen))
        except DiagError:
            return False
        return Draft.of(would_be, self.knowledge) == Draft.of(self.at(kept, kept.revision), self.knowledge)

    def add(
        self, number: int, seen: int, steps: tuple[Payload, ...], by: str = "", likeness: Likeness | None = None
    ) -> Written:
        """Add events as they are: a closing, an undo, a remark. Raises Clash where anything was written since."""
        self._show(number)
        try:
            added = append(self.book, number, steps, based_on=seen, by=by, likeness=likeness)
        except BookMoved:
            now = read_kept(self.book, number)
            theirs = now.events[seen:]
            if tuple(event.payload for event in theirs) == steps and all(event.by == by for event in theirs):
                return Written(now, self.at(now, now.revision))  # this very thing, sent twice
            raise Clash(theirs, now) from None
        return Written(added, self.at(added, added.revision))

    def liken(self, number: int, revision: int, likeness: Likeness) -> None:
        """Note what a case is compared by as it stands at a revision; nothing where it has moved on since."""
        if self.revision(number) == revision:
            append(self.book, number, (), likeness=likeness)

    def undo(self, number: int, seen: int, by: str = "") -> Written:
        """Take the last thing back: all that was told in one go. Raises UsageError where there is nothing."""
        kept, case = self.read(number)
        since = kept.events[seen:]
        if len(since) == 1 and isinstance(since[0].payload, Undo) and since[0].by == by:
            return Written(kept, case)  # sent twice: it was taken back already, and nothing before it
        back_to = group_start(kept)
        if back_to == 0:
            raise UsageError(f"case {number} stands as it was opened; there is nothing to take back")
        return self.add(number, seen, (Undo(back_to),), by)


def group_start(kept: Kept) -> int:
    """The revision before the last thing that was told; what was told in one go carries one time. 0: none."""
    back_to = kept.standing.step_back
    while back_to > 0 and kept.events[back_to].at == kept.events[back_to - 1].at:
        back_to -= 1
    return back_to


def _closed_since(kept: Kept, seen: int) -> bool:
    return any(event.kind == "closed" for event in kept.events[seen:])


def _meet(mine: frozenset[tuple[object, ...]], theirs: frozenset[tuple[object, ...]]) -> bool:
    whole = (WHOLE,)
    return bool(mine & theirs) or (whole in mine and bool(theirs)) or (whole in theirs and bool(mine))


def touched(before: Draft, after: Draft) -> frozenset[tuple[object, ...]]:
    """What is different between two states of a case: questions, work, access, and so on, each by itself.

    Work that was done changes what every later answer means, so `(WHOLE,)` meets everything.
    """
    if before == after:
        return frozenset()
    found: set[tuple[object, ...]] = set()
    if len(before.epochs) != len(after.epochs) or before.epochs[:-1] != after.epochs[:-1]:
        return frozenset({(WHOLE,)})
    was, now = before.epochs[-1], after.epochs[-1]
    if was.work != now.work:
        found.add(("work",))
    for answer in set(was.answers) ^ set(now.answers):
        found.add(("question", answer.item, answer.place, answer.condition))
    for measured in set(was.measured) ^ set(now.measured) or set(now.measured[len(was.measured) :]):
        found.add(("question", measured.item, measured.place, measured.condition))
    found |= {("cannot", check) for check in set(before.cannot) ^ set(after.cannot)}
    found |= {("open", *key) for key in set(before.open_access) ^ set(after.open_access)}
    for name in ("title", "distance_km", "age_years", "history", "note", "trim_codes", "numbering"):
        if getattr(before, name) != getattr(after, name):
            found.add((name,))
    return frozenset(found)
