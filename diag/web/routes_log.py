"""Uploading a log: what it says is shown first, and taken into the case only when that is wished. What its columns are
that are not recognised can be said there, and the same upload is read again.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from pathlib import Path

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import DiagError, InvalidFile, LogError, Problem, UsageError, counted
from diag.casebook import Case, with_measured
from diag.knowledge_base import Engine, Key, Knowledge
from diag.logs import Told
from diag.report import log_blocks
from diag.store import Kept
from diag.web.asking import Number, Sent, SentForm, Visit, Visited, place_from
from diag.web.casepage import case_page
from diag.web.columns_typed import ColumnTyped, channel_choices, columns_sent, told_columns, unit_choices
from diag.web.guard import Refused
from diag.web.pages import lines_of
from diag.web.routes_tell import told_in_bay
from diag.web.uploads import ReadLog, Said, looks_like_log, read_uploaded
from diag.web.words_columns import COLUMNS

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
MOST_READINGS = 60
MOST_SAID = 2
LONGEST_NAME = 60


@router.get("/case/{number}/log")
def log_page(visit: Visited, number: Number) -> Response:
    """Where a log is chosen."""
    kept, case = visit.shop.keeping.read(number)
    return _page(visit, kept, case, Shown())


@router.post("/case/{number}/log")
def read_log(sent: Sent, number: Number) -> Response:
    """Read a log in a process of its own, and show what it says. Nothing is written yet.

    It is the file that was chosen, else the one that is kept of this session, with its columns as they are said to be.
    """
    visit, shop = sent.visit, sent.visit.shop
    kept, case = shop.keeping.read(number)
    typed = columns_sent(sent)
    key, fresh = _chosen(sent, number)
    told, wrong = told_columns(typed, shop.knowledge, case.engine)
    before = _said_before(sent, case.engine) if fresh and not typed else {}
    warm = sent.word("warm") == "yes"
    said = Said(told, sent.word("heads"), {heads: each[1] for heads, each in before.items()}, warm)
    with shop.logs.borrowed(_owner(visit), key, number) as log:
        if log is None:
            gone = _gone(shop.settings.log_kept_s, typed if said.heads else {})
            return _page(visit, kept, case, Shown(wrong=gone, typed=typed, gone=said.heads, warm=warm))
        try:
            read = read_uploaded(log.path, log.name, case, shop.settings.knowledge, shop.settings.overlays, said)
        except DiagError as error:
            if fresh:  # what cannot be read at all cannot be read in another way
                shop.logs.drop(_owner(visit), key)
            if not isinstance(error, InvalidFile):
                raise
            raise type(error)(_renamed(error.problems, log.name)) from None
    if read.others:
        return _page(visit, kept, case, Shown(read, key, (COLUMNS["others"], *_failed(read, log.name)), warm=warm))
    if read.before:
        typed, told = before[read.heads]
    elif typed and not wrong and (read.sheet is not None or not told):
        chosen = {position: (each.channel, each.unit) for position, each in typed.items() if each.channel}
        shop.logs.remember(_owner(visit), read.heads, chosen)
    unfit = COLUMNS["unfit"]
    wrong |= {
        each.position: unfit.format(position=each.position, why=each.why)
        for each in read.columns
        if each.why and each.position in told and not read.problems
    }
    lines = list(wrong.values())[:MOST_SAID]
    lines += [COLUMNS["more_wrong"].format(count=counted(len(wrong) - MOST_SAID))] if len(wrong) > MOST_SAID else []
    return _page(visit, kept, case, Shown(read, key, (*lines, *_failed(read, log.name)), typed, wrong, warm=warm))


def _said_before(sent: SentForm, engine: Engine) -> dict[str, tuple[dict[int, ColumnTyped], dict[Key, Told]]]:
    """What this session said of the columns of logs before, by their heads: as it was chosen, and what that means."""
    shop = sent.visit.shop
    found = {}
    for heads, said in shop.logs.remembered(_owner(sent.visit)).items():
        typed = {position: ColumnTyped(*each) for position, each in said.items()}
        found[heads] = typed, told_columns(typed, shop.knowledge, engine)[0]
    return found


def _failed(read: ReadLog, name: str) -> tuple[str, ...]:
    """Why a log cannot be read as its columns are understood; where they can be said below, in few words, since these
    stay over the page."""
    if not read.problems:
        return ()
    if read.columns:
        plain = [Problem(name, each.line, each.column, each.message) for each in read.problems]
        return (*lines_of(LogError(_renamed(plain, name))), COLUMNS["say_below"])
    return lines_of(LogError(_renamed(read.problems, name)))


def _chosen(sent: SentForm, number: int) -> tuple[str, bool]:
    """The name that the log is kept by, and whether it came just now. Raises UsageError where none was chosen, LogError
    for what is none, Refused where one session has the same read too often."""
    logs, owner, file = sent.visit.shop.logs, _owner(sent.visit), sent.files.get("log")
    if file is not None and file.filename:
        looks_like_log(file.filename, file.file)
        return logs.keep(owner, number, _shown_name(file.filename), file.file).key, True
    key = sent.word("kept")
    if not key:
        raise UsageError("choose the file of the log first")
    wait_s = logs.again.take(owner)
    if wait_s:
        raise Refused(429, "often", wait_s)
    return key, False


@dataclass(frozen=True)
class Shown:
    """What the page shows: what a log says, and the name that it is kept by; what is the matter (`wrong`), what was
    chosen for its columns, and what makes no sense of that, by column. `gone`: the mark of the heads of a log that is
    kept no longer. `warm`: the engine was said to be warm."""

    read: ReadLog | None = None
    kept: str = ""
    wrong: tuple[str, ...] = ()
    typed: Mapping[int, ColumnTyped] = field(default_factory=dict)
    wrong_at: Mapping[int, str] = field(default_factory=dict)
    gone: str = ""
    warm: bool = False


def _page(visit: Visit, kept: Kept, case: Case, shown: Shown) -> Response:
    read, knowledge = shown.read, visit.shop.knowledge
    return case_page(
        visit,
        "log.html",
        kept,
        case,
        422 if shown.wrong else 200,
        shown=shown,
        read=read,
        blocks=log_blocks(read.sheet) if read is not None and read.sheet is not None else (),
        readings=[json.dumps(each) for each in read.readings] if read is not None else [],
        most=visit.shop.settings.upload_most // (1 << 20),
        words=COLUMNS,
        nothing=ColumnTyped(),
        channels=channel_choices(knowledge, case.engine),
        units=unit_choices(knowledge),
    )


def _owner(visit: Visit) -> str:
    """Whose log it is: the session's."""
    if visit.session is None:
        raise Refused(401, "unpaired")
    return visit.session.key


