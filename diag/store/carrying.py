"""A whole book out into an open form and in again: JSON lines for programs, CSV for people, attachments as files.

What goes in twice is there once. May import: `diag.basics`, and within the room what is below.
"""

from __future__ import annotations

import csv
import io
import json
import os
import tempfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from diag.basics import BookError, CaseError, Problem, UsageError, is_there, listed
from diag.store.book import Book, Kept, events_of, next_number, write_case
from diag.store.codec import compact, event_line, payload_of
from diag.store.customers import scrub
from diag.store.files import Missing, file_bytes, hold, is_held
from diag.store.folding import fold
from diag.store.likeness import likeness_of, read_chances, write_likeness
from diag.store.records import Attached, Customer, Erased, Event
from diag.store.rows import write_customer
from diag.store.sql import Session

__all__ = ["JOURNAL_FORM", "Exported", "Imported", "export_book", "import_book"]

JOURNAL_FORM = "diag.journal/1"
JOURNAL, LIKENESS, OVERVIEW, CUSTOMERS, FILES = (
    "journal.jsonl", "likeness.jsonl", "cases.csv", "customers.csv", "files",
)  # fmt: skip
_HEADS = ("number", "uid", "title", "engine", "opened_at", "closed_at", "cured", "found", "fitted", "minutes", "cost",
          "currency", "came_back_from")  # fmt: skip


@dataclass(frozen=True)
class Exported:
    """How much went out, and the attachments that did not because their copies are not there any more."""

    cases: int
    events: int
    files: int
    customers: int
    missing: tuple[Missing, ...] = ()


@dataclass(frozen=True)
class Imported:
    """How many cases came in new, how many grew, and how many were here already as they are; `customers` were noted,
    and `erased` here because they had been there; `missing` attachments are neither in the export nor here."""

    new: int
    grown: int
    same: int
    files: int
    customers: int
    erased: int = 0
    missing: tuple[Missing, ...] = ()


# ---- out --------------------------------------------------------------------------------------------------------


def export_book(book: Book, folder: Path | str, customers: bool = False) -> Exported:
    """Write the book into a new folder, whole or not at all; who the customers are only where that is asked for.

    What is lost of the attachments keeps nothing else in and is named. Raises UsageError where the folder is there
    already or cannot be written, BookError where an attachment is not what was kept.
    """
    folder = Path(folder)
    if is_there(folder):
        raise UsageError(f"{folder} is already there and was left as it is; choose another name")
    try:
        with tempfile.TemporaryDirectory(prefix=".diag-", dir=folder.parent or None) as beside:
            made = Path(beside) / folder.name
            made.mkdir()
            with book.database.reading() as session:
                exported = _write_all(session, book, made, customers)
            made.rename(folder)
    except OSError as error:
        raise UsageError(f"{folder} could not be written: {error.strerror or error}") from error
    return exported


def _write_all(session: Session, book: Book, folder: Path, customers: bool) -> Exported:
    files: dict[str, Attached] = {}
    named: list[Missing] = []
    events = cases = 0
    with (folder / JOURNAL).open("w", encoding="utf-8", newline="\n") as journal:
        journal.write(compact({"form": JOURNAL_FORM}) + "\n")
        with (folder / OVERVIEW).open("w", encoding="utf-8", newline="") as overview:
            table = csv.writer(overview)
            table.writerow(_HEADS)
            for kept in _all(session):
                for event in kept.events:
                    journal.write(compact({"case": kept.uid, "number": kept.number, **event_line(event)}) + "\n")
                    if isinstance(event.payload, Attached):
                        files[event.payload.digest] = event.payload
                        named.append(Missing(kept.number, event.payload))
                table.writerow(_overview(kept))
                cases, events = cases + 1, events + kept.revision
        _sync(journal.name)
    with (folder / LIKENESS).open("w", encoding="utf-8", newline="\n") as lines:
        for uid, chances in read_chances(session):
            lines.write(compact({"case": uid, "chances": chances}) + "\n")
    lost = _hold_all(folder / FILES, files.values(), (book.files,))
    told = _write_customers(session, folder) if customers else 0
    return Exported(cases, events, len(files) - len(lost), told, _missing(named, lost))


