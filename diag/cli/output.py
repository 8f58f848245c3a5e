"""Prints a sheet: as JSON where that was asked for, else as a page.

May import: `diag.report`, inside functions only.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from diag.report import Block

__all__ = ["show"]

Sheet = TypeVar("Sheet")


def show(sheet: Sheet, blocks: Callable[[Sheet], Iterable[Block]], as_json: bool) -> None:
    """Print a sheet on stdout."""
    from diag.report import print_blocks, sheet_json

    if as_json:
        sys.stdout.write(sheet_json(sheet) + "\n")
    else:
        print_blocks(blocks(sheet))
