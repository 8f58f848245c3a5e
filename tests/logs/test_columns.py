"""What columns are: words of several languages, units against published factors, the mapping file and its errors."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.basics import LogError
from diag.knowledge_base import Engine, Knowledge, load_knowledge
from diag.logs import ColumnMap, Told, cells_of, look_at_log, mapping_text, read_log, read_mapping, scale_of
from tests.logs.conftest import Reader
from tests.support.effort import effort

KNOWN = load_knowledge()

HEADS: list[tuple[str, str, int | None, str]] = [
    ("Time [s]", "time", None, "s"),
    ("Zeit (ms)", "time", None, "ms"),
    ("Engine speed [rpm]", "speed", None, "rpm"),
    ("RPM", "speed", None, "rpm"),
    ("Motordrehzahl [U/min]", "speed", None, "rpm"),
    ("Régime moteur (tr/min)", "speed", None, "rpm"),
    ("Régimen del motor [rpm]", "speed", None, "rpm"),
    ("Giri motore [giri/min]", "speed", None, "rpm"),
    ("Otáčky motoru [ot/min]", "speed", None, "rpm"),
    ("Coolant temp. °C", "coolant", None, "°C"),
    ("Kühlmitteltemperatur [°C]", "coolant", None, "°C"),
    ("Température eau (°C)", "coolant", None, "°C"),
    ("Coolant temperature (degF)", "coolant", None, "°F"),
    ("Kraftstofftemperatur [°C]", "fuel_temperature", None, "°C"),
    ("Fuel temperature [°C]", "fuel_temperature", None, "°C"),
    ("Rail pressure desired [bar]", "rail_wanted", None, "bar"),
    ("Raildruck Soll [bar]", "rail_wanted", None, "bar"),
    ("Pression rail consigne (bar)", "rail_wanted", None, "bar"),
    ("Tlak v railu požadovaný [MPa]", "rail_wanted", None, "MPa"),
    ("Rail pressure [kPa]", "rail_actual", None, "kPa"),
    ("Raildruck Ist [bar]", "rail_actual", None, "bar"),
    ("Fuel rail pressure actual (psi)", "rail_actual", None, "psi"),
    ("Presión rail real [bar]", "rail_actual", None, "bar"),
    ("Correction cylinder 3 [mg/stroke]", "correction", 3, "mg/stroke"),
    ("Mengenkorrektur Zyl. 2 [mg/Hub]", "correction", 2, "mg/stroke"),
    ("Balance rate 4 (mm³/stroke)", "correction", 4, "mm3/stroke"),
    ("Correction débit cyl 1 [mg/cp]", "correction", 1, "mg/stroke"),
    ("Correzione cilindro 2 [mm3/corsa]", "correction", 2, "mm3/stroke"),
    ("Korekce válce 4 [mg/zdvih]", "correction", 4, "mg/stroke"),
    ("Battery voltage [V]", "battery", None, "V"),
    ("Batteriespannung (mV)", "battery", None, "mV"),
    ("Engine load [%]", "load", None, "%"),
    ("p_rail [bar]", "rail_actual", None, "bar"),
    ("p_rail,set [bar]", "rail_wanted", None, "bar"),
    ("Rail press req (MPa)", "rail_wanted", None, "MPa"),
    ("t [s]", "time", None, "s"),
    ("t / ms", "time", None, "ms"),
    ("n [1/min]", "speed", None, "rpm"),
    ("N, min-1", "speed", None, "rpm"),
    ("n_eng (1/min)", "speed", None, "rpm"),
    ("T_Fuel [K]", "fuel_temperature", None, "K"),
    ("T cool [°C]", "coolant", None, "°C"),
    ("U_batt [V]", "battery", None, "V"),
    ("Boost pressure desired [mbar]", "boost_wanted", None, "mbar"),
    ("Ladedruck Ist [hPa]", "boost_actual", None, "mbar"),
]

UNUSED: list[tuple[str, str, str]] = [
    ("Vehicle speed [km/h]", "not recognised", ""),
    ("Rail pressure deviation [bar]", "not recognised", ""),
    ("Injection time [ms]", "not recognised", ""),
    ("Rail pressure", "no unit", "bar, kPa"),
    ("Correction cylinder 2 [rpm]", "unit of another kind", "rpm"),
    ("Correction [mg/stroke]", "no cylinder", ""),
    ("Correction cylinder 7 [mg/stroke]", "no such cylinder", "7"),
    ("Turbo speed [rpm]", "not recognised", ""),
    ("Desired idle speed [rpm]", "not recognised", ""),
    *(
        (head, "not recognised", "")
        for head in (
            "n",
            "t",
            "N",
            "n [-]",
            "n []",
            "n [km/h]",
            "n [%]",
            "t [km]",
            "t [bar]",
            "T [s]",
            "T [°C]",
            "t [°C]",
            "n [s]",
            "n_turbo [1/min]",
            "n2 [1/min]",
            "n 2 [1/min]",
            "dn [1/min]",
            "n_eng_2 [1/min]",
            "t_inj [ms]",
            "dt [s]",
            "t2 [s]",
            "t_fuel [°C]",
            "U [V]",
            "u_bat [V]",
            "p [bar]",
            "T_fuel [bar]",
            "T_fuel",
            "U_bat [°C]",
        )
    ),
]


def heads(read_head: str) -> list[str]:
    return [f"Zeit;Drehzahl;{read_head}", *(f"{row};{800 + row};{3.5 + row / 10}" for row in range(8))]


@pytest.mark.parametrize(("head", "channel", "place", "unit"), HEADS, ids=[row[0] for row in HEADS])
def test_a_head_says_what_its_column_is(head: str, channel: str, place: int | None, unit: str, read: Reader) -> None:
    own = "Time [s];Engine speed [rpm]" if channel not in ("time", "speed") else ""
    if channel == "time":
        own = "Engine speed [rpm]"
    if channel == "speed":
        own = "Time [s]"
    lines = [f"{own};{head}", *(";".join([str(row)] * len(own.split(";")) + [f"{row + 3}"]) for row in range(8))]
    found = read(lines).columns[-1]
    assert (found.channel, found.place, found.why) == (channel, place, "")
    assert found.scale is not None
    assert found.scale.unit == unit


@pytest.mark.parametrize(("head", "why", "detail"), UNUSED, ids=[row[0] for row in UNUSED])
def test_a_column_that_cannot_be_used_says_why(head: str, why: str, detail: str, read: Reader) -> None:
    found = read(heads(head)).columns[-1]
    assert not found.used
    assert found.why == why
    assert detail in found.detail


def test_two_columns_that_look_the_same_are_both_left_out_until_somebody_says_which(read: Reader) -> None:
    lines = ["Time [s],RPM,Coolant [°C],Engine temperature [°C]", *(f"{row},800,85,86" for row in range(8))]
    assert [use.why for use in read(lines).columns] == ["", "", "claimed twice", "claimed twice"]
    told = read(lines, ColumnMap(columns={3: Told("coolant")}))
    assert [use.why for use in told.columns] == ["", "", "", "claimed twice"]


def test_a_bare_symbol_gives_way_to_a_head_in_words_and_not_to_another_symbol(read: Reader) -> None:
    """So a second 'n [1/min]', of a turbocharger perhaps, takes nothing from a log that was understood before."""
    rows = [f"{row},800,{row},20000,30" for row in range(8)]
    worded = read(["Time [s],Engine speed [rpm],t [s],n [1/min],T_fuel [°C]", *rows])
    assert [use.why for use in worded.columns] == ["", "", "claimed twice", "claimed twice", ""]
    last = read(["t [s],n [1/min],Time [s],Engine speed [rpm],T_fuel [°C]", *rows])
    assert [use.why for use in last.columns] == ["claimed twice", "claimed twice", "", "", ""]
    twice = look_at_log(read(["Time [s],RPM,n [1/min],n_eng [1/min],x", *rows]).file, KNOWN, KNOWN.engines["ostrel_4"])
    assert [use.why for use in twice.columns][1:4] == ["", "claimed twice", "claimed twice"]
    with pytest.raises(LogError, match="columns 2 and 3 both look like it"):
        read(["Time [s],n [1/min],n_eng [1/min],x,y", *rows])


def test_a_symbol_counts_with_the_unit_that_a_line_of_units_says(read: Reader) -> None:
    rows = [f"{row};{800 + row};{row}" for row in range(8)]
    found = read(["t;n;t", "s;1/min;°C", *rows]).columns
    assert [(use.channel, use.why) for use in found] == [("time", ""), ("speed", ""), (None, "not recognised")]


def test_a_line_of_units_may_say_one_per_minute(read: Reader) -> None:
    """A number had been read out of '1/min', so that the line was no line of units and every unit in it was lost."""
    rows = [f"{row};{800 + row};300" for row in range(8)]
    for unit in ("1/min", "1 / min", "1/MIN"):
        found = read(["Zeit;Drehzahl;Raildruck Ist", f"s;{unit};bar", *rows])
        assert [use.scale.unit if use.scale else "" for use in found.columns] == ["s", "rpm", "bar"]
        assert found.rows == 8


def test_a_workshop_names_symbols_of_its_own_logger(tmp_path: Path) -> None:
    overlay, log = tmp_path / "own.yaml", tmp_path / "log.csv"
    overlay.write_text("basis: {source: elicited}\nlog_columns: {speed: {symbols: [omega]}}\n", encoding="utf-8")
    known = load_knowledge(None, [overlay])
    log.write_text("t [s];Omega;omega [rpm]\n" + "".join(f"{row};1;800\n" for row in range(8)), encoding="utf-8")
    assert [use.channel for use in look_at_log(log, known, known.engines["ostrel_4"]).columns] == [
        "time",
        None,
        "speed",
    ]


# NIST SP 811 (2008), appendix B: 1 psi is 6.894757 kPa; degrees Fahrenheit by (t - 32) / 1.8.
@pytest.mark.parametrize(
    ("channel", "unit", "value", "expected"),
    [
        ("rail_actual", "psi", 14.504, 1.0),
        ("rail_actual", "MPa", 160.0, 1600.0),
        ("rail_actual", "kPa", 160_000.0, 1600.0),
        ("coolant", "°F", 212.0, 100.0),
        ("coolant", "K", 373.15, 100.0),
        ("battery", "mV", 12_600.0, 12.6),
        ("time", "ms", 1500.0, 1.5),
        ("boost_actual", "bar", 1.0, 1000.0),
    ],
)
def test_units_become_those_of_the_channel(channel: str, unit: str, value: float, expected: float) -> None:
    scale = scale_of(unit, KNOWN.log_columns[channel])
    assert scale is not None
    assert value * scale.factor + scale.offset == pytest.approx(expected, rel=1e-4)


def test_cubic_millimetres_become_milligrams_by_the_density_of_diesel() -> None:
    """EN 590: 820 to 845 kg/m3 at 15 degrees Celsius; 1 mm3 so weighs 0.820 to 0.845 mg."""
    scale = scale_of("mm³/Hub", KNOWN.log_columns["correction"])
    assert scale is not None
    assert 0.820 <= scale.factor <= 0.845


def test_a_raw_count_of_rail_pressure_is_ten_kilopascals() -> None:
    """SAE J1979 / ISO 15031-5, PID 23 hex: 10 (256 A + B) kPa; 3E80 hex is 160,000 kPa, 1,600 bar."""
    scale = scale_of("10 kPa", KNOWN.log_columns["rail_actual"])
    assert scale is not None
    assert scale.unit == "10 kPa"
    assert 0x3E80 * scale.factor + scale.offset == pytest.approx(1600.0, rel=1e-12)
    assert 0xFFFF * scale.factor == pytest.approx(6553.5, rel=1e-12)


MAPPING = """\
numbering: firing order
warm: yes
columns:
  "A": {is: time, unit: ms}
  "B": speed
  "C 1": {is: correction, cylinder: 2, unit: mg/stroke, reversed: yes}
  4: unused
