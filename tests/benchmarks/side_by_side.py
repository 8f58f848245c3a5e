"""diag, pgmpy and pyAgrum side by side on the same networks and evidence, in one run: a table, CSV and a plot.

Run `python -m tests.benchmarks.side_by_side FOLDER [--quick]`; it writes `side_by_side.md`, `.csv`, `.svg` there. Each
answer (all component marginals of one case) comes from a process of its own with a limit on memory and time; import and
the building of networks are not counted in it, the start of whole programs is measured apart. Where a reference cannot,
that is said. May import: `diag.inference`, `diag.pictures`, `tests.support`.
"""

from __future__ import annotations

import argparse
import csv
import io
import math
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from diag.inference import Evidence, Model, infer
from diag.pictures import ACCENT, INK, LINE, MUTED, Svg
from tests.benchmarks.timing import Limited, run_limited, timed
from tests.benchmarks.v8 import batch_of
from tests.support.synthetic import Layout, random_case, sizes_in_words, workshop_model

__all__ = ["PROGRAMS", "Measured", "Point", "Scale", "as_csv", "as_markdown", "as_picture", "main", "measure", "starts"]

PROGRAMS = ("diag", "pgmpy", "pyagrum")
FIGURES = ("first_s", "again_s", "batch_s_a_case", "memory_mib", "largest_difference")
HEAD = ("grows", "size", "network", "program", *FIGURES, "could_not")
STARTS = {
    "diag": ("-c", "from diag.cli import main; main(['weigh', 'one_blown_seal'])"),
    "pgmpy": (
        "-c",
        "from pgmpy.models import DiscreteBayesianNetwork; from pgmpy.inference import VariableElimination",
    ),
    "pyagrum": ("-c", "import pyagrum"),
}
START_WORDS = {
    "diag": "diag weigh one_blown_seal, from the shell to the page",
    "pgmpy": "import of pgmpy's models and inference alone",
    "pyagrum": "import of pyAgrum alone",
}
SMALL = Layout(4, shared=6, detail=4, vehicle=3, configurations=2)
FULL = {"full V6": Layout(6, vehicle=13, configurations=6), "full V8": Layout(8, vehicle=13, configurations=6)}


@dataclass(frozen=True)
class Point:
    """One network and its evidence: `kind` names the row of the plot, `size` its place there."""

    kind: str
    size: int
    layout: Layout
    present: int

    def made(self) -> tuple[Model, Evidence]:
        """Model and evidence; the same each time."""
        model = workshop_model(self.layout)
        return model, random_case(model, seed=1, present=self.present)


@dataclass(frozen=True)
class Measured:
    """One program on one network: `difference` is the largest to diag's marginals; `batch_s`: seconds a case in a batch
    of 64 (diag alone takes batches), 0 where it was not measured."""

    point: Point
    words: str
    program: str
    done: Limited
    difference: float
    batch_s: float = 0.0


@dataclass(frozen=True)
class Scale:
    """What to measure and within which limits."""

    points: Sequence[Point]
    memory_gib: float = 8.0
    limit_s: float = 120.0
    least_s: float = 1.0
    batch: int = 64


def points(cylinders: Sequence[int], symptoms: Sequence[int], layout: Layout = SMALL) -> tuple[Point, ...]:
    """Growth with cylinders at three symptoms present, and with symptoms present at four cylinders."""
    wide = [
        Point("cylinders", n, Layout(n, layout.shared, layout.detail, layout.vehicle, layout.configurations), 3)
        for n in cylinders
    ]
    return (*wide, *(Point("symptoms present", n, layout, n) for n in symptoms))


def full_points(symptoms: Sequence[int]) -> tuple[Point, ...]:
    """Engines of the size of the shipped ones, with growing numbers of symptoms present."""
    return tuple(Point(f"symptoms present, {name}", n, layout, n) for name, layout in FULL.items() for n in symptoms)


