"""What every room may use: the tree of errors, near-miss names, places, currencies, writing a file whole or not at
all, and what is kept for the next start; how a process goes about its memory, and how a pool of them ends.

May import: the standard library, and platformdirs.
"""

from diag.basics.counting import Counted, counted
from diag.basics.currencies import minor_digits
from diag.basics.errors import (
    BookError,
    BookMoved,
    CaseError,
    DiagError,
    ImpossibleEvidence,
    InvalidFile,
    KnowledgeError,
    LogError,
    Problem,
    TooLarge,
    UsageError,
)
from diag.basics.files import is_there, write_whole, written_whole
from diag.basics.interrupts import let_go, unheard_interrupts
from diag.basics.kept import Kept, fingerprint, keep, recall
from diag.basics.memory import keep_freed, search_seldom, searched_seldom
from diag.basics.names import did_you_mean, listed, near_miss
from diag.basics.places import Place

__all__ = [
    "BookError",
    "BookMoved",
    "CaseError",
    "Counted",
    "DiagError",
    "ImpossibleEvidence",
    "InvalidFile",
    "Kept",
    "KnowledgeError",
    "LogError",
    "Place",
    "Problem",
    "TooLarge",
    "UsageError",
    "counted",
    "did_you_mean",
    "fingerprint",
    "is_there",
    "keep",
    "keep_freed",
    "let_go",
    "listed",
    "minor_digits",
    "near_miss",
    "recall",
    "search_seldom",
    "searched_seldom",
    "unheard_interrupts",
    "write_whole",
    "written_whole",
]
