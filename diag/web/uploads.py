"""Reads an uploaded log in a process of its own, which may take so much time and memory and no more.

What cannot be a log is refused by its name and first bytes before that. May import: the rooms below.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from hashlib import sha256
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from diag.basics import DiagError, LogError, Problem, TooLarge, unheard_interrupts
from diag.casebook import Case
from diag.knowledge_base import Key, Knowledge, load_knowledge
from diag.report import LogSheet
from diag.web.words import PROBLEMS

if TYPE_CHECKING:
    from diag.logs import OpenedLog, Told

__all__ = ["OpenColumn", "ReadLog", "Said", "looks_like_log", "read_uploaded"]

ENDINGS = (".csv", ".txt", ".tsv", ".log", ".dat")
PATIENCE_S = 60.0
MEMORY = 2 << 30
SNIFFED = 65536
SHOWN_CELLS, LONGEST_CELL, LONGEST_HEAD, LONGEST_WHY = 4, 24, 80, 160
MOST_COLUMNS = 180  # of which each has two fields in the form that asks
_TEXT_CONTROLS = frozenset(b"\t\n\r\f\x1a\x0b")


@dataclass(frozen=True)
class OpenColumn:
    """A column that is not used, or that was said to be something: its place counted from 1, its head, some of its
    cells, and why it is not used ('' where it is). `unit`: what it is read in; `assumed`: nobody named that."""

    position: int
    head: str
    cells: tuple[str, ...]
    why: str
    unit: str
    assumed: bool


@dataclass(frozen=True)
class ReadLog:
    """What a log says: its sheet, its picture, and the readings that may be taken, each as item, place and text.

    `columns` may be said to be something, `more` are not listed; `heads` stands for the heads of all columns. Where
    the log could not be read as it is, or as its columns were said to be, there is no sheet, and `problems` say why.
    `others`: its heads are not those of which columns were said to be something, so that this was left out. `before`:
    what was said of a log before with the same heads was taken for them. `warmth_unsaid`: the log has no temperature
    that says whether the engine was warm.
    """

    sheet: LogSheet | None
    picture: str
    readings: tuple[tuple[str, int | str | None, str], ...]
    columns: tuple[OpenColumn, ...]
    more: int
    heads: str
    problems: tuple[Problem, ...] = ()
    others: bool = False
    before: bool = False
    warmth_unsaid: bool = False


@dataclass(frozen=True)
class Said:
    """What columns are said to be, by their place counted from 1; `heads` stands for those of the log that they were
    shown of. `before`: what was said of logs before, by their heads, which counts where nothing is said of this one.
    `warm`: the engine was warm, though the log has no temperature."""

    columns: Mapping[Key, Told] = field(default_factory=dict)
    heads: str = ""
    before: Mapping[str, Mapping[Key, Told]] = field(default_factory=dict)
    warm: bool = False


def looks_like_log(name: str, file: BinaryIO) -> None:
    """Raise LogError where the name or the first bytes are no text table's."""
    if Path(name).suffix.lower() not in ENDINGS:
        raise _unfit(name, f"a log ends in {', '.join(ENDINGS)}")
    head = file.read(SNIFFED)
    file.seek(0)
    wide = head.startswith((b"\xff\xfe", b"\xfe\xff"))
    binary = not wide and any(byte < 32 and byte not in _TEXT_CONTROLS for byte in head)
    if not head.strip() or binary:
        raise _unfit(name, "export it as a text table with commas, semicolons or tabs")


def _unfit(name: str, hint: str) -> LogError:
    shown = "".join(character for character in name if character.isprintable())[-60:]
    return LogError([Problem(shown or "log", 0, 0, PROBLEMS["no_log"], hint)])


