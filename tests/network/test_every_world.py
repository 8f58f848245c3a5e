"""Plates and inference against every world written down, repairs tried in the case included."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from diag.basics import CaseError, ImpossibleEvidence, Place
from diag.casebook import Answer, Case, Measured, Work
from diag.knowledge_base import Knowledge
from diag.network import build, component_states, vehicle_severity_chances, weigh
from tests.network.tiny import COMPONENTS, FINDINGS, REPAIRS, SEVERITIES, case_of, engine, repair, tiny_knowledge
from tests.network.worlds import Worlds

PLACES = {"chuff": "cylinder", "tar": "cylinder", "weak_code": "cylinder", "loom_code": "bank"}
WORK: dict[str, Place] = {"reseal": 1, "new_injector": 1, "mend_loom": "A", "new_pump": None}
LEFT_OUT = {"rail", "pump"}
WITHOUT_RAIL = tiny_knowledge(
    components={name: one for name, one in COMPONENTS.items() if name not in LEFT_OUT},
    severities={
        name: {**one, "causes": {c: t for c, t in one["causes"].items() if c not in LEFT_OUT}}  # type: ignore[attr-defined]
        for name, one in SEVERITIES.items()
        if name not in LEFT_OUT
    },
    findings={name: one for name, one in FINDINGS.items() if one["shows"] not in LEFT_OUT},
    repairs={name: one for name, one in tiny_knowledge().repairs.items() if name != "new_pump"},
)
KNOWLEDGE = {2: tiny_knowledge(), 3: WITHOUT_RAIL}


def some_answers(rng: random.Random, knowledge: Knowledge, cylinders: int) -> list[Answer]:
    """Answers to some of all questions."""
    answers = []
    for item, finding in knowledge.findings.items():
        per = PLACES.get(item, "vehicle")
        places = range(1, cylinders + 1) if per == "cylinder" else ["A"] if per == "bank" else [None]
        for place in places:
            for condition in (None, *finding.under):
                if rng.random() < 0.45:
                    answers.append(Answer(item, place, rng.choice(["present", "absent"]), condition))
    return answers


def some_case(seed: int, cylinders: int, epochs: int) -> Case:
    """A random case whose later epochs each begin with a repair; answers that contradict plainly are drawn again."""
    rng, knowledge = random.Random(seed), KNOWLEDGE[max(epochs, 2)]
    while True:
        told: list[tuple[list[Work], list[Answer]]] = [([], some_answers(rng, knowledge, cylinders))]
        for _ in range(epochs - 1):
            repair = rng.choice(sorted(knowledge.repairs))
            told.append(([Work(repair, WORK[repair])], some_answers(rng, knowledge, cylinders)))
        measured = [Measured("correction", 1, rng.uniform(-1, 4), "mg/stroke")]
        case = case_of(engine(cylinders), *told, measured=measured)
        try:
            build(knowledge, case)
        except CaseError:
            continue
        return case


@pytest.mark.parametrize(
    ("cylinders", "epochs", "seed"),
    [*((1, 1, seed) for seed in range(4)), *((2, 1, seed) for seed in range(4)), *((1, 2, seed) for seed in range(6)),
     (2, 2, 0), (2, 2, 1), (2, 2, 2), (1, 3, 1), (1, 3, 2), (1, 3, 4)],
)  # fmt: skip
def test_posteriors_are_those_of_all_worlds(cylinders: int, epochs: int, seed: int) -> None:
    """Probability of the evidence; components and severities, of cylinders and of the vehicle: to 1e-9."""
    case, knowledge, rng = some_case(seed, cylinders, epochs), KNOWLEDGE[max(epochs, 2)], random.Random(seed)
    last, few = epochs - 1, {1: 8, 2: 4}.get(epochs * cylinders, 2)
    whole = Worlds(knowledge, case).evidence()
    if not whole:  # what was only disturbed cannot fall silent: both must say so
        with pytest.raises(ImpossibleEvidence):
            weigh(knowledge, case)
        return
    weighed = weigh(knowledge, case)
    assert np.exp(weighed.log_evidence) == pytest.approx(whole, rel=1e-9)
    components = component_states(weighed.network, weighed.posterior)
    for thing in rng.sample(sorted(components, key=str), min(few, len(components))):
        state = rng.randrange(len(components[thing]))
        world = Worlds(knowledge, case, {thing: (last, state)}).evidence()
        assert components[thing][state] == pytest.approx(world / whole, abs=1e-9)
    for chance in rng.sample([*weighed.severities, *vehicle_severity_chances(weighed.network)], few):
        level = knowledge.severities[chance.severity].levels.index(chance.level)
        world = Worlds(knowledge, case, {(chance.severity, chance.place): (last, level)}).evidence()
        assert chance.probability == pytest.approx(world / whole, abs=1e-9)


LOOM = {**COMPONENTS["loom"], "disturbed": {"broken": 0.25}}
RATTLED = tiny_knowledge(
    components={"seal": COMPONENTS["seal"], "stress": COMPONENTS["stress"], "loom": LOOM},
    severities={
        name: {**SEVERITIES[name], "causes": {c: t for c, t in SEVERITIES[name]["causes"].items() if c in kept}}  # type: ignore[attr-defined]
        for name, kept in (("giving", {"seal", "loom"}), ("rail", {"giving", "loom"}))
    },
    findings={name: FINDINGS[name] for name in ("tar", "weak_code", "loom_code", "slow_rail")},
    readings={},
    repairs={
        "reseal": REPAIRS["reseal"],
        "rattle": repair("bank", ["seal"], ["loom"]),
        "mend_loom": REPAIRS["mend_loom"],
    },
)
RATTLE, MEND = Work("rattle", "A"), Work("mend_loom", "A")


@pytest.mark.parametrize(
    ("cylinders", "works"),
    [(1, [RATTLE]), (2, [RATTLE]), (1, [RATTLE, RATTLE]), (1, [MEND, RATTLE]), (1, [RATTLE, Work("reseal", 1)])],
)
def test_what_disturbs_a_shared_cause_cures_nothing_of_it(cylinders: int, works: list[Work]) -> None:
    """A bank's loom that work only disturbs stays broken if it was, and gives what it gave: as in all worlds."""
    rng = random.Random(f"{cylinders} {len(works)}")
    told = [([], some_answers(rng, RATTLED, cylinders)), *(([w], some_answers(rng, RATTLED, cylinders)) for w in works)]
    case, last = case_of(engine(cylinders), *told), len(works)
    whole, weighed = Worlds(RATTLED, case).evidence(), weigh(RATTLED, case)
    assert np.exp(weighed.log_evidence) == pytest.approx(whole, rel=1e-9)
    broken = component_states(weighed.network, weighed.posterior)["loom", "A"][1]
    assert broken == pytest.approx(Worlds(RATTLED, case, {("loom", "A"): (last, 1)}).evidence() / whole, abs=1e-9)
    for chance in (each for each in weighed.severities if each.level == "under"):
        world = Worlds(RATTLED, case, {("giving", chance.place): (last, 1)}).evidence()
        assert chance.probability == pytest.approx(world / whole, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_combinations_hold_the_shared_faults_too(seed: int) -> None:
    """Each has the probability of all worlds in which every fault is as it says, a bank's loom among them."""
    case, knowledge = some_case(seed, 1, 1), KNOWLEDGE[2]
    loom = replace(case.epochs[0], answers=(*case.epochs[0].answers, Answer("loom_code", "A", "present")))
    case = replace(case, epochs=(loom,))
    whole, weighed = Worlds(knowledge, case).evidence(), weigh(knowledge, case, combinations=4)
    assert any(("loom", "A") in dict(combination.faults) for combination in weighed.combinations)
    sound = {key: (0, 0) for key in weighed.network.layout.versions if knowledge.components[key[0]].fault}
    for combination in weighed.combinations:
        unsound = {
            key: (0, list(knowledge.components[key[0]].states).index(state)) for key, state in combination.faults
        }
        expected = Worlds(knowledge, case, {**sound, **unsound}).evidence() / whole
        assert combination.probability == pytest.approx(expected, rel=1e-9)
