"""The plates against general-purpose engines, on a network that shares no code with them."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.casebook import Answer, Case, Epoch, Measured, Work
from diag.evidence import reading_outcomes
from diag.knowledge_base import Knowledge, load_knowledge
from diag.network import (
    Question,
    all_questions,
    component_states,
    node_name,
    reference_arrays,
    reference_evidence,
    weigh,
)
from tests.network.reduced import ancestors, pgmpy_marginals, pyagrum_marginals, reduced
from tests.support.effort import effort

WHOLE = load_knowledge()
CYLINDER = {"seal", "injector", "trim_code", "clamp", "wiring", "cylinder_unlisted"}
SHARED = {"seal_stress", "bank_circuit", "code_numbering"}
VEHICLE = {"supply", "high_pressure_pump", "mounts", "unlisted"}
PARTS = {
    "starting": reduced(WHOLE, CYLINDER | SHARED | VEHICLE, {"blow_by", "delivery", "rail_build", "cold_starting"}),
    "running": reduced(WHOLE, CYLINDER | SHARED | VEHICLE, {"blow_by", "delivery", "roughness", "vibration"}),
    "gas": reduced(
        WHOLE,
        CYLINDER | SHARED | VEHICLE | {"fuel_debris", "return_pipe", "pressure_pipe", "air_path"},
        {"blow_by", "fuel_leak", "circuit", "fuel_outside", "gas_escape"},
    ),
    "whole": WHOLE,
}
MOST_OF_VEHICLE = {"whole": 1}  # more symptoms of the vehicle at once are beyond the general engines' memory


def is_of_vehicle_severity(knowledge: Knowledge, question: Question) -> bool:
    known = knowledge.findings.get(question.item) or knowledge.readings[question.item]
    return known.shows in knowledge.severities and knowledge.severities[known.shows].per == "vehicle"


@st.composite
def cases(draw: st.DrawFn, part: str, engine_id: str) -> Case:
    """A case of one epoch: some findings, hard and soft, some readings, some history."""
    knowledge = PARTS[part]
    engine = knowledge.engines[engine_id]
    questions = all_questions(knowledge, engine)
    vehicle = [question for question in questions if is_of_vehicle_severity(knowledge, question)]
    others = [question for question in questions if question not in vehicle]
    asked = draw(st.lists(st.sampled_from(vehicle), max_size=MOST_OF_VEHICLE.get(part, 3), unique=True))
    asked += draw(st.lists(st.sampled_from(others), min_size=1, max_size=5, unique=True))
    answers, measured = [], []
    for question in asked:
        if question.item in knowledge.findings:
            soft = list(knowledge.answers)
            word = draw(st.sampled_from(["present", "present", "absent", "absent", "not_sure", *soft]))
            answers.append(Answer(question.item, question.place, word, question.condition))
        else:
            reading = knowledge.readings[question.item]
            values = reading_outcomes(reading, engine, list(reading.spread)).values
            for value in draw(st.lists(st.sampled_from(list(values)), min_size=1, max_size=2)):
                bound: Literal["", "above", "below"] = draw(st.sampled_from(["", "", "above", "below"]))
                measured.append(Measured(question.item, question.place, float(value), reading.unit, bound))
    history = [Work("replace_injector", 2, months_ago=draw(st.sampled_from([2.0, 40.0])))]
    used = draw(st.sampled_from([(60_000.0, 4.0), (187_000.0, 11.0), (310_000.0, None)]))
    history = history if draw(st.booleans()) else []
    known = ["by_cylinder", "by_firing_order", "from_other_end"]  # of the whole the others would have to carry all
    numbering = draw(st.sampled_from(known if part == "whole" else [None, None, *known]))
    epoch = Epoch((), tuple(answers), tuple(measured))
    return Case("drawn", engine, engine_id, *used, tuple(history), (epoch,), numbering=numbering)


def agree(knowledge: Knowledge, case: Case, with_pgmpy: int = 0) -> None:
    """Every component's posterior and the severities that evidence reaches, to 1e-9; some of them by pgmpy as well."""
    weighed = weigh(knowledge, case)
    evidence = reference_evidence(knowledge, case)
    components = component_states(weighed.network, weighed.posterior)
    expected = {node_name(*key): chances for key, chances in components.items()}
    nodes = (*reference_arrays(knowledge, case, evidence.leaves), *evidence.nodes)
    nodes = ancestors(nodes, {*expected, *evidence.hard, *evidence.virtual})
    named = {node.name: node.states for node in nodes}
    levels = [each for each in weighed.severities if node_name(each.severity, each.place) in named]
    wanted = {*expected, *(node_name(each.severity, each.place) for each in levels)}
    found, probability = pyagrum_marginals(nodes, evidence, sorted(wanted))
    assert probability == pytest.approx(np.exp(weighed.log_evidence - weighed.network.log_scale), rel=1e-9)
    for name, chances in expected.items():
        np.testing.assert_allclose(found[name], chances, atol=1e-9, err_msg=name)
    for each in levels:
        name = node_name(each.severity, each.place)
        assert found[name][named[name].index(each.level)] == pytest.approx(each.probability, abs=1e-9)
    some = sorted(expected)[:: len(expected) // with_pgmpy] if with_pgmpy else []
    for name, chances in pgmpy_marginals(nodes, evidence, some).items():
        np.testing.assert_allclose(chances, expected[name], atol=1e-9, err_msg=name)


@pytest.mark.parametrize(
    ("part", "engine_id"),
    [
        *((part, engine_id) for part in PARTS for engine_id in ("ostrel_3", "ostrel_4")),
        ("gas", "velm_5"), ("gas", "karrick_v6"), ("starting", "karrick_v6"),
    ],
)  # fmt: skip
@effort(5)
@given(data=st.data())
def test_posteriors_agree_with_pyagrum(part: str, engine_id: str, data: st.DataObject) -> None:
    """Randomised evidence, on the whole shipped knowledge and on parts of it, three to six cylinders."""
    agree(PARTS[part], data.draw(cases(part, engine_id)))


@pytest.mark.parametrize("engine_id", ["ostrel_3", "ostrel_4"])
@pytest.mark.parametrize("symptom", ["fumes", "hard_start", "rough_idle"])
def test_posteriors_agree_with_pgmpy(symptom: str, engine_id: str) -> None:
    """The whole shipped knowledge by variable elimination, readings and soft answers as virtual evidence."""
    told = (Answer(symptom, None, "present"), Answer("chuff", 2, "a_bit"), Answer("chuff", 2, "present", "load"))
    corrected = symptom == "fumes" and engine_id == "ostrel_4"  # its shift is a variable that ties all cylinders
    item, unit = ("correction", "mg/stroke") if corrected else ("relative_compression", "per cent")
    measured = tuple(Measured(item, n, value, unit) for n, value in ((2, 2.4), (2, 2.0), (1, 0.3)))
    history = (Work("replace_injector", 3, months_ago=4.0),)
    case = Case("fixed", WHOLE.engines[engine_id], engine_id, 187_000.0, 11.0, history, (Epoch((), told, measured),))
    case = replace(case, numbering="by_cylinder")
    agree(WHOLE, case, with_pgmpy=6)


LASTING = {item: known for item, known in WHOLE.findings.items() if known.lasting.value}


@pytest.mark.parametrize(
    ("item", "engine_id"),
    [
        *((item, "ostrel_3") for item in ("rough_idle", "misfire_felt", "chuff_somewhere", "fumes", "starter_drags")),
        *((item, "ostrel_3") for item in ("chuff", "bubbles")),
        ("air_bubbles_in_feed", "velm_5"),
    ],
)
def test_a_finding_under_several_conditions_agrees_with_pyagrum(item: str, engine_id: str) -> None:
    """Where one luck may stand behind it under all of them; answered hard, softly and against each other."""
    known = LASTING[item]
    place = 2 if WHOLE.severities.get(known.shows) and WHOLE.severities[known.shows].per == "cylinder" else None
    conditions = (None, *known.under)
    for words in (("present",) * 5, ("absent", "present", "a_bit", "absent", "present"), ("a_bit", "absent") * 3):
        told = [Answer(item, place, word, under) for word, under in zip(words, conditions, strict=False)]
        beside = [Answer("tar", 2, "absent")] if place else []
        case = Case("luck", WHOLE.engines[engine_id], engine_id, 187_000.0, 11.0, (), (Epoch((), (*told, *beside)),))
        agree(WHOLE, replace(case, numbering="by_cylinder"), with_pgmpy=3 if words[1] == "absent" and place else 0)


def test_a_noise_heard_cold_and_pulling_tells_little_more_than_heard_once() -> None:
    """The second condition tells less than it would alone; carbon beside it, which is no ear's, tells all it has."""

    def odds(*told: Answer) -> float:
        engine = WHOLE.engines["ostrel_4"]
        case = Case("luck", engine, "ostrel_4", 187_000.0, 11.0, (), (Epoch((), told),))
        weighed = weigh(WHOLE, case)
        sound = component_states(weighed.network, weighed.posterior)["seal", 2][0]
        return float((1.0 - sound) / sound)

    cold, load = Answer("chuff", 2, "present", "cold"), Answer("chuff", 2, "present", "load")
    tar = Answer("tar", 2, "present")
    assert 1.1 < odds(cold, load) / odds(cold) < 3.0
    assert odds(load) / odds() > 8.0
    assert odds(cold, tar) / odds(cold) > 4.0
    assert odds(cold, load) == pytest.approx(odds(load, cold), rel=1e-12)