def _hold_all(into: Path, files: Iterable[Attached], places: Sequence[Path]) -> frozenset[str]:
    """Take the attachments over from the first of the places that has each; the digests of those that none has."""
    lost = set[str]()
    for attached in files:
        place = next((place for place in places if is_held(place, attached)), None)
        if place is None:
            lost.add(attached.digest)
        elif place != into:
            hold(into, file_bytes(place, attached))
    return frozenset(lost)


def _missing(named: Iterable[Missing], lost: frozenset[str]) -> tuple[Missing, ...]:
    """Those that are lost, each once for a case."""
    return tuple(each for each in dict.fromkeys(named) if each.attached.digest in lost)


def _all(session: Session) -> Iterator[Kept]:
    for number, uid in session.rows("SELECT number, uid FROM cases ORDER BY number"):
        events = events_of(session, number)
        yield Kept(number, uid, events, fold(events))


def _overview(kept: Kept) -> tuple[object, ...]:
    """A line for a spreadsheet; text that one would take for a formula begins with an apostrophe."""
    draft, outcome, links = kept.standing.draft, kept.standing.outcome, kept.standing.links
    title = f"'{draft.title}" if draft.title[:1] in ("=", "+", "-", "@", "\t", "\r") else draft.title
    head = (kept.number, kept.uid, title, draft.engine_id, kept.events[0].at, kept.standing.closed_at)
    back = links[-1].uid if links else ""
    if outcome is None:
        return (*head, "", "", "", "", "", "", back)
    found = "; ".join(
        f"{each.component} {each.state}{'' if each.place is None else f' {each.place}'} ({each.sure})"
        for each in outcome.found
    )
    fitted = "; ".join(
        f"{each.count} {each.item}{'' if each.place is None else f' {each.place}'}" for each in outcome.fitted
    )
    return (*head, outcome.cured, found, fitted, outcome.minutes, outcome.cost, outcome.currency, back)


def _write_customers(session: Session, folder: Path) -> int:
    rows = session.rows(
        "SELECT cases.uid, name, plate FROM customers JOIN cases ON cases.number = customers.number "
        "ORDER BY cases.number"
    )
    with (folder / CUSTOMERS).open("w", encoding="utf-8", newline="") as stream:
        (folder / CUSTOMERS).chmod(0o600)
        csv.writer(stream).writerows([("uid", "name", "plate"), *rows])
    return len(rows)


def _sync(name: str) -> None:
    with Path(name).open("rb") as stream:
        os.fsync(stream.fileno())


# ---- in ---------------------------------------------------------------------------------------------------------


def import_book(book: Book, folder: Path | str, without: Collection[int] = ()) -> Imported:
    """Read an exported folder into the book, all of it or nothing; the cases with the numbers `without` stay as they
    are here. A case that is here already is left as it is, or grows by what its journal has more; numbers are kept
    where they are free. A customer who was erased in one of the two books is in neither afterwards: an older export
    does not bring him back.

    Attachments that were lost are named, and come in with a later import of a folder that has them. Raises CaseError
    with file and line where the folder is not in order, BookError where a case here and the same case there have gone
    different ways.
    """
    folder = Path(folder)
    journals, numbers = _read_journals(folder / JOURNAL)
    chances = _read_likeness(folder / LIKENESS)
    customers = _read_customers(folder / CUSTOMERS)
    attached = {each.digest: each for events in journals.values() for each in _attached(events)}
    # first of all: a file that no case names does no harm, a case without its file would
    lost = _hold_all(book.files, attached.values(), (folder / FILES, book.files))
    counts = {"new": 0, "grown": 0, "same": 0}
    told = erased = 0
    with book.database.writing(alone=True) as session:
        known: dict[str, int] = {uid: number for uid, number in session.rows("SELECT uid, number FROM cases")}  # noqa: C416
        journals = {uid: events for uid, events in journals.items() if known.get(uid) not in without}
        stand = {uid: events_of(session, known[uid]) for uid in journals if uid in known}
        _refuse_two_ways(journals, stand, known, numbers)
        taken, following = set(known.values()), next_number(session)
        for uid, events in journals.items():
            number = known.get(uid)
            if number is None:
                number = numbers[uid] if numbers[uid] not in taken else following
                taken.add(number)
                following = max(following, number + 1)
                known[uid] = number
            here, there = _erasures(stand.get(uid, ())), _erasures(events)
            became = _take(session, number, uid, events, len(stand.get(uid, ())))
            counts[became] += 1
            if uid in chances and became != "same":
                draft = fold(events).draft
                write_likeness(session, number, likeness_of(draft, ()), chances[uid])
            if there > here:
                erased += _erase(session, number)
            if uid in customers and there >= here:
                write_customer(session, number, customers[uid])
                told += 1
    if erased:
        scrub(book)
    missing = _missing((Missing(known[uid], each) for uid in journals for each in _attached(journals[uid])), lost)
    return Imported(**counts, files=len(attached) - len(lost), customers=told, erased=erased, missing=missing)


