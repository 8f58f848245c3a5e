"""The book: every case as a journal of events in SQLite or PostgreSQL, from which its state follows.

May import: `diag.casebook`, `diag.knowledge_base`, `diag.basics`, numpy; SQLAlchemy and Alembic, which nothing else
imports, and only when a book is opened.
"""

from diag.store.backup import BackedUp, back_up, restore
from diag.store.book import Book, Kept, append, journal, keep, number_of, open_book, read_kept, standing_of
from diag.store.carrying import JOURNAL_FORM, Exported, Imported, export_book, import_book
from diag.store.closing import Said, read_outcome
from diag.store.customers import Erasure, customer_of, erase_customer, note_customer
from diag.store.files import Missing, attach, file_bytes
from diag.store.finding import (
    CaseRow,
    ClosedCase,
    FoundRow,
    Wanted,
    case_of,
    closed_cases,
    come_backs_of,
    find_cases,
    goes_back_to,
    rows_of,
)
from diag.store.folding import Standing, changes, fold, opening
from diag.store.lacking import lacking_of_case
from diag.store.likeness import StateChance, likeness_of
from diag.store.records import (
    CURED,
    KINDS,
    SURE,
    Attached,
    Closed,
    Cured,
    Customer,
    Draft,
    Erased,
    Event,
    Finding,
    Fitted,
    Found,
    Likeness,
    Linked,
    Opened,
    Outcome,
    Payload,
    Reading,
    Remark,
    Repair,
    Retold,
    Sure,
    Undo,
)
from diag.store.similar import Like, similar_cases
from diag.store.sql import place_shown
from diag.store.twice import Twins
from diag.store.where import BOOK_VARIABLE, FILES_VARIABLE, book_place

__all__ = [
    "BOOK_VARIABLE",
    "CURED",
    "FILES_VARIABLE",
    "JOURNAL_FORM",
    "KINDS",
    "SURE",
    "Attached",
    "BackedUp",
    "Book",
    "CaseRow",
    "Closed",
    "ClosedCase",
    "Cured",
    "Customer",
    "Draft",
    "Erased",
    "Erasure",
    "Event",
    "Exported",
    "Finding",
    "Fitted",
    "Found",
    "FoundRow",
    "Imported",
    "Kept",
    "Like",
    "Likeness",
    "Linked",
    "Missing",
    "Opened",
    "Outcome",
    "Payload",
    "Reading",
    "Remark",
    "Repair",
    "Retold",
    "Said",
    "Standing",
    "StateChance",
    "Sure",
    "Twins",
    "Undo",
    "Wanted",
    "append",
    "attach",
    "back_up",
    "book_place",
    "case_of",
    "changes",
    "closed_cases",
    "come_backs_of",
    "customer_of",
    "erase_customer",
    "export_book",
    "file_bytes",
    "find_cases",
    "fold",
    "goes_back_to",
    "import_book",
    "journal",
    "keep",
    "lacking_of_case",
    "likeness_of",
    "note_customer",
    "number_of",
    "open_book",
    "opening",
    "place_shown",
    "read_kept",
    "read_outcome",
    "restore",
    "rows_of",
    "similar_cases",
    "standing_of",
]