def _gone(kept_s: float, typed: Mapping[int, ColumnTyped]) -> tuple[str, ...]:
    gone = COLUMNS["gone"].format(minutes=counted(max(1, round(kept_s / 60))))
    return (gone, COLUMNS["gone_said"]) if any(each.channel for each in typed.values()) else (gone,)


def _shown_name(filename: str) -> str:
    """What an upload is called, as a page may show it."""
    return _printable(Path(filename).name)[-LONGEST_NAME:]


def _printable(text: str) -> str:
    return "".join(character for character in text if character.isprintable())


def _renamed(problems: Sequence[Problem], name: str) -> list[Problem]:
    """Problems of a log by the name that it has where it came from, and with their place in words."""
    return [
        Problem(name, each.line, each.column, _printable(f"{_at(each)}{each.message}"), _printable(each.hint))
        for each in problems
    ]


def _at(problem: Problem) -> str:
    return f"line {problem.line}, column {problem.column}: " if problem.line else ""


@router.post("/case/{number}/log/take")
def take_log(sent: Sent, number: Number) -> Response:
    """Take the readings of a log that was shown."""
    knowledge = sent.visit.shop.knowledge
    told = sent.fields.get("reading", ())
    if not told or len(told) > MOST_READINGS:
        raise UsageError("no reading of the log was sent; read the log again")
    readings = [_reading(text) for text in told]
    answer = told_in_bay(sent, number, lambda case: _with_all(case, knowledge, readings))
    if key := sent.word("kept"):
        sent.visit.shop.logs.drop(_owner(sent.visit), key)
    return answer


def _reading(text: str) -> tuple[str, str, str]:
    """Item, place and value as the page showed them. Raises UsageError for anything else."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    fits = isinstance(found, list) and len(found) == 3 and isinstance(found[0], str) and isinstance(found[2], str)
    if not fits or not isinstance(found[1], str | int | None):
        raise UsageError("a reading of the log was sent incompletely; read the log again")
    item, place, value = found
    return item, "vehicle" if place is None else str(place), value


def _with_all(case: Case, knowledge: Knowledge, readings: list[tuple[str, str, str]]) -> Case:
    """The case with all readings. Raises UsageError where these very readings stand there already: a log counts
    once."""
    before = case.epochs[-1].measured

    def taken(told: Case, each: tuple[str, str, str]) -> Case:
        return with_measured(told, knowledge, each[0], place_from(each[1]), each[2])

    after = reduce(taken, readings, case)
    added = after.epochs[-1].measured[len(before) :]
    if all(each in before for each in added):
        raise UsageError("the readings of this log are already in the case; it was left as it is")
    return after
