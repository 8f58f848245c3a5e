"""Whatever stands in a file: it is read, or refused in plain words; never anything else."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from diag.basics import LogError
from diag.knowledge_base import load_knowledge
from diag.logs import ColumnMap, LogResult, Told, read_log
from tests.support.effort import effort

KNOWN = load_knowledge()
ENGINE = KNOWN.engines["karrick_v6"]
HEADS = st.sampled_from(
    [
        "Time [s]", "Time", "Zeit [ms]", "RPM", "Engine speed [rpm]", "Coolant [°C]", "Rail pressure wanted [bar]",
        "Rail pressure [MPa]", "Correction cyl 1 [mg/stroke]", "Correction cyl 2 [mg/stroke]", "Battery [V]",
        "Load [%]",
        "Boost wanted [mbar]", "Boost [mbar]", "Note", "", '"', "1", "[x]",
    ]
)  # fmt: skip
NUMBERS = st.one_of(
    st.floats(0, 3000).map(lambda x: f"{x:.1f}"),
    st.integers(-100, 5000).map(str),
    st.sampled_from(
        ["800", "810,5", "230", "0", "2400", "88", "", "-", "nan", "inf", "1e999", "1e308", "12:00:01", "x", '"', '"1']
    ),
)  # fmt: skip
ROWS = st.lists(st.lists(NUMBERS, min_size=0, max_size=9), max_size=60)


def accepted(content: bytes, mapping: ColumnMap | None = None) -> LogResult | None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(content)
        try:
            result = read_log(path, KNOWN, ENGINE, mapping)
        except LogError as error:
            assert error.problems
            assert all(problem.message and problem.file for problem in error.problems)
            return None
    assert sum(count.rows for count in result.counts) == result.rows
    assert all(count.seconds >= 0 for count in result.counts)
    assert all(reading.why_not or abs(reading.value) < 1e9 for reading in result.readings)
    assert len(result.trace.begin) <= 1601
    return result


@effort(150)
@given(st.binary(max_size=400))
def test_bytes_of_any_kind(content: bytes) -> None:
    accepted(content)


@effort(150)
@given(st.text(max_size=400), st.sampled_from(["utf-8", "utf-16", "cp1252", "utf-8-sig"]))
def test_text_of_any_kind(text: str, encoding: str) -> None:
    accepted(text.encode(encoding, "replace"))


@effort(120)
@given(
    st.lists(HEADS, min_size=1, max_size=9),
    ROWS,
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.booleans(),
)
def test_tables_of_any_kind(heads: list[str], rows: list[list[str]], delimiter: str, end: str, padded: bool) -> None:
    width = len(heads)
    body = [(row + [""] * width)[:width] if padded else row for row in rows]
    accepted(end.join(delimiter.join(line) for line in [heads, *body]).encode())


@effort(120)
@given(
    st.lists(st.floats(-100, 100_000, width=32), min_size=2, max_size=120),
    st.lists(st.sampled_from([0.0, 100.0, 230.0, 399.9, 450.0, 800.0, 820.0, 1000.0, 2400.0, 9000.0]), min_size=1),
    st.lists(st.sampled_from([20.0, 79.9, 88.0]), min_size=1),
    st.sampled_from([1.0, 0.1, 0.01]),
    st.booleans(),
)
def test_drives_of_any_kind(
    times: list[float], speeds: list[float], coolants: list[float], step: float, steady: bool
) -> None:
    """The clock runs, jumps, stands or goes back; the engine does what it likes."""
    lines = ["time [s];rpm;coolant;rail pressure wanted [bar];rail pressure [bar];correction 1 [mg/stroke]"]
    for row, time in enumerate(times):
        stamp = row * step if steady else time
        speed, coolant = speeds[row % len(speeds)], coolants[row % len(coolants)]
        lines.append(f"{stamp};{speed};{coolant};{270 + speed / 3};{265 + speed / 3};{row % 5}")
    accepted("\n".join(lines).encode())


@effort(60)
@given(
    ROWS, st.dictionaries(st.integers(1, 9), st.sampled_from(["time", "speed", "coolant", "rail_actual"]), max_size=4)
)
def test_mappings_by_place_of_any_kind(rows: list[list[str]], said: dict[int, str]) -> None:
    columns: dict[int | str, Told] = {key: Told(channel) for key, channel in said.items()}
    text = "\n".join(";".join(line) for line in [["a", "b", "c", "d"], *rows])
    accepted(text.encode(), ColumnMap(columns))
