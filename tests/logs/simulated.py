"""Logs simulated from known states: a start, a warm-up, idling, a pull, idling again. Invented from end to end.

May import: numpy, the standard library.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["HEADS", "State", "Table", "correlated", "simulate", "written"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class State:
    """What is true of an engine, and how its logger and sensors err."""

    corrections: tuple[float, ...] = (-0.4, 2.1, -0.9, -0.8)  # mg/stroke
    rail_deviation: float = -6.0  # bar, warm idle, actual less wanted
    cranking_speed: float = 236.0  # rpm
    cranking_rail: float = 262.0  # bar, reached before it fires
    cranking_battery: float = 10.4  # V
    boost_deviation: float = -45.0  # mbar under load
    noise: float = 1.0  # in units of what is usual
    memory_s: float = 2.0  # correlation time of the noise at idle
    spikes: float = 0.0  # share of cells that a glitch replaces
    step_s: float = 0.1
    warm_up_s: float = 60.0
    idle_s: float = 120.0
    pull_s: float = 15.0
    seed: int = 1


@dataclass(frozen=True)
class Table:
    """Columns by channel: `columns[head][row]`."""

    columns: dict[str, Array] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(next(iter(self.columns.values())))


HEADS = {
    "time": "Time [s]",
    "speed": "Engine speed [rpm]",
    "coolant": "Coolant temperature [°C]",
    "rail_wanted": "Rail pressure wanted [bar]",
    "rail_actual": "Rail pressure actual [bar]",
    "battery": "Battery voltage [V]",
    "boost_wanted": "Boost wanted [mbar]",
    "boost_actual": "Boost actual [mbar]",
}


def correlated(rng: np.random.Generator, rows: int, step_s: float, memory_s: float) -> Array:
    """Noise of variance 1 whose correlation falls by e in `memory_s` (a first-order autoregression)."""
    keep = float(np.exp(-step_s / memory_s)) if memory_s > 0 else 0.0
    shocks = rng.normal(size=rows) * np.sqrt(1 - keep**2)
    noise = np.empty(rows)
    last = rng.normal()
    for row in range(rows):
        last = keep * last + shocks[row]
        noise[row] = last
    return noise


def simulate(state: State) -> Table:
    """One drive: 3 s at rest, cranking, warm-up, warm idle, a pull, warm idle again, switched off."""
    rng = np.random.default_rng(state.seed)
    pieces = [
        _piece(state, rng, 3.0, "rest"),
        _piece(state, rng, 2.5, "crank"),
        _piece(state, rng, state.warm_up_s, "cold"),
        _piece(state, rng, state.idle_s, "idle"),
        _piece(state, rng, state.pull_s, "pull"),
        _piece(state, rng, state.idle_s, "idle"),
        _piece(state, rng, 0.6, "coast"),
        _piece(state, rng, 3.0, "rest"),
    ]
    columns = {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}
    columns = {"time": np.arange(len(columns["speed"])) * state.step_s, **columns}
    if state.spikes:
        for name, values in columns.items():
            hit = rng.random(len(values)) < state.spikes
            if name.startswith("correction"):
                values[hit] = rng.choice([-14.0, 14.0], int(hit.sum()))
            elif name == "rail_actual":
                values[hit] = rng.choice([0.0, 3900.0], int(hit.sum()))
    return Table(columns)


def _piece(state: State, rng: np.random.Generator, seconds: float, kind: str) -> dict[str, Array]:
    n = max(round(seconds / state.step_s), 1)
    t, one = np.arange(n) * state.step_s, np.ones(n)

    def noise(size: float, memory: float = state.memory_s) -> Array:
        return size * state.noise * correlated(rng, n, state.step_s, memory)

    idling = kind in ("cold", "idle")
    speed = {
        "rest": 0 * one,
        "crank": state.cranking_speed + noise(4.0, 0.1),
        "cold": 900 + noise(8.0),
        "idle": 780 + noise(7.0),
        "pull": 2400 + noise(25.0),
        "coast": np.linspace(380, 90, n),
    }[kind]
    wanted = {"rest": 0, "crank": 250, "cold": 300, "idle": 270, "pull": 1300, "coast": 0}[kind] * one
    off = {"rest": 0.0, "crank": 0.0, "cold": -4.0, "idle": state.rail_deviation, "pull": -15.0, "coast": 0.0}[kind]
    actual = wanted + off + noise(4.0 if idling else 8.0)
    if kind == "crank":
        actual = state.cranking_rail * (1 - np.exp(-t / 0.35)) + noise(2.0, 0.1)
    coolant = {"cold": np.linspace(55, 78, n)}.get(kind, 88 * one)
    piece = {
        "speed": np.maximum(speed, 0.0),
        "coolant": coolant + noise(0.2),
        "rail_wanted": wanted,
        "rail_actual": np.maximum(actual, 0.0),
        "battery": (state.cranking_battery if kind == "crank" else 14.1) + noise(0.05, 0.1),
        "boost_wanted": (2100 if kind == "pull" else 1050) * one,
        "boost_actual": (2100 + state.boost_deviation if kind == "pull" else 1040) + noise(10.0, 0.5),
    }
    for cylinder, true in enumerate(state.corrections, start=1):
        level = true if kind == "idle" else 0.5 * true
        piece[f"correction {cylinder}"] = level + noise(0.25) if idling else 0 * one
    return piece


def with_seed(state: State, seed: int) -> State:
    """The same state, other noise."""
    return replace(state, seed=seed)


def written(
    table: Table,
    heads: dict[str, str] | None = None,
    delimiter: str = ",",
    decimal: str = ".",
    decimals: int = 3,
) -> list[str]:
    """The lines of a CSV file: heads, then rows, nan as an empty cell."""
    heads = HEADS if heads is None else heads
    names = [heads.get(name, f"Correction cylinder {name.split()[-1]} [mg/stroke]") for name in table.columns]
    lines = [delimiter.join(names)]
    for row in zip(*table.columns.values(), strict=True):
        cells = ["" if np.isnan(value) else f"{value:.{decimals}f}".replace(".", decimal) for value in row]
        lines.append(delimiter.join(cells))
    return lines
