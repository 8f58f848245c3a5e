"""The command about large tables of cases. May import: typer and rich; the other rooms only inside functions."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import UsageError
from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays
from diag.cli.output import show

if TYPE_CHECKING:
    from rich.progress import Task

__all__ = ["add_to"]

SECONDS_BETWEEN = 30.0  # lines about the progress, where there is no terminal to draw a bar on


def add_to(app: typer.Typer) -> None:
    """Add `table`."""
    app.command()(table)


def table(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="The table, CSV or Parquet: one row a case.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="OUT", help="Where to write: a name ending in .parquet or .csv.")
    ] = None,
    csv: Annotated[Path | None, typer.Option("--csv", metavar="OUT.csv", help="Write the same as CSV, too.")] = None,
    mapping: Annotated[
        Path | None, typer.Option("--map", metavar="MAP", help="A file that says what the columns are.")
    ] = None,
    only: Annotated[
        str | None, typer.Option("--only", metavar="weigh", help="Weigh the faults, and decide nothing: much faster.")
    ] = None,
    processes: Annotated[
        int, typer.Option("--processes", metavar="N", min=0, help="Processes that share the work; 0: all cores.")
    ] = 0,
    cluster: Annotated[
        str, typer.Option("--cluster", metavar="ADDRESS", help="Work on the Dask cluster at this address instead.")
    ] = "",
    anew: Annotated[
        bool, typer.Option("--anew", help="Forget a run that was stopped; write over an output that is there.")
    ] = False,
    columns: Annotated[bool, typer.Option("--columns", help="List the columns that a table may have.")] = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Work out a table of cases: faults, next check, plan and money of every row. Go on where it was stopped."""
    from diag.batch import Run, TableMap, column_words, read_table_mapping, run_table
    from diag.report import table_blocks, table_columns_blocks, table_columns_sheet, table_sheet

    known = read_knowledge(knowledge, overlay)
    if columns:
        from diag.casebook import CONDITIONS

        show(table_columns_sheet(column_words(known), CONDITIONS), table_columns_blocks, as_json)
        return
    if file is None or out is None:
        raise UsageError("say which table and where to: diag table FILE --out OUT.parquet; --columns lists its columns")
    if only not in (None, "weigh"):
        raise UsageError(f"there is no '--only {only}'; it is weigh")
    said = read_table_mapping(mapping, known) if mapping is not None else TableMap()
    run = Run(file, out, known, said, csv, only is not None, processes, cluster, anew)
    with _progress() as told:
        result = run_table(run, told)
    show(table_sheet(result), table_blocks, as_json)


@contextmanager
def _progress() -> Iterator[Callable[[str, int, int | None], None]]:
    """A bar with rate and time left on the error stream; where that is no terminal, a line now and then."""
    if sys.stderr.isatty():
        with _bar() as told:
            yield told
    else:
        yield _Lines().told


@contextmanager
def _bar() -> Iterator[Callable[[str, int, int | None], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, ProgressColumn, TextColumn, TimeRemainingColumn
    from rich.text import Text

    from diag.report import TABLE

    class Rate(ProgressColumn):
        """How many a second."""

        def render(self, task: Task) -> Text:
            speed = task.finished_speed or task.speed
            return Text("" if speed is None else f"{speed:,.0f}/s")

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), Rate(), TimeRemainingColumn())
    with Progress(*columns, console=Console(file=sys.stderr), transient=True) as bar:
        tasks = {step: bar.add_task(TABLE[step], total=None, visible=False) for step in ("read", "work", "join")}
        yield lambda step, done, of: bar.update(tasks[step], completed=done, total=of, visible=True)


class _Lines:
    """Progress as lines, `SECONDS_BETWEEN` apart."""

    def __init__(self) -> None:
        self.step, self.began, self.last, self.at_first = "", 0.0, 0.0, 0

    def told(self, step: str, done: int, of: int | None) -> None:
        """Take note, and say a line where it is time."""
        from diag.report import TABLE

        now = time.monotonic()
        if step != self.step:
            self.step, self.began, self.last, self.at_first = step, now, now, done
        if now - self.last < SECONDS_BETWEEN:
            return
        self.last = now
        rate = (done - self.at_first) / (now - self.began)
        left = TABLE["unknown"] if of is None or rate <= 0 else f"{(of - done) / rate:,.0f} s"
        whole = TABLE["unknown"] if of is None else f"{of:,}"
        line = TABLE["rate"].format(step=TABLE[step], done=done, of=whole, rate=rate, left=left)
        sys.stderr.write(f"{line}\n")
