"""The sheets about the book of cases: lists, one case with its journal, similar cases, what was done to the book.

Times are UTC, ISO 8601. May import: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

__all__ = [
    "BookCaseSheet",
    "BookDoneSheet",
    "BookFileLine",
    "BookFoundLine",
    "BookLikeLine",
    "BookLikeSheet",
    "BookLine",
    "BookListSheet",
    "BookOutcome",
    "CustomerLine",
    "JournalLine",
]


@dataclass(frozen=True)
class BookFoundLine:
    """A fault that was found."""

    component: Annotated[str, "id of the component"]
    state: Annotated[str, "id of its state"]
    place: Annotated[str, "cylinder number or bank letter as text; empty for the vehicle"]
    sure: Annotated[str, "'seen', 'measured' (after the repair) or 'inferred'"]
    words: Annotated[str, "all of it in words"]


@dataclass(frozen=True)
class BookLine:
    """A case of the book in a list."""

    number: Annotated[int, "its number in this book; give it to other commands as book:NUMBER"]
    uid: Annotated[str, "its name in every book"]
    revision: Annotated[int, "how many events its journal has"]
    title: Annotated[str, "its title"]
    engine: Annotated[str, "id of its engine, or the path of its engine file"]
    is_open: Annotated[bool, "whether it is open"]
    opened_at: Annotated[str, "when it was opened"]
    changed_at: Annotated[str, "when it was last written to"]
    closed_at: Annotated[str, "when it was closed; empty while it is open"]
    cured: Annotated[str, "'yes', 'partly', 'no' or 'not_known'; empty while it is open"]
    came_back_from: Annotated[int | None, "number of the case that it is a come-back of, where there is one"]
    found: Annotated[tuple[BookFoundLine, ...], "what was found"]


@dataclass(frozen=True)
class BookListSheet:
    """`diag book list` and `diag book find`: the cases that are wanted, newest number first."""

    book: Annotated[str, "where the book is"]
    cases: Annotated[tuple[BookLine, ...], "the cases"]
    most: Annotated[int, "how many are shown at most"]


@dataclass(frozen=True)
class JournalLine:
    """One event of a case's journal."""

    revision: Annotated[int, "its number within the case, from 1"]
    kind: Annotated[str, "its kind"]
    at: Annotated[str, "when it was written"]
    by: Annotated[str, "who wrote it, where that was told"]
    words: Annotated[str, "what it says, in words"]


@dataclass(frozen=True)
class BookFileLine:
    """An attachment."""

    name: Annotated[str, "its name when it was attached"]
    size: Annotated[int, "bytes"]
    digest: Annotated[str, "SHA-256 of its content; its copy lies under this name"]


@dataclass(frozen=True)
class CustomerLine:
    """Who the customer is."""

    name: Annotated[str, "name; may be empty"]
    plate: Annotated[str, "number plate; may be empty"]


@dataclass(frozen=True)
class BookOutcome:
    """How a case ended."""

    cured: Annotated[str, "'yes', 'partly', 'no' or 'not_known'"]
    fitted: Annotated[tuple[str, ...], "what was fitted or done, in words"]
    minutes: Annotated[float | None, "minutes actually spent, where told"]
    cost: Annotated[float | None, "what it cost in the end, in `currency`, where told"]
    currency: Annotated[str, "ISO 4217; empty where no cost was told"]
    note: Annotated[str, "what else there is to say"]


@dataclass(frozen=True)
class BookCaseSheet:
    """One case of the book: `diag book show`, and what every command that writes to a case prints."""

    done: Annotated[str, "what was done just now, in words; empty where it was only shown"]
    notes: Annotated[tuple[str, ...], "what there is to know about that"]
    case: Annotated[BookLine, "the case"]
    place: Annotated[str, "where the book is"]
    outcome: Annotated[BookOutcome | None, "how it ended; null while it is open"]
    came_back_in: Annotated[tuple[int, ...], "numbers of the cases that came back from it"]
    remarks: Annotated[tuple[str, ...], "remarks"]
    files: Annotated[tuple[BookFileLine, ...], "attachments"]
    customer: Annotated[CustomerLine | None, "the customer, only where that was asked for and is known"]
    told: Annotated[tuple[str, ...], "what was told of it, in words"]
    journal: Annotated[tuple[JournalLine, ...], "its journal, first to last; empty where it was not asked for"]


@dataclass(frozen=True)
class BookLikeLine:
    """A similar case."""

    case: Annotated[BookLine, "the case, with what was found then"]
    likeness: Annotated[float, "how like it is, 0 to 1: the mean of the next two"]
    faults: Annotated[float, "how like the chances of its faults are, 0 to 1 (Bhattacharyya's coefficient)"]
    findings: Annotated[float, "how many of the findings of either are those of both, 0 to 1 (Jaccard's index)"]


@dataclass(frozen=True)
class BookLikeSheet:
    """`diag book like`: similar cases, most similar first."""

    case: Annotated[str, "the case they are compared with, as it was given"]
    cases: Annotated[tuple[BookLikeLine, ...], "similar cases"]


@dataclass(frozen=True)
class BookDoneSheet:
    """What was done with a whole book: backup, restore, export, import; and a case file that was written."""

    done: Annotated[str, "'keep', 'write', 'backup', 'restore', 'export' or 'import'"]
    path: Annotated[str, "the file or folder"]
    counts: Annotated[dict[str, int], "how many of what"]
    place: Annotated[str, "where the book is"]
    numbers: Annotated[tuple[int, ...], "numbers of the cases it was about, where it was about some"]
    missing: Annotated[
        tuple[tuple[int, str], ...],
        "of backup, export and import: case and name of each attachment that was not there any more",
    ] = ()
    files: Annotated[str, "of the same: the folder of the book's attachments"] = ""
    engine: Annotated[str, "of 'write': the engine's file that was written beside the case, as its own is gone"] = ""