def read_uploaded(
    path: Path, name: str, case: Case, folder: Path | None, overlays: tuple[Path, ...], said: Said | None = None
) -> ReadLog:
    """What the log at `path`, which is called `name` where it came from, says of the case's engine; `said`: what its
    columns are said to be.

    Raises LogError where it is no log at all, TooLarge, or what reading raised.
    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    told = (theirs, path, name, case, folder, overlays, said or Said())
    process = context.Process(target=_read, args=told, daemon=True)
    with unheard_interrupts():
        process.start()
    theirs.close()
    try:
        answer: object = ours.recv() if ours.poll(PATIENCE_S) else TooLarge(PROBLEMS["log_slow"])
    except EOFError:  # it was ended from outside, or ran out of memory
        answer = TooLarge(PROBLEMS["log_large"])
    finally:
        process.kill()
        process.join()
        ours.close()
    if isinstance(answer, DiagError):
        raise answer
    assert isinstance(answer, ReadLog)
    return answer


def _read(
    out: Connection,
    path: Path,
    name: str,
    case: Case,
    folder: Path | None,
    overlays: tuple[Path, ...],
    said: Said,
) -> None:  # pragma: no cover - runs in a process of its own
    _limit_memory()
    try:
        out.send(_said_by(path, name, case, load_knowledge(folder, overlays), said))
    except DiagError as error:
        out.send(error)
    except MemoryError:
        out.send(TooLarge(PROBLEMS["log_large"]))


def _said_by(path: Path, name: str, case: Case, knowledge: Knowledge, said: Said) -> ReadLog:
    """What a log says, with its columns as they are said to be where its heads are those that this was said of."""
    from diag.logs import ColumnMap, look_at_log, read_log, rules_of
    from diag.report import log_picture, log_sheet

    opened = look_at_log(path, knowledge, case.engine)
    heads = sha256("\x1f".join(opened.header.names).encode("utf-8", "replace")).hexdigest()
    others = bool(said.columns) and said.heads != heads
    told = {} if others else dict(said.columns) or dict(said.before.get(heads, {}))
    mapping = ColumnMap(told, warm=said.warm)
    before = bool(told) and not said.columns
    try:
        opened = look_at_log(path, knowledge, case.engine, mapping)
        result = replace(read_log(path, knowledge, case.engine, mapping), file=name)
    except LogError as error:
        columns, more = _open_columns(opened)
        return ReadLog(None, "", (), columns, more, heads, error.problems, others, before, _warmth_unsaid(opened))
    sheet = log_sheet(knowledge, case.engine, result)
    picture = log_picture(result, sheet, rules_of(knowledge).warm_from)
    taken = tuple((each.item, each.place, each.text) for each in result.readings if not each.why_not)
    columns, more = _open_columns(opened)
    return ReadLog(sheet, picture, taken, columns, more, heads, (), others, before, _warmth_unsaid(opened))


def _warmth_unsaid(opened: OpenedLog) -> bool:
    return not any(use.used and use.channel == "coolant" for use in opened.columns)


def _open_columns(opened: OpenedLog) -> tuple[tuple[OpenColumn, ...], int]:
    """The columns of which it may be said what they are, and how many more there are: those that are not used, and
    those of which it was said, which may have been wrong. Where they are too many, those nearest to being used."""
    from diag.logs import cells_of
    from diag.report import column_why

    found = [use for use in opened.columns if use.told or not use.used]
    listed = sorted(sorted(found, key=lambda use: (not use.told, use.channel is None))[:MOST_COLUMNS],
                    key=lambda use: use.position)  # fmt: skip
    cells = cells_of(opened, SHOWN_CELLS)
    columns = tuple(
        OpenColumn(
            use.position,
            _short(use.head, LONGEST_HEAD),
            tuple(_short(cell, LONGEST_CELL) for cell in cells[use.position]),
            _short(column_why(use), LONGEST_WHY),
            use.scale.unit if use.scale is not None else "",
            use.assumed,
        )
        for use in listed
    )
    return columns, len(found) - len(listed)


def _short(text: str, most: int) -> str:
    """A text of a log as a page may show it."""
    shown = "".join(character if character.isprintable() else " " for character in text).strip()
    return shown if len(shown) <= most else shown[: most - 3] + "..."


def _limit_memory() -> None:
    """No more than so much memory, where the system can hold a process to that."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (int(PATIENCE_S), int(PATIENCE_S)))
