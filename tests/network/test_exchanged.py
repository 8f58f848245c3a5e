"""Injectors swapped between two cylinders: plates and inference against every world written down."""

from __future__ import annotations

import random
from itertools import product

import numpy as np
import pytest

from diag.basics import CaseError, ImpossibleEvidence
from diag.casebook import Answer, Case, Work
from diag.knowledge_base import Knowledge
from diag.network import build, component_states, weigh
from tests.network.tiny import (
    COMPONENTS,
    REPAIRS,
    case_of,
    component,
    engine,
    finding,
    repair,
    severity,
    tiny_knowledge,
)
from tests.network.worlds import Worlds
from tests.support.effort import LONG

JUDGED_CODE = component(
    "cylinder", ["right", "wrong"], chance={"wrong": 0.2}, fresh={"wrong": 0.05}, disturbed={"wrong": 0.3},
    given={"stress": {"harsh": {"wrong": 0.4}}}, lapses={"codes_left": {"name": "left", "chance": {"wrong": 0.9}}},
)  # fmt: skip
SEAL = component("cylinder", ["sound", "blown"], chance={"blown": 0.2}, fresh={"blown": 0.05}, disturbed={"blown": 0.1})
GIVING = severity(
    "cylinder", ["even", "under", "none"],
    {"injector": {"weak": {"under": 0.6, "none": 0.3}}, "code": {"wrong": {"under": 0.5}},
     "seal": {"blown": {"under": 0.4}}},
    background={"under": 0.02},
)  # fmt: skip
WETTING = severity("cylinder", ["dry", "wet"], {"injector": {"weak": {"wet": 0.7}}}, background={"wet": 0.02})
ROUGH = severity(
    "vehicle", ["smooth", "rough"], {"giving": {"under": {"rough": 0.7}, "none": {"rough": 0.9}}},
    background={"rough": 0.03},
)  # fmt: skip
SMOKE = severity(
    "vehicle", ["clear", "smoke"], {"wetting": {"wet": {"smoke": 0.6}}, "giving": {"none": {"smoke": 0.3}}},
    background={"smoke": 0.03},
)  # fmt: skip
ALL_FINDINGS = {
    "tar": finding("seal", {"sound": 0.02, "blown": 0.7}),
    "rough_idle": finding("rough", {"smooth": 0.06, "rough": 0.9}),
    "weak_code": finding("giving", {"even": 0.03, "under": 0.6, "none": 0.9}),
    "bench": finding("injector", {"sound": 0.06, "weak": 0.9}),
    "code_read": finding("code", {"right": 0.1, "wrong": 0.8}),
    "wet_tip": finding("wetting", {"dry": 0.05, "wet": 0.8}),
    "smoky": finding("smoke", {"clear": 0.04, "smoke": 0.85}),
}


def workshop(code: bool) -> Knowledge:
    """Injectors that travel with their codes, or without, and then with two ways to be heard."""
    shared = {"stress": COMPONENTS["stress"]} if code else {}
    severities = {"giving": GIVING, "rough": ROUGH}
    if not code:
        causes = {name: table for name, table in GIVING["causes"].items() if name != "code"}  # type: ignore[attr-defined]
        severities = {"giving": {**GIVING, "causes": causes}, "wetting": WETTING, "rough": ROUGH, "smoke": SMOKE}
    components = {"seal": SEAL, "injector": COMPONENTS["injector"], **({"code": JUDGED_CODE} if code else {}), **shared}
    codes = ["code"] if code else []
    return tiny_knowledge(
        components=components,
        severities=severities,
        findings={name: one for name, one in ALL_FINDINGS.items() if one["shows"] in {**components, **severities}},
        readings={},
        repairs={
            "reseal": REPAIRS["reseal"],
            "new_injector": repair("cylinder", ["injector", "seal"], codes),
            "write_code": repair("cylinder", codes or ["seal"]),
            "swap": repair("cylinder", ["seal"], moves=["injector", *codes]),
            "swap_bare": repair("cylinder", ["seal"], codes, moves=["injector"]),
        },
    )


