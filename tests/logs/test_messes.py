"""What loggers and people do to CSV files. Each mess is made of one clean log, and must read as that log does."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest

from diag.basics import LogError
from diag.logs import Fate, LogResult
from tests.logs.conftest import Reader
from tests.logs.simulated import State, Table, simulate, written

CLEAN = simulate(State(warm_up_s=10.0, idle_s=60.0, pull_s=12.0, memory_s=0.5, seed=7))
LINES = written(CLEAN)
SEMICOLONS = written(CLEAN, delimiter=";", decimal=",")
HEADS_DE = {
    "time": "Zeit [s]",
    "speed": "Motordrehzahl [U/min]",
    "coolant": "Kühlmitteltemperatur [°C]",
    "rail_wanted": "Raildruck Soll [bar]",
    "rail_actual": "Raildruck Ist [bar]",
    "battery": "Batteriespannung [V]",
    "boost_wanted": "Ladedruck Soll [mbar]",
    "boost_actual": "Ladedruck Ist [mbar]",
    **{f"correction {k}": f"Mengenkorrektur Zyl. {k} [mg/Hub]" for k in range(1, 5)},
}
GERMAN = written(CLEAN, HEADS_DE, ";", ",")


def joined(lines: list[str], end: str = "\n") -> str:
    return end.join(lines) + end


def cells(lines: list[str], change: Callable[[int, list[str]], list[str]], delimiter: str = ",") -> list[str]:
    """Every row but the header, changed."""
    return [lines[0], *(delimiter.join(change(row, line.split(delimiter))) for row, line in enumerate(lines[1:]))]


def units_in_a_line_of_their_own() -> str:
    heads = [re.sub(r" \[.*\]", "", head) for head in LINES[0].split(",")]
    units = [found.group(1) if (found := re.search(r"\[(.*)\]", head)) else "" for head in LINES[0].split(",")]
    return joined([",".join(heads), ",".join(units), *LINES[1:]])


def clock() -> list[str]:
    def change(row: int, line: list[str]) -> list[str]:
        seconds = 86_395 + float(line[0])
        hours, rest = divmod(seconds % 86_400, 3600)
        return [f"{hours:02.0f}:{rest // 60:02.0f}:{rest % 60:04.1f}", *line[1:]]

    return cells([LINES[0].replace("Time [s]", "Time"), *LINES[1:]], change)


def with_thousands(cell: str) -> str:
    """'2400,5' as '2.400,5'."""
    return f"{float(cell.replace(',', '.')):,.1f}".translate({ord(","): ".", ord("."): ","})


def rail_in(unit: str, factor: float) -> str:
    columns = dict(CLEAN.columns)
    for name in ("rail_wanted", "rail_actual"):
        columns[name] = columns[name] * factor
    return joined([line.replace("[bar]", f"[{unit}]") for line in written(Table(columns), decimals=4)])


def in_microseconds() -> str:
    head = [LINES[0].replace("[s]", "(µs)"), *LINES[1:]]
    return joined(cells(head, lambda row, line: [f"{float(line[0]) * 1e6:.0f}", *line[1:]]))


def multi_rate() -> str:
    """Slow channels only in some rows, as a logger that asks one after the other writes them."""

    def change(row: int, line: list[str]) -> list[str]:
        line = list(line)
        if row % 20:
            line[2] = ""
        if row % 3:
            line[3] = ""
        return line

    return joined(cells(LINES, change))


MESSES: dict[str, bytes] = {
    "UTF-8 with a mark": joined(LINES).encode("utf-8-sig"),
    "UTF-16 with a mark": joined(LINES).encode("utf-16"),
    "UTF-16 little-endian, no mark": joined(LINES).encode("utf-16-le"),
    "UTF-16 big-endian, no mark": joined(LINES).encode("utf-16-be"),
    "Windows-1252": joined(GERMAN).encode("cp1252"),
    "umlauts in UTF-8": joined(GERMAN).encode(),
    "semicolons and decimal commas": joined(SEMICOLONS).encode(),
    "tabs and decimal commas": joined(written(CLEAN, delimiter="\t", decimal=",")).encode(),
    "commas in quotes with decimal commas": joined(
        [LINES[0], *(",".join(f'"{cell.replace(".", ",")}"' for cell in line.split(",")) for line in LINES[1:])]
    ).encode(),
    "everything in quotes": joined(
        [",".join(f'"{cell}"' for cell in line.split(",")) for line in LINES]
    ).encode(),
    "line ends of Windows": joined(LINES, "\r\n").encode(),
    "line ends of an old Mac": joined(LINES, "\r").encode(),
    "no end of the last line": joined(LINES).rstrip("\n").encode(),
    "a delimiter at every end": joined([line + "," for line in LINES]).encode(),
    "a preamble": joined(["Recorded by;workshop", "Vehicle: invented", "", "Date;3.1.2026", *LINES]).encode(),
    "a preamble with commas and numbers": joined(["Log, 1, 2", "Offset,0.5", *LINES]).encode(),
    "units in a line of their own": units_in_a_line_of_their_own().encode(),
    "blank lines between": joined([*LINES[:50], "", "  ", *LINES[50:]]).encode(),
    "the header again in the middle": joined([*LINES[:700], LINES[0], *LINES[700:]]).encode(),
    "ragged rows": joined([*LINES[:500], "12.5,800", *LINES[500:900], f"{LINES[900]},13,14", *LINES[900:]]).encode(),
    "the last line cut off": joined([*LINES, LINES[-1][: len(LINES[-1]) // 2]]).encode(),
    "every row twice": joined([LINES[0], *(line for line in LINES[1:] for _ in range(2))]).encode(),
    "rows out of order": joined([*LINES[:600], LINES[590], LINES[580], *LINES[600:]]).encode(),
    "a clock over midnight": joined(clock()).encode(),
    "words for missing numbers": joined(
        cells(LINES, lambda row, line: [*line[:5], "n/a" if row % 7 == 0 else line[5], *line[6:]])
    ).encode(),
    "empty cells": joined(
        cells(LINES, lambda row, line: [cell if (row + k) % 11 or k < 2 else "" for k, cell in enumerate(line)])
    ).encode(),
    "slow channels in some rows only": multi_rate().encode(),
    "a unit behind every number": joined(
        cells(LINES, lambda row, line: [*line[:3], f"{line[3]} bar", f"{line[4]} bar", *line[5:]])
    ).encode(),
    "spaces around": joined([", ".join(line.split(",")) for line in LINES]).encode(),
    "thousands marked": joined(
        cells(
            GERMAN,
            lambda row, line: [line[0], with_thousands(line[1]), *line[2:]],
            ";",
        )
    ).encode(),
    "a true minus sign": joined([line.replace("-", "\u2212") for line in LINES]).encode(),
    "rail pressure in megapascals": rail_in("MPa", 0.1).encode(),
    "rail pressure in psi": rail_in("psi", 14.5037738).encode(),
    "rail pressure in kg/cm2": rail_in("kg/cm2", 1 / 0.980665).encode(),  # NIST SP 811
    "rail pressure above that of the air": rail_in("bar gauge", 1.0).encode(),
    "rail pressure in psig": rail_in("psig", 14.5037738).encode(),
    "corrections as they are written per stroke elsewhere": joined(
        [LINES[0].replace("mg/stroke", "mg/st"), *LINES[1:]]
    ).encode(),
    "a clock in microseconds": in_microseconds().encode(),
    "zeros behind the end": joined(LINES).encode() + b"\x00" * 64,
}  # fmt: skip


@pytest.fixture
def clean(read: Reader) -> LogResult:
    return read(LINES)


@pytest.mark.parametrize("mess", MESSES)
def test_a_mess_reads_as_the_clean_log(mess: str, read: Reader, clean: LogResult) -> None:
    found = read(MESSES[mess])
    assert [(each.item, each.place) for each in found.readings] == [(each.item, each.place) for each in clean.readings]
    for one, other in zip(found.readings, clean.readings, strict=True):
        assert one.value == pytest.approx(other.value, abs=max(1.0 * other.error, 0.02)), (mess, one)
        assert not one.why_not, (mess, one)
    assert sum(count.rows for count in found.counts) == found.rows


def test_every_kind_of_row_is_counted_where_it_belongs(read: Reader) -> None:
    def count(mess: str, fate: Fate) -> int:
        return {each.fate: each.rows for each in read(MESSES[mess]).counts}.get(fate, 0)

    assert count("the header again in the middle", Fate.REPEATED_HEADER) == 1
    assert count("ragged rows", Fate.RAGGED) == 2
    assert count("the last line cut off", Fate.RAGGED) == 1
    assert count("every row twice", Fate.DUPLICATE_TIME) == len(LINES) - 1
    assert count("rows out of order", Fate.BACKWARD_TIME) == 2


def test_numbers_that_are_none_are_counted_with_their_place(read: Reader) -> None:
    lines = cells(LINES, lambda row, line: [*line[:4], "err5r" if row == 10 else line[4], *line[5:]])
    result = read(lines)
    assert result.odd == {5: 1}
    assert result.first_odd[5].line == 12
    assert result.first_odd[5].column == sum(len(cell) + 1 for cell in lines[11].split(",")[:4]) + 1
    assert "'err5r' is no number" in result.first_odd[5].message


def test_a_number_of_another_base_is_none(read: Reader) -> None:
    """A cell that was not turned into a number by the logger, such as '0x1F', is not a zero of the unit 'x1F'."""
    result = read(cells(LINES, lambda row, line: [*line[:4], "0x1F" if row % 2 else line[4], *line[5:]]))
    assert result.odd == {5: len(LINES[1:]) // 2}
    assert "'0x1F' is no number" in result.first_odd[5].message


def test_a_log_of_two_recordings_is_taken_one_after_the_other(read: Reader, clean: LogResult) -> None:
    found = read([*LINES, *LINES[1:]])
    assert found.recordings == 2
    assert found.seconds == pytest.approx(2 * clean.seconds)
    for one, other in zip(found.stretches, clean.stretches, strict=True):
        assert one.count == 2 * other.count
        assert one.rows == pytest.approx(2 * other.rows, abs=3)  # the clock of floats, at the edges


def test_a_hole_in_the_time_ends_a_stretch(read: Reader, clean: LogResult) -> None:
    cut = [*LINES[:400], *LINES[520:]]  # twelve seconds of the first idle are gone: it settles anew
    found = {each.zone.name: each for each in read(cut).stretches}["IDLE"]
    assert found.rows < {each.zone.name: each for each in clean.stretches}["IDLE"].rows - 250


BAD: list[tuple[str, bytes, str]] = [
    ("empty", b"", r"log\.csv:1:1: this file is empty"),
    ("blank", b"\n\n  \n", r"log\.csv:1:1: this file is empty"),
    ("a spreadsheet", b"PK\x03\x04" + bytes(range(256)) * 9, r"log\.csv:1:1: .*spreadsheet.*export the sheet as CSV"),
    ("packed", b"\x1f\x8b" + bytes(range(256)), r"log\.csv:1:1: .*packed.*unpack"),
    ("noise", bytes(range(1, 32)) * 300, r"log\.csv:1:1: .*not a text file"),
    ("a quote without end", b'"' + b"x" * 200_000, r"log\.csv:1:1: this is no table"),
    ("prose", b"It ran well.\nThen it did not.\n", r"log\.csv:1:1: this is no table"),
    ("no header", joined(LINES[1:]).encode(), r"log\.csv:1:1: no line that names the columns stands above these 12"),
    ("no rows", LINES[0].encode(), r"log\.csv:1:1: this is no table"),
    (
        "decimal commas between commas",
        joined(written(CLEAN, delimiter=",", decimal=",")).encode(),
        r"log\.csv:2:1: this row has 24 cells where the header has 12; .*export with semicolons",
    ),
    (
        "no times",
        joined([LINES[0], *("x" + line[line.index(",") :] for line in LINES[1:])]).encode(),
        r"log\.csv:2:1: 'x' is no time.*write seconds such as 12\.5",
    ),
    (
        "a time in a unit that nobody knows",
        joined([LINES[0].replace("[s]", "[ns]"), *LINES[1:]]).encode(),
        r"log\.csv:1:1: no column is known to be the time: 'Time \[ns\]' has a unit that is none of it \(ns\)",
    ),
    ("one endless line", b"time,rpm\n1,2\n" + b"1," * 300_000, r"log\.csv:3:1: this line is longer than"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "content", "message"), BAD, ids=[row[0] for row in BAD])
def test_a_file_that_is_no_log_is_refused_with_its_place(name: str, content: bytes, message: str, read: Reader) -> None:
    with pytest.raises(LogError) as caught:
        read(content)
    assert re.search(message, str(caught.value), re.DOTALL), str(caught.value)


def test_the_clean_log_is_read_to_its_last_row(clean: LogResult) -> None:
    assert clean.rows == len(LINES) - 1 == len(CLEAN)
    assert np.isfinite(clean.seconds)


def test_a_column_in_which_nothing_stands_is_named(read: Reader, clean: LogResult) -> None:
    """Its head says what it is, so it had passed for one that was read, and its readings were missing without a
    word."""
    found = read(cells(LINES, lambda row, line: [*line[:4], "", *line[5:]]))
    assert found.empty == {5}
    assert clean.empty == frozenset()
    assert found.odd == {}


@pytest.mark.parametrize(
    ("columns", "lost"),
    [
        ((4, 5), {"rail_pressure_idle", "boost_deviation"}),  # 'as asked for, to 0.3 bar'; and no load is seen
        ((5,), {"rail_pressure_idle"}),
        ((6,), {"battery_voltage_cranking"}),  # had read as a battery of 0 V
        ((7, 8), {"boost_deviation"}),
        ((7,), {"boost_deviation"}),  # had read as 1 bar too much
    ],
)
def test_a_channel_that_stands_at_zero_gives_no_reading(
    columns: tuple[int, ...], lost: set[str], read: Reader, clean: LogResult
) -> None:
    """As a logger writes what the control unit does not give it: no running engine has no rail pressure, none starts
    with no voltage, and none pulls with no boost asked for."""
    found = read(cells(LINES, lambda row, line: ["0" if k + 1 in columns else cell for k, cell in enumerate(line)]))
    kept = {(each.item, each.place) for each in clean.readings if each.item not in lost}
    dead = {("rail_pressure_cranking", None)} if 5 in columns else set()
    assert {(each.item, each.place) for each in found.readings if not each.why_not} == kept - dead
    assert found.zero == set(columns)


def test_a_starter_that_brings_no_pressure_is_read(read: Reader) -> None:
    """An engine that never runs may well have no rail pressure: that is what is to be found."""
    crank = [f"{row / 10:.1f},{220 if row > 20 else 0},10,250,0,10.4" for row in range(80)]
    head = "Time [s],RPM,Coolant [°C],Rail pressure wanted [bar],Rail pressure actual [bar],Battery voltage [V]"
    found = {each.item: each for each in read([head, *crank, "8.0,0,10,250,0,12.1"]).readings}
    assert (found["rail_pressure_cranking"].value, found["rail_pressure_cranking"].why_not) == (0.0, "")
