"""Every command with its help, and examples with what they print: `python -m tests.release.commands [--help-only]`.

Writes `.release/commands.md`. The examples run in processes of their own; with `--help-only` those that stand there are
kept. May import: typer, `diag.cli`, `tests.cli.process`, the standard library.
"""

from __future__ import annotations

import argparse
import re
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path

import typer
from typer import Context
from typer.core import TyperCommand, TyperGroup

from diag.cli import app
from tests.cli.process import ROOT, run_in

__all__ = ["DOCUMENT", "EXAMPLES", "commands", "examples_in", "help_of", "main", "page", "printed_by"]

DOCUMENT = ROOT / ".release" / "commands.md"
CASES = "case,engine,distance_km,age_years,hard_start,tar 2\na,ostrel_4,187000,11,present,present\nb,ostrel_4,many,,,\n"
EXAMPLES: dict[str, str] = {
    "advise": "diag advise one_blown_seal",
    "weigh": "diag weigh low_compression",
    "next": "diag next excess_return_behind_hard_start",
    "repair": "diag repair second_seal_weeping",
    "cases": "diag cases",
    "why": "diag why one_blown_seal",
    "customer": "diag customer one_blown_seal",
    "sheet": "diag sheet one_blown_seal",
    "estimate": "diag estimate one_blown_seal",
    "table": "diag table cases.csv --out worked.parquet --only weigh",
    "know check": "diag know check",
    "know list": "diag know list repairs",
    "know explain": "diag know explain seal",
    "engine list": "diag engine list",
    "picture": "diag picture one_blown_seal engine.svg",
    "know schema": "diag know schema --form cases",
}
_BLOCK = re.compile(r"^\$ (diag .*)\n((?:.*\n)*?)```$", re.MULTILINE)


def commands() -> Iterator[tuple[str, TyperCommand, Context]]:
    """Every command that does something, by its words ('book keep')."""
    top = typer.main.get_command(app())
    assert isinstance(top, TyperGroup)
    yield from _below("", top, Context(top, info_name="diag"))


def _below(
    words: str, command: TyperCommand | TyperGroup, context: Context
) -> Iterator[tuple[str, TyperCommand, Context]]:
    if isinstance(command, TyperCommand):
        yield words, command, context
        return
    for name in command.list_commands(context):
        inside = command.get_command(context, name)
        assert isinstance(inside, TyperCommand | TyperGroup)
        yield from _below(f"{words} {name}".strip(), inside, Context(inside, info_name=name, parent=context))


def help_of(command: TyperCommand, context: Context) -> str:
    """What `--help` prints, 80 columns wide."""
    context.terminal_width = context.max_content_width = 80
    return command.get_help(context).rstrip()


def printed_by(example: str) -> str:
    """What an example prints, in a folder that holds the table it may speak of."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "cases.csv").write_text(CASES, encoding="utf-8")
        done = run_in(Path(folder), *shlex.split(example)[1:])
    assert done.returncode == 0, done.stderr
    return done.stdout.rstrip()


def examples_in(text: str) -> dict[str, str]:
    """The examples of a page with what they printed."""
    return {example: printed.rstrip() for example, printed in _BLOCK.findall(text)}


def page(printed: dict[str, str]) -> str:
    """The whole page, with what the examples printed."""
    parts = ["# Commands\n\nMade by `python -m tests.release.commands`; all cases are invented.\n"]
    for words, command, context in commands():
        parts.append(f"## diag {words}\n\n```text\n{help_of(command, context)}\n```\n")
        if words in EXAMPLES:
            parts.append(f"```text\n$ {EXAMPLES[words]}\n{printed[EXAMPLES[words]]}\n```\n")
    return "\n".join(parts)


def main() -> None:
    """Write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--help-only", action="store_true")
    kept = examples_in(DOCUMENT.read_text(encoding="utf-8")) if DOCUMENT.exists() else {}
    if not parser.parse_args().help_only:
        kept = {}
    printed = {example: kept.get(example) or printed_by(example) for example in EXAMPLES.values()}
    DOCUMENT.write_text(page(printed), encoding="utf-8")


if __name__ == "__main__":
    main()
