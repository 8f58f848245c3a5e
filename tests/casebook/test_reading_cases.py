"""A case file as somebody writes it becomes the case that was meant."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from diag.casebook import Answer, Case, Epoch, Measured, Work, load_case, read_case
from diag.knowledge_base import Knowledge, shipped_folder

WRITTEN = """
title: Chuffing when cold
engine: ostrel_4
distance: 187 thousand km
age: 11 years 6 months
history:
  - {did: replace_injector, cylinder: 3, ago: 4 months}
  - {did: [reseal, replace_filter], cylinder: [1, 2], ago: "2 years, 30000 km"}
  - replace_glow
findings:
  rough_idle: yes
  chuff: {2: present, 3: no}
  chuff under load: {2: present}
  tar: {present: 2, absent: [1, 4], 3: not sure}
  wet_joint: {not looked at: all}
  bubbles: {2: A bit}
codes: [p0266, P1234, P0087]
readings:
  correction: {1: -0.4 mg/stroke, 2: 2 mm3/stroke}
  rail_pressure_cranking: [180 bar, 18.5 MPa]
  return_flow: {2: above 60 mL/min}
tried:
  - did: reseal
    cylinder: 2
    helped: not at all
    then:
      findings: {chuff: {2: absent}, rough_idle: present}
      readings: {correction: {2: 1.5 mg/stroke}}
  - {did: replace_filter}
  - {did: write_code, cylinder: 3, together: yes, note: read back}
open: [covers]
cannot: [compression_test]
note: the owner waits
"""


@pytest.fixture(scope="module")
def case(knowledge: Knowledge) -> Case:
    return read_case("written.yaml", knowledge, WRITTEN)


def test_the_vehicle(case: Case, knowledge: Knowledge) -> None:
    """Engine, distance, age, access and what cannot be done here."""
    assert (case.title, case.engine_id) == ("Chuffing when cold", "ostrel_4")
    assert case.engine == knowledge.engines["ostrel_4"]
    assert (case.distance_km, case.age_years) == (187_000, 11.5)
    assert case.open_access == (("covers", "A"),)
    assert case.cannot == ("compression_test",)


def test_the_history(case: Case) -> None:
    """A list of repairs on a list of cylinders is every pair; a repair of the vehicle has no cylinder."""
    assert case.history == (
        Work("replace_injector", 3, None, 4.0),
        Work("reseal", 1, 30_000.0, 24.0),
        Work("reseal", 2, 30_000.0, 24.0),
        Work("replace_filter", None, 30_000.0, 24.0),
        Work("replace_glow"),
    )


def test_the_findings(case: Case) -> None:
    """Plain, by cylinder and turned round; yes is present, no is absent; codes are findings of their cylinder."""
    assert case.epochs[0].answers == (
        Answer("rough_idle", None, "present"),
        Answer("chuff", 2, "present"),
        Answer("chuff", 3, "absent"),
        Answer("chuff", 2, "present", "load"),
        Answer("tar", 2, "present"),
        Answer("tar", 1, "absent"),
        Answer("tar", 4, "absent"),
        Answer("tar", 3, "not_sure"),
        *(Answer("wet_joint", cylinder, "not_looked") for cylinder in (1, 2, 3, 4)),
        Answer("bubbles", 2, "a_bit"),
        Answer("balance_code", 2, "present"),
        Answer("rail_low_code", None, "present"),
    )


def test_the_readings(case: Case) -> None:
    """In the reading's own unit; repeats beside each other; a full jar is a bound."""
    measured = case.epochs[0].measured
    assert measured[0] == Measured("correction", 1, -0.4, "mg/stroke")
    assert measured[1].value == pytest.approx(1.665)  # EN 590: 832.5 kg/m3
    assert [each.value for each in measured[2:4]] == [180, 185]
    assert measured[4] == Measured("return_flow", 2, 60.0, "mL/min", "above")


