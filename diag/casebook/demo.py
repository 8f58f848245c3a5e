"""The demo cases that ship: one invented workshop, invented vehicles. May import: `diag.basics`."""

from __future__ import annotations

from pathlib import Path

from diag.basics import UsageError

__all__ = ["demo_cases", "demo_studies"]


def demo_cases() -> dict[str, Path]:
    """Id (the file's name without its ending) -> path, by name: from the installed package, else the source tree."""
    return {path.stem: path for path in sorted(_folder().glob("*.yaml"))}


def demo_studies() -> dict[str, Path]:
    """The case studies that ship for practice, the same way."""
    return {path.stem: path for path in sorted((_folder() / "studies").glob("*.yaml"))}


def _folder() -> Path:
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_data" / "demo_cases", package.parent / "demo_cases"):
        if folder.is_dir():
            return folder
    raise UsageError("the demo cases that ship with diag are not here; install it anew")
