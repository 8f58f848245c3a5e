"""Puts the commands together and runs them. May import: typer, basics and the modules of this room."""

from __future__ import annotations

import atexit
import gc
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, NoReturn

import typer

import diag
from diag.basics import keep_freed, search_seldom
from diag.cli.exits import EXIT_HELP, run_reporting

__all__ = ["app", "main"]

OBJECTS = 200_000  # that a command makes before rubbish is looked for: more than a short one makes at all
MODULES = {  # in the order of the help: the module of this room that adds each command
    "advise": "commands_case",
    "weigh": "commands_case",
    "next": "commands_case",
    "repair": "commands_case",
    "cases": "commands_case",
    "why": "commands_why",
    "doubt": "commands_doubt",
    "customer": "commands_customer",
    "picture": "commands_customer",
    "sheet": "commands_work",
    "estimate": "commands_work",
    "talk": "commands_talk",
    "serve": "commands_serve",
    "log": "commands_log",
    "table": "commands_table",
    "laboratory": "commands_laboratory",
    "practice": "commands_practice",
    "book": "commands_book",
    "know": "commands_knowledge",
    "engine": "commands_engine",
    "export": "commands_export",
    "learn": "commands_learn",
    "score-book": "commands_learn",
}


def app(command: str | None = None) -> typer.Typer:
    """The program; where the command is known, without the others, which takes a tenth of a second less."""
    program = typer.Typer(
        name="diag",
        help="From complaint to repair: weighs the faults behind a diesel's case, says what to check next and what "
        "that is worth, and what to repair on which cylinders.",
        epilog=EXIT_HELP,
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    program.callback()(_main)
    wanted = [MODULES[command]] if command in MODULES else dict.fromkeys(MODULES.values())
    for module in wanted:
        import_module(f"diag.cli.{module}").add_to(program)
    return program


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"diag {diag.__version__}")
        raise typer.Exit


def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    """Options before the command."""


def _leave_rubbish() -> None:
    """At the end the system takes back all memory at once; to search it for rubbish first takes a tenth of a second."""
    gc.disable()
    gc.freeze()


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """The entry point: run one command and exit with its code (see `diag --help`)."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that lacks a character shows '?', and does not stop
    keep_freed()
    search_seldom(OBJECTS)
    atexit.register(_leave_rubbish)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # none is wanted, and looking for them takes long
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # matrices are small, and on a busy machine threads only wait
    given = list(sys.argv[1:] if arguments is None else arguments)
    first = given[0] if given else None
    completing = any(name.endswith("_COMPLETE") for name in os.environ)
    if first == "why":
        from diag.cli.commands_why import with_places_joined

        given = with_places_joined(given)
    run_reporting(lambda: app(None if completing else first)(args=given, prog_name="diag"))
