"""Reads an uploaded log in a process of its own, which may take so much time and memory and no more.

What cannot be a log is refused by its name and first bytes before that. May import: the rooms below.
"""

from __future__ import annotations

import multiprocessing
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import BinaryIO

from diag.basics import DiagError, LogError, Problem, TooLarge, unheard_interrupts
from diag.casebook import Case
from diag.knowledge_base import load_knowledge
from diag.report import LogSheet
from diag.web.words import PROBLEMS

__all__ = ["ReadLog", "looks_like_log", "read_uploaded"]

ENDINGS = (".csv", ".txt", ".tsv", ".log", ".dat")
PATIENCE_S = 60.0
MEMORY = 2 << 30
SNIFFED = 65536
_TEXT_CONTROLS = frozenset(b"\t\n\r\f\x1a\x0b")


@dataclass(frozen=True)
class ReadLog:
    """What a log says: its sheet, its picture, and the readings that may be taken, each as item, place and text."""

    sheet: LogSheet
    picture: str
    readings: tuple[tuple[str, int | str | None, str], ...]


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


def read_uploaded(path: Path, name: str, case: Case, folder: Path | None, overlays: tuple[Path, ...]) -> ReadLog:
    """What the log at `path`, which is called `name` where it came from, says of the case's engine.

    Raises LogError, TooLarge, or what reading raised.
    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_read, args=(theirs, path, name, case, folder, overlays), daemon=True)
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
    out: Connection, path: Path, name: str, case: Case, folder: Path | None, overlays: tuple[Path, ...]
) -> None:  # pragma: no cover - runs in a process of its own
    _limit_memory()
    from diag.logs import read_log, rules_of
    from diag.report import log_picture, log_sheet

    try:
        knowledge = load_knowledge(folder, overlays)
        result = replace(read_log(path, knowledge, case.engine), file=name)
        sheet = log_sheet(knowledge, case.engine, result)
        picture = log_picture(result, sheet, rules_of(knowledge).warm_from)
        taken = tuple((each.item, each.place, each.text) for each in result.readings if not each.why_not)
        out.send(ReadLog(sheet, picture, taken))
    except DiagError as error:
        out.send(error)
    except MemoryError:
        out.send(TooLarge(PROBLEMS["log_large"]))


def _limit_memory() -> None:
    """No more than so much memory, where the system can hold a process to that."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (int(PATIENCE_S), int(PATIENCE_S)))
