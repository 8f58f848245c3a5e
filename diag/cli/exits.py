"""Exit codes, and how an error becomes a few lines on stderr. May import: `diag.basics`, typer."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable
from dataclasses import replace
from enum import IntEnum
from typing import NoReturn

from diag.basics import (
    BookError,
    BookMoved,
    CaseError,
    DiagError,
    ImpossibleEvidence,
    InvalidFile,
    KnowledgeError,
    LogError,
    TooLarge,
    UsageError,
)

__all__ = ["EXIT_HELP", "ExitCode", "run_reporting"]

MOST_PROBLEMS = 20
MOST_OF_A_NAME = 200


class ExitCode(IntEnum):
    """What the command ended with."""

    DONE = 0
    FAULT_OF_DIAG = 1
    USAGE = 2
    KNOWLEDGE = 3
    CASE = 4
    IMPOSSIBLE = 5
    COMPLAINTS = 6
    TOO_LARGE = 7
    LOG = 8
    BOOK = 9
    BOOK_MOVED = 10
    INCOMPLETE = 11
    INTERRUPTED = 130


EXIT_HELP = """Exit codes:

\b
   0  done
   1  a fault of diag itself
   2  the command was not given rightly, or would overwrite a file
   3  the knowledge, an overlay or an engine file has an error
   4  the case file, or a table of cases, has an error
   5  what the case says cannot all be true at once
   6  'know check' has complaints
   7  the exact answer would be too large
   8  the log, or the mapping of its columns, has an error
   9  the book of cases cannot be opened, read or written
  10  somebody else wrote to that case meanwhile; nothing was written
  11  the book was backed up, exported or imported, but without attachments that
      are lost; they are named
  130  interrupted
"""

_CODES: tuple[tuple[type[DiagError], ExitCode], ...] = (
    (KnowledgeError, ExitCode.KNOWLEDGE),
    (CaseError, ExitCode.CASE),
    (LogError, ExitCode.LOG),
    (ImpossibleEvidence, ExitCode.IMPOSSIBLE),
    (TooLarge, ExitCode.TOO_LARGE),
    (BookMoved, ExitCode.BOOK_MOVED),
    (BookError, ExitCode.BOOK),
    (UsageError, ExitCode.USAGE),
    (DiagError, ExitCode.USAGE),
)


def run_reporting(work: Callable[[], object]) -> NoReturn:
    """Run the program and exit with its code; errors are told on stderr.

    An error of a known kind is told in its own words. Anything else is a fault of diag and is told as that, with the
    lines that its developers need.
    """
    try:
        try:
            work()
        finally:
            sys.stdout.flush()
    except DiagError as error:
        _tell(error)
        sys.exit(exit_code(error))
    except BrokenPipeError:
        _close_quietly()
        sys.exit(ExitCode.DONE)
    except KeyboardInterrupt:
        sys.stderr.write("\nInterrupted.\n")
        sys.exit(ExitCode.INTERRUPTED)
    except Exception:  # the outermost frame: a bug is reported as a bug, with its trace
        sys.stderr.write("This is a fault of diag itself, not of your files. Please report it with these lines:\n")
        sys.stderr.write(traceback.format_exc())
        sys.exit(ExitCode.FAULT_OF_DIAG)
    sys.exit(ExitCode.DONE)


def exit_code(error: DiagError) -> ExitCode:
    """The exit code of an error."""
    return next(code for kind, code in _CODES if isinstance(error, kind))


def _tell(error: DiagError) -> None:
    if not isinstance(error, InvalidFile):
        sys.stderr.write(f"{error.message}\n")
        return
    for problem in error.problems[:MOST_PROBLEMS]:
        file = problem.file if len(problem.file) <= MOST_OF_A_NAME else f"{problem.file[:40]}...{problem.file[-60:]}"
        sys.stderr.write(f"{_short(str(replace(problem, file=file)))}\n")
    if (more := len(error.problems) - MOST_PROBLEMS) > 0:
        sys.stderr.write(f"... and {more} more\n")


def _short(line: str, most: int = 400) -> str:
    """One line that a screen can hold, whatever a broken file put into the message."""
    printable = "".join(character if character.isprintable() else "?" for character in line)
    return printable if len(printable) <= most else f"{printable[: most - 4]} ..."


def _close_quietly() -> None:
    """The reader of stdout has gone (such as `| head`): let nothing more be written at exit."""
    try:
        sys.stdout.close()
    except BrokenPipeError:
        return