def test_what_was_tried(case: Case) -> None:
    """An epoch for every visit; work done together is one."""
    assert case.epochs[1].work == (Work("reseal", 2, helped="no"),)
    assert case.epochs[1].answers == (Answer("chuff", 2, "absent"), Answer("rough_idle", None, "present"))
    assert case.epochs[1].measured == (Measured("correction", 2, 1.5, "mg/stroke"),)
    assert case.epochs[2] == Epoch((Work("replace_filter"), Work("write_code", 3, note="read back")))


def test_an_unknown_code_is_a_note_without_effect(case: Case) -> None:
    assert case.note == "the owner waits\nFault code P1234 is not in this knowledge and has no effect."


@pytest.mark.parametrize(
    ("tried", "answers"),
    [
        ("helped: no", [Answer("rough_idle", None, "present"), Answer("fumes", None, "present", "load")]),
        ("helped: yes", [Answer("rough_idle", None, "absent"), Answer("fumes", None, "absent", "load")]),
        ("helped: partly", [Answer("rough_idle", None, "better"), Answer("fumes", None, "better", "load")]),
        ("helped: worse", [Answer("rough_idle", None, "present"), Answer("fumes", None, "present", "load")]),
        (
            "helped: other",
            [Answer("rough_idle", None, "something_else"), Answer("fumes", None, "something_else", "load")],
        ),
        ("helped: for a while", []),
        ("note: nobody said", []),
        ("helped: no, then: {findings: {}}", []),
        ("helped: no, then: {findings: {fumes: absent}}", [Answer("fumes", None, "absent")]),
        (
            "helped: no, then: {readings: {battery_voltage_cranking: 11 V}}",
            [Answer("rough_idle", None, "present"), Answer("fumes", None, "present", "load")],
        ),
    ],
)
def test_whether_it_helped(knowledge: Knowledge, tried: str, answers: list[Answer]) -> None:
    """'No' and 'worse' leave the vehicle's symptoms that were present, 'yes' takes them away; 'better' and 'other'
    speak softly of them, 'for a while' of the time between."""
    text = (
        "engine: ostrel_4\nfindings: {rough_idle: present, fumes under load: present, no_power: absent, "
        "knock: not sure, chuff: {2: present}, fuel_drips: present}\n"
        f"tried: [{{did: reseal, cylinder: 2, {tried}}}]\n"
    )
    assert list(read_case("case.yaml", knowledge, text).epochs[1].answers) == answers


def test_symptoms_follow_the_latest_epoch(knowledge: Knowledge) -> None:
    """What a first repair took away is not brought back by a second that did not help."""
    text = """
engine: ostrel_4
findings: {rough_idle: present, fumes: present}
tried:
  - {did: reseal, cylinder: 2, then: {findings: {fumes: absent}}}
  - {did: replace_filter, helped: no}
"""
    assert read_case("case.yaml", knowledge, text).epochs[2].answers == (Answer("rough_idle", None, "present"),)


def test_the_same_answer_twice_is_fine(knowledge: Knowledge) -> None:
    """Told as a finding and as a code, in a list of mappings: one answer."""
    text = "engine: ostrel_4\nfindings: [{balance_code: {2: present}}, {balance_code: {2: yes}}]\ncodes: [P0266]\n"
    assert read_case("case.yaml", knowledge, text).epochs[0].answers == (Answer("balance_code", 2, "present"),)


def test_the_least_case(knowledge: Knowledge) -> None:
    """An engine is enough."""
    case = read_case("case.yaml", knowledge, "engine: velm_5\n")
    assert case == Case("", knowledge.engines["velm_5"], "velm_5")


def test_an_engine_file_beside_the_case(knowledge: Knowledge, tmp_path: Path) -> None:
    """A case may bring its own engine; it is known by the full path of its file."""
    shutil.copy(shipped_folder() / "engines" / "ostrel_3.yaml", tmp_path / "mine.yaml")
    (tmp_path / "case.yaml").write_text("engine: mine.yaml\nfindings: {chuff: {3: present}}\n")
    case = load_case(tmp_path / "case.yaml", knowledge)
    assert case.engine == knowledge.engines["ostrel_3"]
    assert Path(case.engine_id) == (tmp_path / "mine.yaml").resolve()