"""

LINES = ["A;B;C 1;D", *(f"{row * 1000};{800 + row % 3};{0.4 + row % 5};7" for row in range(60))]


def test_a_mapping_file_says_what_columns_are(read: Reader, known: Knowledge) -> None:
    """Second in firing order 1-3-4-2 is cylinder 3; warm without a column that says so; its sign turned round."""
    result = read(LINES, read_mapping("map.yaml", known, MAPPING))
    assert [(use.channel, use.place, use.why) for use in result.columns] == [
        ("time", None, ""),
        ("speed", None, ""),
        ("correction", 3, ""),
        (None, None, "said to be unused"),
    ]
    reading = next(each for each in result.readings if each.item == "correction")
    assert reading.place == 3
    assert reading.value == pytest.approx(-2.4, abs=0.2)


BAD_MAPPINGS: list[tuple[str, str, str]] = [
    ("unknown key", MAPPING.replace("warm:", "wram:"), r"map\.yaml:2:1: 'wram' is not known here; did you mean 'warm'"),
    ("unknown channel", MAPPING.replace('B": speed', 'B": sped'), r"map\.yaml:5:8: 'sped' .*did you mean 'speed'"),
    ("unknown unit", MAPPING.replace("unit: ms", "unit: bars"), r"map\.yaml:4:25: 'bars' is no unit of 'time'"),
    ("no number", MAPPING.replace("cylinder: 2", "cylinder: two"), r"map\.yaml:6:37: 'two' is not a cylinder"),
    ("no cylinder", MAPPING.replace("cylinder: 2", "cylinder: 9"), r"map\.yaml:6:3: there is no cylinder 9 .*1 to 4"),
    (
        "no such column",
        MAPPING.replace('"C 1"', '"C 2"'),
        r"map\.yaml:6:3: the log has no column 'C 2'; it can be A, B, C 1 or D",
    ),
    ("beyond the last", MAPPING.replace("4: unused", "9: unused"), r"map\.yaml:7:3: the log has no column 9; it has 4"),
    (
        "numbering",
        MAPPING.replace("firing order", "fireing"),
        r"map\.yaml:1:12: 'fireing' .*did you mean 'firing order'",
    ),
    ("warm", MAPPING.replace("warm: yes", "warm: [1]"), r"map\.yaml:2:7: 'a list' is not possible here"),
    ("encoding", MAPPING + "encoding: utf-99\n", r"map\.yaml:8:11: there is no encoding 'utf-99'"),
    ("said twice", MAPPING.replace("4: unused", "4: speed"), r"map\.yaml:7:3: columns 2 and 4 are both said to be"),
    (
        "of the engine",
        MAPPING.replace("{is: time,", "{is: time, cylinder: 1,"),
        r"map\.yaml:4:19: 'time' is of the whole",
    ),
    ("not YAML", "columns: {", r"map\.yaml:2:1: a value is missing"),
]


@pytest.mark.parametrize(("name", "text", "message"), BAD_MAPPINGS, ids=[row[0] for row in BAD_MAPPINGS])
def test_a_bad_mapping_is_told_with_its_place(
    name: str, text: str, message: str, read: Reader, known: Knowledge
) -> None:
    with pytest.raises(LogError) as caught:
        read(LINES, read_mapping("map.yaml", known, text))
    assert re.search(message, str(caught.value)), str(caught.value)


@effort(60)
@given(
    st.dictionaries(
        st.one_of(st.integers(1, 40), st.text(min_size=1, max_size=12).filter(lambda text: text.isprintable())),
        st.one_of(
            st.just(Told(None)),
            st.sampled_from([Told("speed", None, "rpm"), Told("coolant"), Told("time", None, "ms")]),
            st.builds(Told, st.just("correction"), st.integers(1, 12), st.just("mg/stroke"), st.booleans()),
        ),
        max_size=5,
    ),
    st.booleans(),
    st.sampled_from(["cylinder", "firing order"]),
    st.sampled_from([None, ",", ";", "\t"]),
)
def test_a_mapping_reads_back_as_it_was_written(
    columns: dict[int | str, Told], warm: bool, numbering: str, delimiter: str | None
) -> None:
    mapping = ColumnMap(columns, numbering, warm, None, delimiter)  # type: ignore[arg-type]
    again = read_mapping("map.yaml", KNOWN, mapping_text(mapping))
    assert (again.columns, again.warm, again.numbering, again.delimiter) == (columns, warm, numbering, delimiter)


def test_without_time_or_speed_nothing_can_be_found_and_both_are_told(read: Reader) -> None:
    with pytest.raises(LogError) as caught:
        read(["Foo;Bar", *(f"{row};{row}" for row in range(8))])
    message = str(caught.value)
    assert "no column is known to be the time" in message
    assert "no column is known to be the engine speed" in message
    assert re.search(r"log\.csv:1:1: .*'Foo', 'Bar'.*--columns", message)


def test_a_look_at_the_head_reads_no_rows(known: Knowledge, engine: Engine, tmp_path: object) -> None:
    path = str(tmp_path) + "/log.csv"
    with open(path, "w") as stream:  # noqa: PTH123
        stream.write("\n".join(LINES))
    opened = look_at_log(path, known, engine)
    assert [use.channel for use in opened.columns] == [None, None, None, None]
    with pytest.raises(LogError):
        read_log(path, known, engine)


def test_cells_are_shown_from_here_and_there(known: Knowledge, engine: Engine, tmp_path: Path) -> None:
    """An engine at rest shows zeros at first, and a slow channel stands in every tenth row alone; none is shown twice,
    and a row that is too short or too long hurts nobody."""
    path = tmp_path / "log.csv"
    rows = [f"{row};{0 if row < 30 else 800 + row};{row if row % 10 == 3 else ''};5" for row in range(100)]
    path.write_text("\n".join(["a;b;c;d;e", *rows, "1", "1;2;3;4;5;6;7"]) + "\n", encoding="utf-8")
    found = cells_of(look_at_log(path, known, engine), 4)
    assert found == {
        1: ("0", "25", "51", "76"), 2: ("0", "851", "876"), 3: ("3", "33", "53", "83"), 4: ("5",), 5: ("5",),
    }  # fmt: skip
