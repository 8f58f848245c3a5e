"""Everything that a room offers says what it is, and its page can be made."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from tests.release.api import build, doors, undocumented

DOORS = doors()


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_every_public_name_has_a_docstring(door: ModuleType) -> None:
    """Functions, classes, methods and properties; constants and aliases of types are shown with their values."""
    assert list(undocumented(door)) == []


@pytest.mark.filterwarnings("ignore:Error parsing type annotation", "ignore:cannot import name:UserWarning")
def test_the_pages_are_made_and_hold_every_public_name(tmp_path: Path) -> None:
    pages = {page.relative_to(tmp_path).as_posix(): page.read_text(encoding="utf-8") for page in build(tmp_path)}
    assert {f"diag/{door.__name__.removeprefix('diag.')}.html" for door in DOORS} <= set(pages)
    for door in DOORS:
        page = pages[f"diag/{door.__name__.removeprefix('diag.')}.html"]
        missing = [name for name in door.__all__ if f'id="{name}"' not in page]
        assert not missing, (door.__name__, missing)
