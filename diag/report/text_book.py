"""The pages about the book of cases. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import counted
from diag.report.blocks import Block, Column, Heading, Items, Sentence, Table
from diag.report.figures import duration, money, per_cent
from diag.report.sheets_book import (
    BookCaseSheet,
    BookDoneSheet,
    BookLikeSheet,
    BookLine,
    BookListSheet,
    BookOutcome,
    CustomerLine,
    JournalLine,
)
from diag.report.words_book import BOOK, BOOK_COUNTS, BOOK_DONE, CURED_WORDS, KIND_WORDS

__all__ = ["book_case_blocks", "book_done_blocks", "book_like_blocks", "book_list_blocks"]


def book_list_blocks(sheet: BookListSheet) -> tuple[Block, ...]:
    """The cases, a line each."""
    if not sheet.cases:
        return (Sentence(BOOK["none"]),)
    columns = (
        Column(BOOK["number"], right=True),
        Column(BOOK["opened"]),
        Column(BOOK["state"], speaks=True),
        Column(BOOK["title"], grows=True, least=20, speaks=True),
        Column(BOOK["found"], grows=True, least=16),
    )
    rows = tuple(
        (str(line.number), _day(line.opened_at), _state(line), _title(line), _found(line)) for line in sheet.cases
    )
    more = (Sentence(BOOK["more"].format(most=sheet.most)),) if len(sheet.cases) == sheet.most else ()
    return (Table(columns, rows), *more)


def book_like_blocks(sheet: BookLikeSheet) -> tuple[Block, ...]:
    """Similar cases with what was found then."""
    if not sheet.cases:
        return (Sentence(BOOK["none_like"]),)
    columns = (
        Column(BOOK["number"], right=True),
        Column(BOOK["likeness"], right=True),
        Column(BOOK["state"], speaks=True),
        Column(BOOK["title"], grows=True, least=20, speaks=True),
        Column(BOOK["found"], grows=True, least=16),
    )
    rows = tuple(
        (str(each.case.number), per_cent(each.likeness), _state(each.case), _title(each.case), _found(each.case))
        for each in sheet.cases
    )
    return (Heading(BOOK["like"]), Table(columns, rows), Sentence(BOOK["like_means"]))


def book_case_blocks(sheet: BookCaseSheet, go_on: str = "", take_back: str = "") -> tuple[Block, ...]:
    """One case: what was just done first; then how it stands. `go_on`, `take_back`: the commands for that, if any."""
    blocks: list[Block] = [Sentence(sheet.done, strong=True)] if sheet.done else []
    blocks += [Sentence(BOOK["take_back"], command=take_back)] if take_back else []
    blocks += [Sentence(note) for note in sheet.notes]
    line = sheet.case
    facts = BOOK["facts"].format(
        engine=line.engine, opened=_day(line.opened_at), state=_ended(line), revision=line.revision
    )
    blocks += [Heading(BOOK["case"].format(number=line.number, title=_title(line)), level=1), Sentence(facts)]
    if line.came_back_from is not None:
        blocks.append(Sentence(BOOK["came_back_from"].format(number=line.came_back_from)))
    if sheet.came_back_in:
        numbers = ", ".join(str(number) for number in sheet.came_back_in)
        blocks.append(Sentence(BOOK["came_back_in"].format(numbers=numbers)))
    blocks += [_customer(sheet.customer)] if sheet.customer is not None else []
    blocks += _outcome(line, sheet.outcome) if sheet.outcome is not None else []
    if not sheet.done:
        blocks += [Items(BOOK["told"], sheet.told)] if sheet.told else []
        blocks += [Items(BOOK["remarks"], sheet.remarks)] if sheet.remarks else []
    files = tuple(BOOK["file"].format(name=file.name, size=counted(file.size)) for file in sheet.files)
    blocks += [Items(BOOK["files"], files)] if files else []
    blocks += [Heading(BOOK["journal"]), _journal(sheet.journal)] if sheet.journal else []
    if line.is_open and go_on:
        blocks.append(Sentence(BOOK["go_on"], command=go_on))
    return tuple(blocks)


def book_done_blocks(sheet: BookDoneSheet) -> tuple[Block, ...]:
    """What was done with a whole book, in a sentence."""
    counts = ", ".join(BOOK_COUNTS[name].format(count=counted(count)) for name, count in sheet.counts.items())
    done = Sentence(BOOK_DONE[sheet.done].format(path=sheet.path, counts=counts))
    if sheet.engine:
        return (done, Sentence(BOOK["engine_beside"].format(path=sheet.engine)))
    if not sheet.missing:
        return (done,)
    names = tuple(BOOK["of_case"].format(name=name, number=number) for number, name in sheet.missing)
    missing = BOOK[f"missing_{sheet.done}"].format(files=sheet.files)
    return (done, Sentence(missing, strong=True), Items("", names))


def _outcome(line: BookLine, outcome: BookOutcome) -> list[Block]:
    found = tuple(each.words for each in line.found) or (BOOK["nothing_found"],)
    blocks: list[Block] = [Heading(BOOK["outcome"]), Items(BOOK["found"].capitalize(), found)]
    blocks += [Items(BOOK["fitted"], outcome.fitted)] if outcome.fitted else []
    spent = [duration(outcome.minutes)] if outcome.minutes is not None else []
    if outcome.cost is not None:
        spent.append(BOOK["before_tax"].format(money=money(outcome.cost, outcome.currency, exact=True)))
    blocks += [Items(BOOK["spent"], (", ".join(spent),))] if spent else []
    blocks += [Sentence(outcome.note)] if outcome.note else []
    return blocks


def _customer(customer: CustomerLine) -> Sentence:
    plate = [BOOK["plate"].format(plate=customer.plate)] if customer.plate else []
    return Sentence(BOOK["customer"].format(name=", ".join([customer.name, *plate] if customer.name else plate)))


def _journal(lines: Sequence[JournalLine]) -> Table:
    columns = (
        Column(BOOK["revision"], right=True),
        Column(BOOK["when"]),
        Column(BOOK["who"]),
        Column(BOOK["what"], grows=True, least=30, speaks=True),
    )
    rows = tuple(
        (str(each.revision), each.at[:16].replace("T", " "), each.by, f"{KIND_WORDS[each.kind]}: {each.words}")
        for each in lines
    )
    return Table(columns, rows)


def _title(line: BookLine) -> str:
    return line.title or BOOK["no_title"]


def _state(line: BookLine) -> str:
    return BOOK["open"] if line.is_open else BOOK["cured"].format(cured=CURED_WORDS[line.cured])


def _ended(line: BookLine) -> str:
    if line.is_open:
        return BOOK["is_open"]
    return BOOK["closed"].format(closed=_day(line.closed_at), cured=CURED_WORDS[line.cured])


def _found(line: BookLine) -> str:
    if line.found:
        return "; ".join(each.words for each in line.found)
    return "" if line.is_open else BOOK["nothing_found"]


def _day(at: str) -> str:
    return at[:10]
