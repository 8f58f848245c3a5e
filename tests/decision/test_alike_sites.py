"""Cylinders at which everything is the same are bound once: that must not be told from binding each by itself."""

from __future__ import annotations

from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from msgspec import Struct

from diag.casebook import Case, read_case
from diag.decision import Reckoning, RepairDecision, binding, decide_repair, reckon, spreads_of
from diag.inference import with_configurations
from diag.knowledge_base import Knowledge, load_knowledge
from diag.network import build

LINES = "title: made up\nengine: {engine}\ndistance: 210000 km\nage: 9 years\nfindings: {findings}\n"
CASES = {
    "one cylinder told of": ("ostrel_3", "{chuff: {2: present}}"),
    "two banks": ("karrick_v8", "{chuff: {1: absent, 2: present}}"),
}


@pytest.fixture(scope="module")
def known() -> Knowledge:
    """The shipped knowledge."""
    return load_knowledge()


def _case(known: Knowledge, name: str) -> Case:
    engine, findings = CASES[name]
    return read_case("made-up.yaml", known, LINES.format(engine=engine, findings=findings))


def _ready(known: Knowledge, name: str) -> Reckoning:
    case = _case(known, name)
    return reckon(known, case, build(known, case), foreseen=False)


def _same(one: object, other: object, close: float = 0.0) -> bool:
    """Equal, whatever arrays are within: to the bit, or numbers but for this share of them."""
    if isinstance(one, np.ndarray | float) and isinstance(other, np.ndarray | float):
        return np.shape(one) == np.shape(other) and np.allclose(one, other, rtol=close, atol=0.0)
    if isinstance(one, Struct) or (is_dataclass(one) and not isinstance(one, type)):
        plain = isinstance(one, Struct)
        names = one.__struct_fields__ if plain else [field.name for field in fields(one) if field.compare]
        return type(one) is type(other) and all(
            _same(getattr(one, each), getattr(other, each), close) for each in names
        )
    if isinstance(one, tuple | list):
        return (
            isinstance(other, tuple | list)
            and len(one) == len(other)
            and all(_same(*each, close) for each in zip(one, other, strict=True))
        )
    if isinstance(one, dict):
        return (
            isinstance(other, dict)
            and one.keys() == other.keys()
            and all(_same(one[key], other[key], close) for key in one)
        )
    return bool(one == other)


@pytest.mark.parametrize("name", CASES)
def test_a_cylinder_bound_with_another_is_as_if_bound_by_itself(
    known: Knowledge, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sites, factors, treatments and what is left out of them agree to the bit, and so to twelve digits what options
    cost: what was remembered of the first time makes other sums of the second."""
    moved: list[int] = []
    plain = binding._moved
    monkeypatch.setattr(binding, "_moved", lambda bound, place: moved.append(1) or plain(bound, place))
    together = _ready(known, name)
    monkeypatch.setattr(binding, "_alike", lambda *_: None)
    apart = _ready(known, name)
    assert moved, "some cylinders are alike"
    assert _same(together.bound.sites, apart.bound.sites)
    assert _same(decide_repair(together).options, decide_repair(apart).options, close=1e-12)


def test_options_that_do_the_same_later_share_what_luck_brings(known: Knowledge) -> None:
    """Spreads agree to the bit with those of which every option is drawn alone."""
    ready = _ready(known, "one cylinder told of")
    decision = decide_repair(ready)
    shared = spreads_of(ready, decision, draws=400)
    alone = {}
    for option in decision.options:
        alone |= spreads_of(ready, RepairDecision(option, (option,), decision.danger, 0, 0), draws=400)
    assert shared == alone


def test_a_model_with_fewer_configurations_is_remembered(known: Knowledge) -> None:
    """The same configurations of the same evidence give the same model; others another one."""
    case = _case(known, "two banks")
    network = build(known, case)
    first, second = np.array([0, 1]), np.array([0, 2])
    one = with_configurations(network.model, network.evidence, first)
    assert with_configurations(network.model, network.evidence, first.copy())[0] is one[0]
    other = with_configurations(network.model, network.evidence, second)[0]
    assert other is not one[0] and not np.array_equal(other.configurations, one[0].configurations)
