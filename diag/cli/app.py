"""Puts the commands together and runs them. May import: typer and the modules of this room."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated, NoReturn

import typer

import diag
from diag.cli import (
    commands_book,
    commands_case,
    commands_customer,
    commands_doubt,
    commands_engine,
    commands_export,
    commands_knowledge,
    commands_laboratory,
    commands_learn,
    commands_log,
    commands_practice,
    commands_serve,
    commands_talk,
    commands_why,
    commands_work,
)
from diag.cli.exits import EXIT_HELP, run_reporting

__all__ = ["app", "main"]

app = typer.Typer(
    name="diag",
    help="From complaint to repair: weighs the faults behind a diesel's case, says what to check next and what that "
    "is worth, and what to repair on which cylinders.",
    epilog=EXIT_HELP,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for _commands in (
    commands_case,
    commands_why,
    commands_doubt,
    commands_customer,
    commands_work,
    commands_talk,
    commands_serve,
    commands_log,
    commands_laboratory,
    commands_practice,
    commands_book,
    commands_knowledge,
    commands_engine,
    commands_export,
    commands_learn,
):
    _commands.add_to(app)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"diag {diag.__version__}")
        raise typer.Exit


@app.callback()
def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    """Options before the command."""


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """The entry point: run one command and exit with its code (see `diag --help`)."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal that lacks a character shows '?', and does not stop
    given = commands_why.with_places_joined(sys.argv[1:] if arguments is None else arguments)
    run_reporting(lambda: app(args=given, prog_name="diag"))