def measure(scale: Scale, told: Callable[[str], None] = lambda line: None) -> list[Measured]:
    """Everything; a reference that could not do a network is not asked for larger ones of its kind."""
    found: list[Measured] = []
    given_up: set[tuple[str, str]] = set()
    for point in scale.points:
        model, evidence = point.made()
        words = sizes_in_words(model, evidence)
        ours: dict[str, list[float]] = {}
        for program in PROGRAMS:
            if (program, point.kind) in given_up:
                continue
            done = run_limited(
                "tests.benchmarks.reference_worker", [program], (model, evidence), scale.memory_gib, scale.limit_s
            )
            if program == "diag":
                ours = done.answers
            if not done.finished:
                given_up.add((program, point.kind))
            batch = _batch(model, evidence, scale) if program == "diag" else 0.0
            found.append(Measured(point, words, program, done, _difference(ours, done.answers), batch))
            told(f"{point.kind} {point.size}, {program}: {_seconds(found[-1])}")
    return found


def _batch(model: Model, evidence: Evidence, scale: Scale) -> float:
    together = batch_of(evidence, scale.batch)
    return timed([lambda: infer(model, together)], scale.least_s).best_s / scale.batch


def _difference(ours: dict[str, list[float]], theirs: dict[str, list[float]]) -> float:
    return max((float(np.max(np.abs(np.subtract(ours[name], theirs[name])))) for name in theirs), default=0.0)


def starts(times: int = 3) -> dict[str, float]:
    """Seconds of whole processes, the fastest of some."""
    found = {}
    for program, arguments in STARTS.items():
        walls = []
        for _ in range(times + 1):  # the first fills the caches of the system and of the program
            before = time.perf_counter()
            subprocess.run([sys.executable, "-W", "ignore", *arguments], check=True, capture_output=True)
            walls.append(time.perf_counter() - before)
        found[program] = min(walls[1:])
    return found


def machine() -> str:
    """What it was measured on."""
    model = platform.processor() or platform.machine()
    information = Path("/proc/cpuinfo")
    if information.exists():
        lines = information.read_text(encoding="utf-8").splitlines()
        model = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), model)
    load = f", load {os.getloadavg()[0]:.0f}" if hasattr(os, "getloadavg") else ""
    return f"{model}, {os.cpu_count()} processors{load}, Python {platform.python_version()}, numpy {np.__version__}"


def _seconds(one: Measured) -> str:
    if not one.done.finished:
        return one.done.trouble.partition(":")[0]
    return f"{one.done.again_s:.3g} s" if one.done.again_s >= 1.0 else f"{one.done.again_s * 1000:.3g} ms"


