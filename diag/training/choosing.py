"""Which case: a name as people write it, or a closed case of the book, as a seat at which nothing was done yet.

`smell_under_the_bonnet` is a study that ships, `mine.yaml` one by its path, `book:17` a closed case of the book, and
`ostrel_4#3,fault=seal,misleading=much` the third case made by that wish.
May import: store, casebook, knowledge_base, basics, and the modules of this room below it.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace
from pathlib import Path

from diag.basics import BookError, CaseError, Place, Problem, UsageError, did_you_mean, is_there, listed
from diag.knowledge_base import Knowledge
from diag.store import Kept, case_of, closed_cases, open_book, read_kept
from diag.training.making import Wish, made, seed_of
from diag.training.playing import start
from diag.training.records import Seat
from diag.training.studies import from_book, studies, study_named, why_not_from_book

__all__ = ["BookOffer", "book_offers", "case_named", "from_kept", "wish_from"]

BOOK, NUMBER, PART, IS = "book:", "#", ",", "="
MOST_DIGITS = 9
EXAMPLE = "write for example ostrel_4#3 or ostrel_4#3,fault=seal,faults=2,misleading=much,grade=3,history=yes"
YES, NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0", "")
KEY_BYTES = 32


@dataclass(frozen=True)
class BookOffer:
    """A closed case of the book that can be practised: its number, engine, and the ids of what the customer told."""

    number: int
    engine: str
    complaint: tuple[str, ...]


def case_named(knowledge: Knowledge, name: str, key: bytes | None = None, book: str | None = None) -> Seat:
    """A case by its name, not begun. With a `key` it is the same vehicle every time; without, one is drawn. `book`: a
    path or URL, else the usual one. Raises CaseError and UsageError."""
    secret = key if key is not None else secrets.token_bytes(KEY_BYTES)
    seed = seed_of(secret, Wish(name), 1)
    if name.startswith(BOOK):
        return from_kept(knowledge, _kept(name, book), seed)
    known, path = studies(), Path(name)
    if name not in known and not is_there(path):
        if NUMBER in name:
            wish, number = wish_from(name)
            case = made(knowledge, wish, number, secret)
            return start(case.practice, case.hidden)
        hint = did_you_mean(name, known) or f"'diag practice studies' lists them; a case by wish: {EXAMPLE}"
        raise CaseError([Problem(name, 0, 0, "there is no such file and no case study of that name", hint)])
    return start(*study_named(knowledge, path.stem, known.get(name, path), seed))


def from_kept(knowledge: Knowledge, kept: Kept, seed: int) -> Seat:
    """A closed case of the book, not begun, without names. Raises UsageError where it cannot be practised."""
    outcome = kept.standing.outcome
    if outcome is None:
        raise UsageError(
            f"case {kept.number} of the book is not closed yet, so nobody knows what was wrong; close it first"
        )
    return start(*from_book(knowledge, kept.number, case_of(kept, knowledge), outcome, seed))


def book_offers(knowledge: Knowledge, book: str | None = None) -> tuple[BookOffer, ...]:
    """All closed cases of the book that can be practised, by number; none where there is no book."""
    try:
        with open_book(book, make=False) as opened:
            able = [
                BookOffer(each.number, each.case.engine_id, tuple(a.item for a in each.case.epochs[0].answers))
                for each in closed_cases(opened, knowledge, strict=False)
                if not why_not_from_book(knowledge, each.number, each.case, each.outcome)
            ]
    except BookError:
        return ()
    findings = knowledge.findings
    return tuple(
        replace(each, complaint=tuple(name for name in each.complaint if findings[name].kind == "symptom"))
        for each in sorted(able, key=lambda each: each.number)
    )


def _kept(name: str, book: str | None) -> Kept:
    digits = name.removeprefix(BOOK)
    if not (digits.isascii() and digits.isdecimal() and len(digits) <= MOST_DIGITS and int(digits) > 0):
        raise UsageError(f"'{name}' is no case of the book; write for example book:17")
    with open_book(book, make=False) as opened:
        return read_kept(opened, int(digits))


def wish_from(text: str) -> tuple[Wish, int]:
    """`ostrel_4#3,fault=seal,misleading=much`: the wish (one fault, unless `faults` says otherwise; 0: as many as come
    with the complaint) and which case of it. Raises UsageError."""
    head, *parts = (each.strip() for each in text.split(PART))
    engine, _, digits = (each.strip() for each in head.partition(NUMBER))
    if not engine or not (digits.isascii() and digits.isdecimal() and len(digits) <= MOST_DIGITS):
        raise UsageError(f"'{text}' is no case made by a wish; {EXAMPLE}")
    wish = Wish(engine, faults=1)
    for part in parts:
        name, found, value = (each.strip() for each in part.partition(IS))
        if not found:
            raise UsageError(f"'{part}' says nothing of a wish; {EXAMPLE}")
        wish = _with(wish, name, value)
    return wish, int(digits)


def _with(wish: Wish, name: str, value: str) -> Wish:
    match name:
        case "fault":
            return replace(wish, fault=value)
        case "state":
            return replace(wish, state=value)
        case "complaint":
            return replace(wish, complaint=value)
        case "place":
            return replace(wish, place=_place(value))
        case "faults":
            return replace(wish, faults=_whole(name, value) or None)
        case "grade":
            return replace(wish, grade=_whole(name, value))
        case "history" if value.lower() in (*YES, *NO):
            return replace(wish, history=value.lower() in YES)
        case "history":
            raise UsageError(f"history={value} says neither yes nor no")
        case "misleading" if value == "little" or value == "much":
            return replace(wish, misleading=value)  # type: ignore[arg-type]  # mypy does not narrow str to its values
        case "misleading":
            raise UsageError(f"misleading={value} does not say how; it can be little or much")
    names = ("fault", "state", "place", "faults", "complaint", "history", "grade", "misleading")
    raise UsageError(f"a wish has no part '{name}'; {did_you_mean(name, names) or f'it can have {listed(names)}'}")


def _place(value: str) -> Place:
    return int(value) if value.isascii() and value.isdecimal() else value.upper() or None


def _whole(name: str, value: str) -> int:
    if not (value.isascii() and value.isdecimal() and len(value) <= MOST_DIGITS):
        raise UsageError(f"{name}={value} is no whole number")
    return int(value)
