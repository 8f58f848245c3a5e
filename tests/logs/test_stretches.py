"""Which rows count, and which do not: small drives made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from diag.logs import ColumnMap, Fate, LogResult, Zone
from tests.logs.conftest import Reader
from tests.logs.simulated import State, Table, simulate, written

STEP = 0.1


def drive(*pieces: tuple[float, float], coolant: float = 88.0, rail: float = 270.0, noise: float = 0.0) -> list[str]:
    """Seconds and speeds, one after the other, at ten rows a second."""
    speed = np.concatenate([np.full(round(seconds / STEP), rpm) for seconds, rpm in pieces])
    rng = np.random.default_rng(1)
    n = len(speed)
    table = Table(
        {
            "time": np.arange(n) * STEP,
            "speed": speed + noise * rng.normal(size=n) * (speed > 0),
            "coolant": np.full(n, coolant),
            "rail_wanted": np.full(n, rail),
            "rail_actual": rail - 5 + rng.normal(size=n),
            "correction 1": 1.5 + 0.1 * rng.normal(size=n),
            "correction 2": -1.5 + 0.1 * rng.normal(size=n),
        }
    )
    return written(table)


def rows(result: LogResult) -> dict[Fate, int]:
    return {count.fate: count.rows for count in result.counts}


def stretch(result: LogResult, zone: Zone) -> int:
    return next(each.count for each in result.stretches if each.zone is zone)


def test_the_first_half_minute_of_warm_idle_only_settles(read: Reader) -> None:
    found = rows(read(drive((60, 800))))
    assert found == {Fate.IDLE_SETTLING: 300, Fate.IDLE_USED: 300}


def test_a_cold_engine_gives_no_warm_idle(read: Reader) -> None:
    result = read(drive((60, 800), coolant=60))
    assert rows(result) == {Fate.COLD: 600}
    assert result.readings == ()


def test_without_a_temperature_warmth_is_unknown_unless_somebody_says_it(read: Reader) -> None:
    lines = [",".join(cell for k, cell in enumerate(line.split(",")) if k != 2) for line in drive((60, 800))]
    assert rows(read(lines)) == {Fate.WARMTH_UNKNOWN: 600}
    assert rows(read(lines, ColumnMap(warm=True))) == {Fate.IDLE_SETTLING: 300, Fate.IDLE_USED: 300}


def test_a_touch_of_the_pedal_begins_the_settling_anew(read: Reader) -> None:
    result = read(drive((60, 800), (5, 1800), (60, 800)))
    assert rows(result) == {Fate.IDLE_SETTLING: 600, Fate.IDLE_USED: 600, Fate.NEITHER: 50}
    assert stretch(result, Zone.IDLE) == 2


def test_a_glitch_of_the_speed_does_not_end_a_stretch(read: Reader) -> None:
    result = read(drive((40, 800), (0.3, 7000), (20, 800)))
    assert stretch(result, Zone.IDLE) == 1
    assert rows(result)[Fate.IDLE_SETTLING] == 300


def test_a_hunting_idle_is_thrown_out_as_unsteady(read: Reader) -> None:
    swings = [(1.0, 700.0 if k % 2 else 900.0) for k in range(60)]
    found = rows(read(drive(*swings)))
    assert found[Fate.IDLE_UNSTEADY] > 290
    assert Fate.IDLE_USED not in found


def test_cranking_counts_from_standing_and_without_its_inrush(read: Reader) -> None:
    result = read(drive((3, 0), (2, 230), (1, 450), (5, 800)))
    found = rows(result)
    assert found[Fate.CRANKING_INRUSH] + found[Fate.CRANKING_USED] == 20
    assert found[Fate.CRANKING_INRUSH] in (3, 4)  # 0.3 s, and the clock of floats
    assert stretch(result, Zone.CRANKING) == 1


def test_an_engine_that_runs_down_is_not_cranking(read: Reader) -> None:
    found = rows(read(drive((5, 800), (0.3, 350), (0.3, 200), (0.3, 100), (3, 0))))
    assert found[Fate.COASTING] == 9
    assert Fate.CRANKING_USED not in found


@pytest.mark.parametrize(
    ("pieces", "fate"),
    [
        (((3.0, 0.0), (0.5, 230.0), (3.0, 0.0)), Fate.CRANKING_SHORT),
        (((1.0, 230.0), (3.0, 0.0)), Fate.CRANKING_SHORT),  # its start was not seen, and coasting lasts as long
        (((3.0, 0.0), (45.0, 230.0), (3.0, 0.0)), Fate.CRANKING_LONG),
    ],
)
def test_an_attempt_that_cannot_be_one_does_not_count(
    pieces: tuple[tuple[float, float], ...], fate: Fate, read: Reader
) -> None:
    found = rows(read(drive(*pieces)))
    assert fate in found
    assert Fate.CRANKING_USED not in found


def test_an_attempt_whose_beginning_was_not_logged_counts_if_it_is_longer_than_coasting(read: Reader) -> None:
    assert Fate.CRANKING_USED in rows(read(drive((4, 230), (3, 0))))


def test_load_is_a_high_speed_at_a_high_rail_pressure(read: Reader) -> None:
    assert rows(read(drive((10, 2400), rail=1300))) == {Fate.LOAD_SETTLING: 20, Fate.LOAD_USED: 80}
    assert rows(read(drive((10, 2400), rail=500))) == {Fate.NEITHER: 100}


def test_corrections_that_are_all_zero_are_not_at_work(read: Reader) -> None:
    lines = drive((60, 800))
    zeros = [lines[0], *(",".join([*line.split(",")[:-2], "0", "0"]) for line in lines[1:])]
    result = read(zeros)
    assert result.inactive_rows == 600
    assert [each.item for each in result.readings] == ["rail_pressure_idle"]


def test_one_correction_that_stands_at_zero_is_not_believed(read: Reader) -> None:
    lines = drive((70, 800))
    result = read([lines[0], *(",".join([*line.split(",")[:-1], "0"]) for line in lines[1:])])
    assert {each.place: each.why_not for each in result.readings if each.item == "correction"} == {
        1: "",
        2: "stands still",
    }


@pytest.mark.parametrize(("limit", "side"), [(5.0, "above"), (-5.0, "below")])
def test_a_correction_at_the_limit_of_the_controller_is_a_bound(limit: float, side: str, read: Reader) -> None:
    lines = drive((70, 800))
    result = read([lines[0], *(",".join([*line.split(",")[:-1], f"{limit}"]) for line in lines[1:])])
    reading = next(each for each in result.readings if each.place == 2)
    assert (reading.censored, reading.value, reading.why_not) == (side, limit, "")
    assert reading.text == f"{side} {limit:.2f} mg/stroke"


def test_too_short_an_idle_gives_no_reading_and_says_so(read: Reader) -> None:
    result = read(drive((50, 800)))  # 20 s are left after settling
    assert {each.why_not for each in result.readings} == {"too short"}


@pytest.mark.parametrize("characters", [150, 2_000, 30_011])
def test_the_size_of_the_portions_changes_nothing(
    characters: int, read: Reader, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = written(simulate(State(idle_s=50.0, pull_s=12.0, seed=3, spikes=0.002)))
    whole = read(lines)
    monkeypatch.setattr("diag.logs.text.PORTION_CHARACTERS", characters)
    parts = read(lines)
    assert rows(parts) == rows(whole)
    assert [(each.item, each.place, each.why_not) for each in parts.readings] == [
        (each.item, each.place, each.why_not) for each in whole.readings
    ]
    for one, other in zip(parts.readings, whole.readings, strict=True):
        assert one.value == pytest.approx(other.value, abs=1e-9)
        assert one.error == pytest.approx(other.error, rel=1e-9)
    for one, other in zip(parts.stretches, whole.stretches, strict=True):
        assert (one.zone, one.count, one.rows) == (other.zone, other.count, other.rows)
