"""Prints a sheet: as JSON where that was asked for, else as a page.

May import: `diag.basics` and `diag.report`, inside functions only.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from diag.report import Block

__all__ = ["refuse_taken", "show"]

Sheet = TypeVar("Sheet")


def show(sheet: Sheet, blocks: Callable[[Sheet], Iterable[Block]], as_json: bool) -> None:
    """Print a sheet on stdout."""
    from diag.report import print_blocks, sheet_json

    if as_json:
        sys.stdout.write(sheet_json(sheet) + "\n")
    else:
        print_blocks(blocks(sheet))


def refuse_taken(paths: Iterable[Path], replace: bool) -> None:
    """Before any work is done, so that none is lost: raises UsageError for a file that is there and may not be written
    over, and for one in a folder that is not there."""
    from diag.basics import UsageError, is_there

    for path in paths:
        if is_there(path) and not replace:
            raise UsageError(f"{path} is already there; choose another name, or write over it with --replace")
        if not path.parent.is_dir():
            raise UsageError(f"{path} cannot be written: there is no folder {path.parent}; make it first")
