"""The pages of the programming interface, made from docstrings: `python -m tests.release.api FOLDER`.

One page a room, of what its door offers; pdoc makes them. May import: `diag` through its doors, pdoc.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import diag

__all__ = ["build", "doors", "main", "undocumented"]

SAID_BY_ITSELF = ("__", "model_", "_")  # methods that Python or pydantic gives


def doors() -> tuple[ModuleType, ...]:
    """The door of every room, with everything that it offers loaded."""
    names = sorted(found.name for found in pkgutil.iter_modules(diag.__path__) if found.ispkg and found.name[0] != "_")
    opened = tuple(importlib.import_module(f"diag.{name}") for name in names)
    for door in opened:
        for name in door.__all__:
            door.__dict__[name] = getattr(door, name)  # a lazy door has it only now
    return opened


def undocumented(door: ModuleType) -> Iterator[str]:
    """Functions, classes, their methods and properties that say nothing about themselves."""
    for name in door.__all__:
        thing = getattr(door, name)
        if not (inspect.isclass(thing) or inspect.isroutine(thing)) or not _is_ours(thing):
            continue
        text = thing.__doc__ or ""
        if not text.strip() or text.startswith(f"{name}("):  # what a dataclass writes of itself is no docstring
            yield f"{door.__name__}.{name}"
        for part, value in vars(thing).items() if inspect.isclass(thing) else ():
            told = isinstance(value, property | staticmethod | classmethod) or inspect.isfunction(value)
            if told and not part.startswith(SAID_BY_ITSELF) and not (value.__doc__ or "").strip():
                yield f"{door.__name__}.{name}.{part}"


def _is_ours(thing: object) -> bool:
    return str(getattr(thing, "__module__", "")).startswith("diag.")


def build(folder: Path) -> tuple[Path, ...]:
    """Write the pages; which there are."""
    import pdoc

    names = [door.__name__ for door in doors()]
    pdoc.render.configure(docformat="markdown", search=False, show_source=False, footer_text=f"diag {diag.__version__}")
    pdoc.pdoc("diag", *names, output_directory=folder)  # what stands behind a door is shown at the door
    return tuple(sorted(folder.rglob("*.html")))


def main() -> None:
    """Build into a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    for page in build(parser.parse_args().folder):
        print(page)


if __name__ == "__main__":
    main()
