"""Where the book is: what is asked for, else what DIAG_BOOK says, else the user's data folder. Nothing to set up.

May import: `diag.basics`, platformdirs inside functions.
"""

from __future__ import annotations

import os
from pathlib import Path

from diag.basics import BookError

__all__ = ["BOOK_VARIABLE", "FILES_VARIABLE", "book_place", "files_folder"]

BOOK_VARIABLE = "DIAG_BOOK"
FILES_VARIABLE = "DIAG_BOOK_FILES"


def book_place(asked: str | None = None, make: bool = True) -> str:
    """The path of the SQLite file, its folder made where `make` says so, or the URL of a PostgreSQL database.

    Raises BookError where the folder cannot be made.
    """
    place = asked or os.environ.get(BOOK_VARIABLE, "") or str(_data_folder() / "book.sqlite3")
    if "://" in place:
        return place
    path = Path(place).expanduser().absolute()
    if not make:
        return str(path)
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise BookError(f"{path.parent}: this folder cannot be made: {error.strerror or error}") from error
    return str(path)


def files_folder(place: str) -> Path:
    """The folder of the attachments: what DIAG_BOOK_FILES says, else beside the book's file, else the data folder."""
    told = os.environ.get(FILES_VARIABLE, "")
    if told:
        return Path(told).expanduser().absolute()
    if "://" in place:
        return _data_folder() / "files"
    path = Path(place)
    return path.with_name(f"{path.name}.files")


def _data_folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("diag", appauthor=False)
