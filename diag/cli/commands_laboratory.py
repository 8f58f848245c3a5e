"""The command that simulates cases and compares ways of going about them.

May import: typer and rich; the other rooms only inside functions, so that a command starts fast.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays, offering
from diag.cli.output import refuse_taken, show

if TYPE_CHECKING:
    from diag.laboratory import Study

__all__ = ["add_to"]


def _engines() -> list[str]:
    from diag.knowledge_base import load_knowledge

    return list(load_knowledge().engines)


def _policies() -> list[str]:
    from diag.laboratory import POLICIES

    return list(POLICIES)


EngineId = Annotated[str, typer.Argument(metavar="ENGINE", help="Id of an engine.", autocompletion=offering(_engines))]
Cases = Annotated[int, typer.Option("--cases", metavar="N", min=2, help="How many cases to simulate.")]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="The same seed draws the same cases.")]
Complaint = Annotated[
    list[str] | None,
    typer.Option("--complaint", metavar="ID", help="Only this symptom; given several times, all of them together."),
]
Compared = Annotated[
    list[str] | None,
    typer.Option(
        "--policy",
        metavar="NAME",
        help="Only this policy; may be given several times.",
        autocompletion=offering(_policies),
    ),
]
TruthFiles = Annotated[
    list[Path] | None,
    typer.Option("--truth", metavar="FILE", help="Draw the vehicles under this overlay, unknown to the policies."),
]
Processes = Annotated[
    int | None, typer.Option("--processes", metavar="N", min=1, help="Processes that share the work; else all cores.")
]
Cluster = Annotated[
    str, typer.Option("--cluster", metavar="ADDRESS", help="Work on the Dask cluster at this address instead.")
]
CsvFile = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write every case to this file.")]
PlotFile = Annotated[Path | None, typer.Option("--plot", metavar="OUT.svg", help="Draw the comparison into this file.")]
Replace = Annotated[bool, typer.Option("--replace", help="Write over files that are already there.")]


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(laboratory)


def laboratory(
    engine: EngineId,
    cases: Cases = 200,
    seed: Seed = 1,
    complaint: Complaint = None,
    policy: Compared = None,
    truth: TruthFiles = None,
    processes: Processes = None,
    cluster: Cluster = "",
    csv: CsvFile = None,
    plot: PlotFile = None,
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Simulate cases and compare ways of going about them: advice, rules of thumb, the bound that none can beat."""
    from diag.basics import write_whole
    from diag.laboratory import Plan, starts_of, study
    from diag.report import laboratory_blocks, laboratory_csv, laboratory_picture, laboratory_sheet

    _check_files([path for path in (csv, plot) if path is not None], plot, replace)
    belief = read_knowledge(knowledge, overlay)
    true = read_knowledge(knowledge, [*(overlay or ()), *truth]) if truth else belief
    starts = starts_of(belief, engine, _known_symptoms(belief, complaint or []))
    plan = Plan(belief, true, starts, cases, seed, _known_policies(policy or []))
    with _progress() as told:
        result: Study = study(plan, processes or os.cpu_count() or 1, told, cluster)
    entry = belief.engines[engine]
    full = laboratory_sheet(engine, entry, result, seed, min(cases, len(starts)), bool(truth), True)
    if csv is not None:
        write_whole(csv, laboratory_csv(full), overwrite=replace)
    if plot is not None:
        write_whole(plot, laboratory_picture(full), overwrite=replace)
    show(full, laboratory_blocks, as_json)


def _check_files(paths: list[Path], plot: Path | None, replace: bool) -> None:
    from diag.basics import UsageError

    if plot is not None and plot.suffix.lower() != ".svg":
        raise UsageError(f"the picture is an SVG, and {plot.name} does not end in .svg")
    refuse_taken(paths, replace)


def _known_symptoms(knowledge: object, names: list[str]) -> list[str]:
    from diag.basics import UsageError, did_you_mean
    from diag.knowledge_base import Knowledge
    from diag.laboratory import complaints

    assert isinstance(knowledge, Knowledge)
    able = complaints(knowledge)
    for name in names:
        if name not in able:
            raise UsageError(f"'{name}' is no complaint to start from; {did_you_mean(name, able, most=20)}")
    return names


def _known_policies(names: list[str]) -> tuple[str, ...]:
    from diag.basics import UsageError, did_you_mean
    from diag.laboratory import POLICIES

    for name in names:
        if name not in POLICIES:
            raise UsageError(f"there is no policy '{name}'; {did_you_mean(name, POLICIES, most=20)}")
    return tuple(dict.fromkeys(names)) or POLICIES


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """A bar on the error stream, where that is a terminal; nothing elsewhere."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from diag.report import LABORATORY

    columns = (TextColumn(LABORATORY["progress"]), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(file=sys.stderr), transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