WORKSHOPS = {code: workshop(code) for code in (True, False)}
PLACES = {"tar", "weak_code", "wet_tip", "bench", "code_read"}


def answers(rng: random.Random, share: float, items: list[str]) -> list[Answer]:
    """Answers to some of all questions of two cylinders."""
    return [
        Answer(item, place, rng.choice(["present", "absent"]))
        for item in items
        for place in ((1, 2) if item in PLACES else (None,))
        if rng.random() < share
    ]


def swapped(knowledge: Knowledge, rng: random.Random, works: list[list[Work]]) -> Case:
    """A random case with this work at the start of its later epochs; plain contradictions are drawn again."""
    while True:
        items = rng.sample(sorted(knowledge.findings), 4)
        case = case_of(engine(2), *((work, answers(rng, 0.5, items)) for work in ([], *works)))
        try:
            build(knowledge, case)
        except CaseError:
            continue
        return case


SWAP, BARE = Work("swap", 1, other=2), Work("swap_bare", 2, other=1)
HISTORIES = {
    "swapped": [[SWAP]],
    "swapped, codes left as they were": [[BARE]],
    "swapped and one renewed in one visit": [[SWAP, Work("new_injector", 2)]],
    "swapped, the codes left": [[Work("swap", 1, other=2, but=("codes_left",))]],
    "renewed, the code not written": [[Work("new_injector", 1, but=("codes_left",))]],
    "both resealed in one visit": [[Work("reseal", 1), Work("reseal", 2)]],
    "swapped and back": [[SWAP], [SWAP]],
    "renewed, then swapped": [[Work("new_injector", 1)], [SWAP]],
    "swapped, then renewed": [[SWAP], [Work("new_injector", 1)]],
    "swapped, then the code written": [[SWAP], [Work("write_code", 2)]],
    "swapped with codes, then back without": [[SWAP], [BARE]],
    "resealed, then swapped": [[Work("reseal", 2)], [SWAP]],
}


SHORT = {  # what is tried with codes, too: dear
    "swapped",
    "swapped, codes left as they were",
    "swapped, then the code written",
    "swapped, the codes left",
    "renewed, the code not written",
}
CASES = [
    (name, code, seed)
    for name, code in product(HISTORIES, (True, False))
    for seed in range(4 if LONG else 1)
    if LONG or not code or name in SHORT
]


@pytest.mark.parametrize(("name", "code", "seed"), CASES)
def test_posteriors_after_an_exchange_are_those_of_all_worlds(name: str, code: bool, seed: int) -> None:
    """Two and three epochs: probability of the evidence, injectors, codes, seals and severities, to 1e-9."""
    rng, knowledge = random.Random(f"{name} {seed}"), WORKSHOPS[code]
    case = swapped(knowledge, rng, HISTORIES[name])
    last = len(case.epochs) - 1
    whole = Worlds(knowledge, case).evidence()
    if not whole:
        with pytest.raises(ImpossibleEvidence):
            weigh(knowledge, case)
        return
    weighed = weigh(knowledge, case)
    assert np.exp(weighed.log_evidence) == pytest.approx(whole, rel=1e-9)
    components = component_states(weighed.network, weighed.posterior)
    for thing in [key for key in components if key[0] in ("injector", "code", "seal")]:
        world = Worlds(knowledge, case, {thing: (last, 1)}).evidence()
        assert components[thing][1] == pytest.approx(world / whole, abs=1e-9)
    for chance in rng.sample(weighed.severities, 2):
        level = knowledge.severities[chance.severity].levels.index(chance.level)
        world = Worlds(knowledge, case, {(chance.severity, chance.place): (last, level)}).evidence()
        assert chance.probability == pytest.approx(world / whole, abs=1e-9)
