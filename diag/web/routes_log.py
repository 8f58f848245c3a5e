"""Uploading a log: what it says is shown first, and taken into the case only when that is wished.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from functools import reduce
from pathlib import Path

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import InvalidFile, Problem, UsageError
from diag.casebook import Case, with_measured
from diag.knowledge_base import Knowledge
from diag.report import log_blocks
from diag.web.asking import Number, Sent, Visited, place_from
from diag.web.casepage import case_page
from diag.web.routes_tell import told_in_bay
from diag.web.uploads import looks_like_log, read_uploaded

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
MOST_READINGS = 60
LONGEST_NAME = 60


@router.get("/case/{number}/log")
def log_page(visit: Visited, number: Number) -> Response:
    """Where a log is chosen."""
    kept, case = visit.shop.keeping.read(number)
    most = visit.shop.settings.upload_most // (1 << 20)
    return case_page(visit, "log.html", kept, case, read=None, blocks=(), readings=(), most=most)


@router.post("/case/{number}/log")
def read_log(sent: Sent, number: Number) -> Response:
    """Read a log in a process of its own, and show what it says. Nothing is written yet."""
    shop = sent.visit.shop
    kept, case = shop.keeping.read(number)
    file = sent.files.get("log")
    if file is None or not file.filename:
        raise UsageError("choose the file of the log first")
    looks_like_log(file.filename, file.file)
    handle, name = tempfile.mkstemp(prefix="diag-log-", suffix=".csv")
    path = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            shutil.copyfileobj(file.file, out)
        shown = "".join(character for character in Path(file.filename).name if character.isprintable())[-LONGEST_NAME:]
        read = read_uploaded(path, shown, case, shop.settings.knowledge, shop.settings.overlays)
    except InvalidFile as error:
        shown = Path(file.filename).name
        raise type(error)(
            [Problem(shown, each.line, each.column, f"{_at(each)}{each.message}", each.hint) for each in error.problems]
        ) from None
    finally:
        path.unlink(missing_ok=True)
    return case_page(
        sent.visit,
        "log.html",
        kept,
        case,
        read=read,
        blocks=log_blocks(read.sheet),
        readings=[json.dumps(each) for each in read.readings],
        most=shop.settings.upload_most // (1 << 20),
    )


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
    return told_in_bay(sent, number, lambda case: _with_all(case, knowledge, readings))


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