def _attached(events: Iterable[Event]) -> list[Attached]:
    return [event.payload for event in events if isinstance(event.payload, Attached)]


def _take(session: Session, number: int, uid: str, events: tuple[Event, ...], already: int) -> str:
    """Write one case of which so many events are here; what became of it: 'new', 'grown' or 'same'."""
    if len(events) <= already:
        return "same"
    write_case(session, Kept(number, uid, events, fold(events)), already=already)
    return "grown" if already else "new"


def _refuse_two_ways(
    journals: Mapping[str, tuple[Event, ...]],
    stand: Mapping[str, tuple[Event, ...]],
    known: Mapping[str, int],
    there: Mapping[str, int],
) -> None:
    """Raise BookError, naming them all, where cases have gone different ways here and there."""
    parted: list[tuple[int, int, int]] = []  # number here, number there, the last revision in common
    for uid, events in journals.items():
        ours = stand.get(uid, ())
        shared = min(len(ours), len(events))
        if ours[:shared] != events[:shared]:
            parted.append((known[uid], there[uid], next(k for k in range(shared) if ours[k] != events[k])))
    if not parted:
        return
    names = [f"case {here} (there case {away}) from revision {last + 1} on" for here, away, last in parted]
    here, away, last = parted[0]
    leave = " ".join(f"--without {number}" for number, _, _ in parted)
    bring = (
        f"; to have what was told there, write it there as a file ('diag book write {away} FILE') and add that here "
        f"('diag book keep FILE --into {here} --on {last} --on-top')"
        if last
        else ""
    )
    raise BookError(
        f"these have gone different ways here and there: {listed(names, 'and')}. Nothing was imported. Import the "
        f"others with {leave}{bring}."
    )


def _erasures(events: Sequence[Event]) -> int:
    return sum(isinstance(event.payload, Erased) for event in events)


def _erase(session: Session, number: int) -> int:
    """Erase the customer of a case; how many there were."""
    told = len(session.rows("SELECT number FROM customers WHERE number = :number", number=number))
    session.run("DELETE FROM customers WHERE number = :number", number=number)
    return told


