"""An engine's own file, beside a case or elsewhere: read as strictly as the knowledge, every problem with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.basics import KnowledgeError
from diag.knowledge_base import EngineLayout, load_knowledge, new_engine_text, read_engine

KNOWLEDGE = load_knowledge()
GOOD = """engine:
  name: mine
  invented: false
  layout: V
  injector: piezo
  banks: {A: [1, 2], B: [3, 4]}
  firing_order: [1, 3, 2, 4]
  access_minutes: {covers: {A: 5, B: 6}}
  awkward_minutes: {4: 10}
  limits:
    return_flow: {value: 50, unit: mL/min}
"""

BROKEN: list[tuple[str, str, str]] = [
    ("invented: false", "invented: perhaps", "3:13: this should be true or false, and is 'perhaps'; write true or"),
    ("layout: V", "layout: W", "4:11: 'W' is not allowed here; it can be inline or V"),
    ("injector: piezo", "injector: peizo", "5:13: 'peizo' is not allowed here; did you mean 'piezo'?"),
    ("[3, 4]", "[3, 5]", "6:3: the cylinders are numbered 1 to 4, and these are 1, 2, 3, 5"),
    ("[3, 4]", "[3, 2]", "6:29: cylinder 2 is also in bank A"),
    ("[1, 3, 2, 4]", "[1, 3, 2, 9]", "7:27: there is no cylinder 9; its cylinders are 1 to 4"),
    ("[1, 3, 2, 4]", "[1, 3, 2]", "7:3: the firing order leaves out 4"),
    ("{A: 5, B: 6}", "{A: 5}", "8:20: the minutes for bank B are missing"),
    ("{A: 5, B: 6}", "{A: -5, B: 6}", "8:32: this should not be below 0, and is '-5'"),
    ("covers:", "cowers:", "8:20: there is no access 'cowers'; did you mean 'covers'?"),
    ("{4: 10}", "{7: 10}", "9:21: there is no cylinder 7; its cylinders are 1 to 4"),
    ("{4: 10}", "{4: -500}", "9:24: this should not be below 0, and is '-500'"),
    ("value: 50", "value: 0", "11:26: 'return flow at idle' is measured by this, so it must be above"),
    (
        "  limits:",
        "  trim_code: {alphabet: 0-9 A-F}\n  limits:",
        "10:25: '-' is no sign of a trim code; write every letter",
    ),
    ("  limits:", "  trim_code: {alphabet: ''}\n  limits:", "10:25: no code has no signs at all; write every letter"),
    (
        "unit: mL/min",
        "unit: ohm",
        "11:36: 'ohm' cannot be turned into 'mL/min'; it can be mL/min, mL/s, L/min, L/h, US gal/h or imp gal/h",
    ),
    ("unit: mL/min", "unit: ml/mn", "11:36: unknown unit 'ml/mn'; did you mean 'mL/min'"),
    (
        "return_flow: {value: 50, unit: mL/min}",
        "correction_rpm: {value: 24, unit: mg/stroke}",
        "11:39: 'mg/stroke' cannot be turned into 'rpm'; it can be rpm",
    ),
    ("  limits:", "  wait_after_stop_minutes: -5\n  limits:", "10:28: this should not be below 0, and is '-5'"),
    (
        "  limits:",
        "  torques: {clamp_bolt: {newton_metres: -9}}\n  limits:",
        "10:41: this should be above 0, and is '-9'",
    ),
    ("  limits:", "  opposite_sign: [corection]\n  limits:", "10:19: there is no reading 'corection'; did you mean"),
    ("value: 50", "value: .nan", "11:26: this should be a number, and is '.nan'"),
    ("  name: mine\n", "", "1:1: 'name' is missing here"),
    ("  name: mine\n", "  nmae: mine\n", "2:3: 'nmae' is not known here; did you mean 'name'?"),
    ("engine:\n", "engnie:\n", "1:1: 'engnie' does not belong into an engine's file; did you mean 'engine'?"),
    ("engine:\n", "components: {}\nengine:\n", "1:1: 'components' does not belong into an engine's file"),
    (GOOD, "name: mine\n", "1:1: 'name' does not belong into an engine's file; write it inside 'engine:'"),
    (GOOD, "engine: ostrel_4\n", "1:9: an engine's file holds 'engine:' with the entries of the engine inside"),
    (GOOD, "", "1:1: this file is empty"),
]


@pytest.mark.parametrize(("was", "now", "told"), BROKEN, ids=[told for _, _, told in BROKEN])
def test_a_broken_engine_file_is_told_with_its_place(was: str, now: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    assert was in GOOD
    path.write_text(GOOD.replace(was, now, 1), encoding="utf-8")
    with pytest.raises(KnowledgeError) as error:
        read_engine(path, KNOWLEDGE)
    assert any(str(problem).startswith(f"{path}:{told}") for problem in error.value.problems), str(error.value)


def test_a_good_engine_file_is_the_engine(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(GOOD + "  opposite_sign: [correction]\n", encoding="utf-8")
    engine = read_engine(path, KNOWLEDGE)
    assert engine.cylinders == (1, 2, 3, 4)
    assert engine.opposite_sign == ("correction",)


def test_every_shipped_engine_and_a_new_one_can_stand_in_a_file_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    layout = EngineLayout("mine", "Mine", 6, "V", "piezo")
    path.write_text(new_engine_text(KNOWLEDGE, layout), encoding="utf-8")
    assert read_engine(path, KNOWLEDGE).name == "Mine"
    for name, engine in KNOWLEDGE.engines.items():
        assert read_engine(Path("knowledge") / "engines" / f"{name}.yaml", KNOWLEDGE) == engine
