"""Logs simulated from known states come back to these states, within the errors that are stated."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diag.casebook import read_case
from diag.knowledge_base import Engine, Knowledge
from diag.logs import LogReading, read_log, with_log
from tests.logs.simulated import State, simulate, written
from tests.support.effort import LONG

STATES = {
    "one weak cylinder": State(corrections=(-0.4, 2.1, -0.9, -0.8)),
    "one that gives too much, slow noise": State(corrections=(0.9, 0.7, -2.4, 0.8), memory_s=6.0),
    "pressure too low, glitches": State(rail_deviation=-38.0, cranking_rail=140.0, spikes=0.01),
    "slow starter, coarse logger": State(cranking_speed=152.0, cranking_battery=8.7, step_s=0.25),
}
SEEDS = 120 if LONG else 6


def truth(state: State, reading: LogReading) -> float:
    values = {
        "rail_pressure_idle": state.rail_deviation,
        "cranking_speed": state.cranking_speed,
        "battery_voltage_cranking": state.cranking_battery,
        "boost_deviation": state.boost_deviation,
        "rail_pressure_cranking": state.cranking_rail,
    }
    return state.corrections[int(reading.place or 1) - 1] if reading.item == "correction" else values[reading.item]


@pytest.fixture(scope="module")
def scores(known: Knowledge, engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[float]]:
    """Differences from the truth in stated errors, by reading, over all states and seeds."""
    path = tmp_path_factory.mktemp("logs") / "log.csv"
    found: dict[str, list[float]] = {}
    for state in STATES.values():
        for seed in range(SEEDS):
            path.write_text(
                "\n".join(written(simulate(replace(state, seed=seed)), decimals=2)) + "\n", encoding="utf-8"
            )
            for reading in read_log(path, known, engine).readings:
                if reading.why_not != "too short":
                    off = (reading.value - truth(state, reading)) / reading.error
                    found.setdefault(reading.item, []).append(off)
    return found


@pytest.mark.parametrize("item", ["correction", "rail_pressure_idle", "battery_voltage_cranking", "boost_deviation"])
def test_the_truth_lies_within_the_stated_error_in_about_95_of_100_logs(
    item: str, scores: dict[str, list[float]]
) -> None:
    off = np.abs(scores[item])
    assert len(off) >= 3 * SEEDS
    assert np.mean(off <= 1.96) >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / len(off))
    assert np.max(off) < 8


def test_cranking_speed_comes_back_though_an_attempt_is_short(scores: dict[str, list[float]]) -> None:
    """Two seconds hold some twenty rows: its error is less sure than that of a minute of idling."""
    assert np.mean(np.abs(scores["cranking_speed"]) <= 1.96) >= 0.80


def test_the_rail_pressure_reached_comes_back(scores: dict[str, list[float]]) -> None:
    """Its error is the whole spread at the end of the attempt, so it holds nearly always."""
    assert np.mean(np.abs(scores["rail_pressure_cranking"]) <= 1.96) >= 0.95


def test_the_errors_are_not_idle(known: Knowledge, engine: Engine, tmp_path: Path) -> None:
    """Four minutes of idle tell a correction within a tenth of a milligram, though neighbouring rows are alike."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(written(simulate(State()))) + "\n", encoding="utf-8")
    corrections = [each for each in read_log(path, known, engine).readings if each.item == "correction"]
    assert len(corrections) == 4
    assert all(each.error < 0.1 for each in corrections)


def test_a_log_twice_as_long_is_surer(known: Knowledge, engine: Engine, tmp_path: Path) -> None:
    def error(idle_s: float, seed: int) -> float:
        path = tmp_path / f"{idle_s}-{seed}.csv"
        path.write_text("\n".join(written(simulate(State(idle_s=idle_s, seed=seed)))) + "\n", encoding="utf-8")
        return next(each.error for each in read_log(path, known, engine).readings if each.item == "rail_pressure_idle")

    assert np.median([error(300, seed) for seed in range(5)]) < 0.8 * np.median([error(90, seed) for seed in range(5)])


def test_readings_go_into_a_case_once(known: Knowledge, engine: Engine, tmp_path: Path) -> None:
    from diag.basics import UsageError

    path = tmp_path / "log.csv"
    path.write_text("\n".join(written(simulate(State()))) + "\n", encoding="utf-8")
    readings = read_log(path, known, engine).readings
    case = with_log(read_case("case.yaml", known, "engine: ostrel_4\n"), known, readings)
    measured = {(each.item, each.place): each.value for each in case.epochs[-1].measured}
    assert measured["correction", 2] == pytest.approx(2.1, abs=0.2)
    assert len(measured) == len([each for each in readings if not each.why_not])
    with pytest.raises(UsageError, match="already in the case"):
        with_log(case, known, readings)
