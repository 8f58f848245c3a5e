"""Moments weighed together against each by itself; rules of thumb in step against one case after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from diag.basics import Place
from diag.casebook import Answer, Case, Epoch, Measured
from diag.inference import infer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import POLICIES, Glances, Workshop, draw_fleet, policy_named, starts_of
from diag.network import build, component_states
from tests.decision.small_cases import calm
from tests.decision.tiny import Figures, case_of, knowledge

SHIPPED = load_knowledge()
RULES = tuple(name for name in POLICIES if name not in ("looking ahead", "one step"))
Told = tuple[Answer | Measured, ...]


def found(start: Case, told: Told) -> Case:
    """The start with what was found since."""
    answers = tuple(each for each in told if isinstance(each, Answer))
    measured = tuple(each for each in told if isinstance(each, Measured))
    epoch = Epoch(answers=(*start.epochs[0].answers, *answers), measured=measured)
    return replace(start, epochs=(epoch,))


def moments(engine: str) -> list[Case]:
    """Moments of cases of two starts: some of which the same was asked, some not, and one that has a shift."""
    said = ("present", "absent")
    found_later: list[Told] = [(), *((Answer("chuff", place, each),) for place in (1, 2) for each in said)]
    found_later += [(Answer("hard_start", None, each), Answer("tar", 2, "present")) for each in said]
    found_later += [(Measured("rail_pressure_cranking", None, value, "bar", ""),) for value in (150.0, 320.0)]
    found_later.append((Measured("correction", 1, 3.0, "mg/stroke", ""),))
    starts = starts_of(SHIPPED, engine, ["rough_idle"])[:2]
    return [found(start, each) for start in starts for each in found_later]


@pytest.mark.parametrize("engine", ["ostrel_3", "karrick_v6"])
def test_moments_weighed_together_are_what_each_is_by_itself(engine: str) -> None:
    """Chances of all components, and of how hard it blows, of which risks of checks hang; a shift is left aside."""
    glances, cases = Glances(SHIPPED), moments(engine)
    glances.look(cases)
    seen = 0
    for case in cases:
        known = glances.at(case)
        if any(each.item == "correction" for each in case.epochs[0].measured):
            assert known is None
            continue
        assert known is not None
        network = build(SHIPPED, case)
        alone = infer(network.model, network.evidence)
        states = component_states(known.network, known.posterior)
        for key, chances in component_states(network, alone).items():
            assert states[key] == pytest.approx(chances, abs=1e-9), key
        for cylinder in case.engine.cylinders:
            (plate, axis), (one, other) = (each.severity_at("blow_by", cylinder) for each in (known.network, network))
            assert known.posterior.axes[plate][axis] == pytest.approx(alone.axes[one][other], abs=1e-9)
        seen += 1
    assert seen == len(cases) - 2


def test_what_was_seen_is_forgotten_at_the_next_look() -> None:
    """Only the moments looked at last are remembered."""
    glances, cases = Glances(SHIPPED), moments("ostrel_3")[:2]
    glances.look(cases[:1])
    glances.look(cases[1:])
    assert glances.at(cases[0]) is None
    assert glances.at(cases[1]) is not None


def test_one_impossible_moment_leaves_the_others_as_they_are() -> None:
    """A pump that never whines unless it is worn, and is never worn: a whine fits nothing."""
    plain = knowledge(Figures(pump_worn=0.0))
    whine = plain.findings["whine"].model_copy(update={"chance": {**plain.findings["whine"].chance}})
    sound = whine.chance["sound"].model_copy(update={"value": 0.0})
    whine = whine.model_copy(update={"chance": {**whine.chance, "sound": sound}})
    known = plain.model_copy(update={"findings": {**plain.findings, "whine": whine}})
    told: list[dict[tuple[str, Place], str]] = [
        {("shaking", None): "present", ("whine", None): each} for each in ("present", "absent")
    ]
    cases = [case_of(known, each) for each in told]
    glances = Glances(known)
    glances.look(cases)
    assert glances.at(cases[0]) is None
    assert glances.at(cases[1]) is not None


def in_step_and_alone(known: Knowledge, start: Case, count: int, rules: Sequence[str] = RULES) -> None:
    """Every case under every rule, in step and by itself."""
    policies = [policy_named(name) for name in rules]
    fleet = draw_fleet(known, start, count, seed=21)
    in_step = Workshop(known, known, start).run_all(fleet, policies)
    workshop = Workshop(known, known, start)
    alone = [workshop.run(drawn, policy) for drawn in fleet for policy in policies]
    for one, other in zip(in_step, alone, strict=True):
        assert (one.policy, one.number, one.checks, one.wrong) == (
            other.policy,
            other.number,
            other.checks,
            other.wrong,
        )
        assert np.array([one.total, one.least]) == pytest.approx(np.array([other.total, other.least]))


def test_rules_in_step_decide_as_by_themselves_on_the_tiny_workshop() -> None:
    """Ten cases."""
    tiny = calm(knowledge(Figures(injector_bad=0.1, pump_worn=0.15)))
    in_step_and_alone(tiny, case_of(tiny, {("shaking", None): "present"}), 10)


def test_rules_in_step_decide_as_by_themselves_on_a_shipped_engine() -> None:
    """Two cases with all that is asked until the end."""
    in_step_and_alone(SHIPPED, starts_of(SHIPPED, "ostrel_3", ["no_power"])[1], 2, ("chance over cost",))