def as_csv(rows: Sequence[Measured]) -> str:
    """Every figure."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow(HEAD)
    for one in rows:
        done = one.done
        figures = [done.seconds, done.again_s, one.batch_s or "", round(done.memory_mib), one.difference]
        told = figures if done.finished else [""] * 5
        lines.writerow([one.point.kind, one.point.size, one.words, one.program, *told, done.trouble])
    return out.getvalue()


def as_markdown(rows: Sequence[Measured], started: dict[str, float], when: date, where: str) -> str:
    """The table for people."""
    lines = [f"Measured on {when.isoformat()}: {where}. All component marginals of one case; networks and evidence are"]
    lines += ["the same for all three, answers agree to the difference shown.", ""]
    lines += [
        "| network | diag, one case | diag, in a batch | pgmpy | pyAgrum | memory of the three, MiB | difference |",
        "|---|---|---|---|---|---|---|",
    ]
    for point in dict.fromkeys(one.point for one in rows):
        found = {one.program: one for one in rows if one.point == point}
        times = [_seconds(found[program]) if program in found else "-" for program in PROGRAMS]
        ran = [one for one in found.values() if one.done.finished]
        held = {one.program: f"{one.done.memory_mib:,.0f}" for one in ran}
        memory = " / ".join(held.get(program, "-") for program in PROGRAMS)
        apart = max((one.difference for one in ran if one.program != "diag"), default=None)
        told = [f"{point.size} {point.kind}", times[0], f"{found['diag'].batch_s * 1000:.3g} ms", *times[1:], memory]
        lines.append(f"| {' | '.join(told)} | {'' if apart is None else f'{apart:.0e}'} |")
    lines += ["", "| start of a whole process | seconds |", "|---|---|"]
    lines += [f"| {START_WORDS[program]} | {seconds:.2f} |" for program, seconds in started.items()]
    return "\n".join(lines) + "\n"


LEFT, TOP, TALL, ROW = 62.0, 52.0, 278.0, 345.0
PANEL, GAP, ABREAST = 330.0, 90.0, 2
DASHES = {"diag": "", "pgmpy": "7 5", "pyagrum": "2 4"}


def as_picture(rows: Sequence[Measured], when: date, where: str) -> str:
    """Time against size, a panel for each way to grow, logarithmic; a line ends where its program gave up."""
    kinds = list(dict.fromkeys(one.point.kind for one in rows))
    title = "Seconds for all component marginals of one case"
    ends = [f"{one.program} stops at {one.point.size} {one.point.kind}" for one in rows if not one.done.finished]
    told = f"{title}, against {' and '.join(kinds)}. {'; '.join(ends)}".strip()
    abreast, deep = min(ABREAST, len(kinds)), math.ceil(len(kinds) / ABREAST)
    svg = Svg("side-by-side", LEFT + abreast * (PANEL + GAP), TOP + deep * ROW, title, told)
    times = [one.done.again_s for one in rows if one.done.finished]
    low, high = math.floor(math.log10(min(times))), max(math.ceil(math.log10(max(times))), 0)
    svg.text(LEFT, 20, f"{title} (logarithmic)", 15, bold=True)
    svg.text(LEFT, 38, f"{when.isoformat()}, {where}"[:120], 11, fill=MUTED)
    for number, kind in enumerate(kinds):
        row, column = divmod(number, ABREAST)
        corner = LEFT + column * (PANEL + GAP), TOP + row * ROW
        _panel(svg, corner, kind, [one for one in rows if one.point.kind == kind], (low, high))
    return svg.finished()


def _panel(
    svg: Svg, corner: tuple[float, float], kind: str, rows: Sequence[Measured], decades: tuple[int, int]
) -> None:
    (low, high), (left, top) = decades, corner
    foot = top + TALL
    sizes = sorted({one.point.size for one in rows})
    across = {size: left + (number + 0.5) * PANEL / len(sizes) for number, size in enumerate(sizes)}

    def up(seconds: float) -> float:
        return foot - (math.log10(seconds) - low) / (high - low) * (TALL - 8)

    for decade in range(low, high + 1):
        svg.line([(left, up(10.0**decade)), (left + PANEL, up(10.0**decade))], LINE, 0.5)
        svg.text(left - 6, up(10.0**decade) + 4, f"{10.0**decade:g} s", 12, "end", MUTED)
    for size, x in across.items():
        svg.text(x, foot + 18, str(size), 12, "middle", MUTED)
    svg.text(left + PANEL / 2, foot + 38, kind, 13, "middle")
    for program in PROGRAMS:
        ends = [
            (across[one.point.size], up(one.done.again_s))
            for one in rows
            if one.program == program and one.done.finished
        ]
        if not ends:
            continue
        svg.line(ends, ACCENT if program == "diag" else INK, 2.5 if program == "diag" else 1.5, DASHES[program])
        for x, y in ends:
            svg.circle(x, y, 3, ACCENT if program == "diag" else INK)
        svg.text(ends[-1][0] + 6, ends[-1][1] - 6, program, 12)


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--quick", action="store_true", help="few sizes, short limits")
    chosen = parser.parse_args()
    scale = Scale((*points((2, 3, 4, 5, 6, 8), (1, 2, 3, 4, 5, 6)), *full_points((2, 4, 6, 8, 10))))
    if chosen.quick:
        scale = Scale(points((2, 4, 8), (2, 4, 6)), limit_s=20.0, least_s=0.2)
    rows = measure(scale, lambda line: print(line, flush=True))
    when, where = date.today(), machine()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    texts = {
        "md": as_markdown(rows, starts(), when, where),
        "csv": as_csv(rows),
        "svg": as_picture(rows, when, where),
    }
    for ending, text in texts.items():
        (chosen.folder / f"side_by_side.{ending}").write_text(text, encoding="utf-8")
    print(texts["md"])


if __name__ == "__main__":
    main()