def _lines(path: Path, needed: bool) -> Iterator[tuple[int, Mapping[str, object]]]:
    try:
        stream = path.open(encoding="utf-8")
    except FileNotFoundError:
        if needed:
            raise CaseError(
                [Problem(str(path), 0, 0, "there is no such file", "give the folder of an export")]
            ) from None
        return
    except OSError as error:
        raise CaseError([Problem(str(path), 0, 0, f"this cannot be read: {error.strerror or error}")]) from error
    with stream:
        number = 0
        try:
            for number, line in enumerate(stream, start=1):
                value = json.loads(line)
                if "\\u" in line:
                    json.dumps(value, ensure_ascii=False).encode()  # half a character, '\\ud800', can be kept nowhere
                if not isinstance(value, dict):
                    raise CaseError([Problem(str(path), number, 1, "this line should be a mapping in JSON")])
                yield number, value
        except UnicodeDecodeError:
            raise CaseError([Problem(str(path), number + 1, 1, "this is not text in UTF-8")]) from None
        except UnicodeEncodeError:
            message = "half of a character stands here, which is no text ('\\ud800' to '\\udfff' come in pairs)"
            raise CaseError([Problem(str(path), number, 1, message)]) from None
        except json.JSONDecodeError as error:
            message = f"this is not JSON: {error.msg}"
            raise CaseError([Problem(str(path), number, error.colno, message)]) from None
        except (ValueError, RecursionError):  # a number of thousands of digits, or lists in lists without end
            raise CaseError([Problem(str(path), number, 1, "this line is no line of an export")]) from None


def _read_journals(path: Path) -> tuple[dict[str, tuple[Event, ...]], dict[str, int]]:
    """The journals by uid, and the numbers they had; every one is folded, so that only whole ones come in."""
    journals: dict[str, list[Event]] = {}
    numbers: dict[str, int] = {}
    first: dict[str, int] = {}
    problems: list[Problem] = []
    for line, value in _lines(path, needed=True):
        if line == 1:
            if value.get("form") != JOURNAL_FORM:
                raise CaseError([Problem(str(path), 1, 1, f"this is not of the form {JOURNAL_FORM}")])
            continue
        try:
            uid, number, event = _event(value)
        except BookError as error:
            problems.append(Problem(str(path), line, 1, error.message))
            continue
        first.setdefault(uid, line)
        numbers.setdefault(uid, number)
        journals.setdefault(uid, []).append(event)
    for uid, events in journals.items():
        try:
            fold(events)
        except UsageError as error:
            problems.append(Problem(str(path), first[uid], 1, f"the journal that begins here: {error.message}"))
    if problems:
        raise CaseError(problems)
    return {uid: tuple(events) for uid, events in journals.items()}, numbers


def _event(value: Mapping[str, object]) -> tuple[str, int, Event]:
    kinds = {"case": str, "number": int, "revision": int, "kind": str, "at": str, "by": str, "data": dict}
    for name, expected in kinds.items():
        if not isinstance(value.get(name), expected):
            raise BookError(f"'{name}' is missing here, or is not what it should be")
    uid, number, kind, revision = value["case"], value["number"], value["kind"], value["revision"]
    assert isinstance(uid, str) and isinstance(number, int) and isinstance(kind, str) and isinstance(revision, int)
    if not 1 <= number < 2**31:
        raise BookError(f"{number} is no number of a case")
    payload = payload_of(kind, compact(value["data"]), "data")
    return uid, number, Event(revision, str(value["at"]), str(value["by"]), payload)


def _read_likeness(path: Path) -> dict[str, dict[str, dict[str, float]]]:
    found = {}
    for line, value in _lines(path, needed=False):
        chances = value.get("chances")
        sound = isinstance(chances, dict) and all(
            isinstance(states, dict)
            and all(isinstance(chance, int | float) and 0 <= chance <= 1 for chance in states.values())
            for states in chances.values()
        )
        if not sound or not isinstance(value.get("case"), str):
            raise CaseError([Problem(str(path), line, 1, "this should be a case's 'chances', each from 0 to 1")])
        found[str(value["case"])] = chances
    return found  # type: ignore[return-value]  # checked just above


def _read_customers(path: Path) -> dict[str, Customer]:
    if not path.exists():
        return {}
    found = {}
    try:
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    except (OSError, UnicodeError, csv.Error) as error:
        raise CaseError([Problem(str(path), 0, 0, f"this cannot be read: {error}", "export the book again")]) from None
    for line, row in enumerate(rows):
        if len(row) != 3:
            raise CaseError([Problem(str(path), line + 1, 1, "this should be uid, name and plate")])
        if line:
            found[row[0]] = Customer(row[1], row[2])
    return found
