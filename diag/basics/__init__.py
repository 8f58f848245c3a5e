"""What every room may use: the tree of errors, near-miss names, places, and writing a file whole or not at all.

May import: the standard library only.
"""

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
from diag.basics.files import write_whole
from diag.basics.names import did_you_mean, listed, near_miss
from diag.basics.places import Place

__all__ = [
    "BookError",
    "BookMoved",
    "CaseError",
    "DiagError",
    "ImpossibleEvidence",
    "InvalidFile",
    "KnowledgeError",
    "LogError",
    "Place",
    "Problem",
    "TooLarge",
    "UsageError",
    "did_you_mean",
    "listed",
    "near_miss",
    "write_whole",
]
