"""The one tree of errors. May import: the standard library only.

    DiagError                   everything that diag says 'no' to
    ├── InvalidFile             a file with problems, all of them told at once
    │   ├── KnowledgeError      ... of the knowledge, or of an overlay
    │   ├── CaseError           ... of a case
    │   └── LogError            ... of a log, or of the mapping of its columns
    ├── ImpossibleEvidence      no combination of faults could give these findings
    ├── TooLarge                the exact answer would take more memory or time than is allowed
    ├── BookError               the book of cases cannot be opened, read or written
    │   └── BookMoved           ... because somebody else wrote to that case meanwhile
    └── UsageError              the request itself makes no sense, or would destroy something

A bug is none of these: it is never caught and never reported as bad knowledge.
"""

# ruff: noqa: N818  errors are named by what is the matter

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "BookError",
    "BookMoved",
    "CaseError",
    "DiagError",
    "ImpossibleEvidence",
    "InvalidFile",
    "KnowledgeError",
    "LogError",
    "Problem",
    "TooLarge",
    "UsageError",
]


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in a file. `line` and `column` count from 1; 0 means that the place within the file is unknown.

    `hint` says what would be right.
    """

    file: str
    line: int
    column: int
    message: str
    hint: str = ""

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{where}: {self.message}" + (f"; {self.hint}" if self.hint else "")


class DiagError(Exception):
    """Root of all errors that are meant for people; `message` is one or more plain sentences."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message

    def __str__(self) -> str:
        return self.message


class InvalidFile(DiagError):
    """One or more files with problems; `problems` holds them sorted by file, line and column, each once."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(sorted(set(problems)))
        super().__init__("\n".join(str(problem) for problem in self.problems))
        self.args = (self.problems,)  # what pickle hands to the constructor again


class KnowledgeError(InvalidFile):
    """The knowledge, or an overlay of it, cannot be used as it stands."""


class CaseError(InvalidFile):
    """A case file cannot be used as it stands."""


class LogError(InvalidFile):
    """A log, or the file that maps its columns, cannot be used as it stands."""


class ImpossibleEvidence(DiagError):
    """No combination of faults in the knowledge could give what was found.

    `cases` are the indices within the batch that was asked (inference knows nothing else); `findings` are the names
    of the findings which contradict each other, where a room above could tell.
    """

    def __init__(self, cases: Iterable[int] = (0,), findings: Iterable[str] = ()) -> None:
        self.cases = tuple(cases)
        self.findings = tuple(findings)
        what = (
            f"These findings cannot all be true at once: {', '.join(self.findings)}."
            if self.findings
            else ("What was found cannot all be true at once: no combination of faults in the knowledge gives it.")
        )
        batch = (
            "" if self.cases in ((), (0,)) else f" (cases {', '.join(str(case) for case in self.cases)} of the batch)"
        )
        super().__init__(f"{what}{batch} Look again at the surest-looking answers, or answer 'not sure'.")
        self.args = (self.cases, self.findings)


class TooLarge(DiagError):
    """The exact answer would need more than is allowed; the message says of what, how much, and what would help."""


class BookError(DiagError):
    """The book of cases cannot be opened, read or written; the message says why, and that nothing is half-written."""


class BookMoved(BookError):
    """Somebody else wrote to a case meanwhile, so nothing was written; the message says what they wrote."""


class UsageError(DiagError):
    """The request makes no sense as given, or would overwrite something."""
