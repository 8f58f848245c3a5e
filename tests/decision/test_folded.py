"""Damage and later visits, summed over the seals: against the sum over every way in which they may be sound.

Right by definition (enumeration); no outside source is needed.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest

from diag.casebook import Answer, Case, Epoch
from diag.decision import decide_repair, reckon
from diag.decision.appraisal import Setting, setting_of
from diag.decision.pool import Candidates, access_saved, chosen_of, opens_of
from diag.decision.sampled import _later, _Voice
from diag.decision.worth import later_folded
from diag.inference import Array
from diag.knowledge_base import load_knowledge
from tests.decision.tiny import network_of

ANSWERS = 5


@cache
def _setting() -> Setting:
    known = load_knowledge()
    told = tuple(Answer(name, place, "present") for name, place in (("rough_idle", None), ("weak_cutout", 2)))
    case = Case("x", known.engines["ostrel_4"], "ostrel_4", 190_000.0, 10.0, epochs=(Epoch((), told),))
    ready = reckon(known, case, network_of(known, case))
    return setting_of(ready, decide_repair(ready), 0.99)


def _pool(setting: Setting) -> Candidates:
    """Every third plan, so that some tables are not among theirs."""
    rows, every = setting.every
    return chosen_of(every, range(1, len(rows), 3))


def _seal_values(setting: Setting, place: int) -> tuple[Array, Array]:
    """`[term]`: the values of a plate with its seal not sound, and with it sound."""
    plate, option = setting.catalogue.seal[place]
    values = setting.ground.values[plate]
    return values[0] - values[option], values[option]


@pytest.mark.parametrize("heard", [(), (0,), (2,), (1, 3), (0, 1, 2, 3)])
def test_tables_are_summed_over_the_seals_that_nothing_is_heard_of(heard: tuple[int, ...]) -> None:
    """In the order in which the seals heard of are counted; for all plans as for some chosen of them."""
    setting = _setting()
    pool, ground, seals = _pool(setting), setting.ground, len(setting.catalogue.seal)
    assert 1 < len(pool.tables) < len(setting.every[1].tables) and len(ground.kept) > 1
    wanted = np.zeros((2 ** len(heard), len(pool.tables), len(ground.weights)))
    for number, sound in enumerate(product((0, 1), repeat=seals)):
        mine = int("".join(str(sound[place]) for place in heard) or "0", 2)
        chance = np.ones(len(ground.weights))
        for place in set(range(seals)) - set(heard):
            chance = chance * _seal_values(setting, place)[sound[place]]
        wanted[mine] += pool.tables[:, ground.configuration, number] * chance
    for plans in (pool, replace(pool, among=None, _folded={})):
        assert later_folded(setting.catalogue, plans, ground, heard) == pytest.approx(wanted, rel=1e-11, abs=1e-12)


@pytest.mark.parametrize("heard", [(), (1,), (0, 2), (0, 1, 3), (0, 1, 2, 3)])
@pytest.mark.parametrize("another", [True, False], ids=["and of another plate", "of seals alone"])
def test_what_comes_later_after_joint_answers(heard: tuple[int, ...], another: bool) -> None:
    """Few seals and many are summed in two ways: both give the sum over every way in which the seals may be sound."""
    setting = _setting()
    pool, ground, seals = _pool(setting), setting.ground, setting.catalogue.seal
    random, plates = np.random.default_rng(7), [plate for plate, _ in seals]
    elsewhere = next(plate for plate in range(len(ground.values)) if plate not in plates)
    spoken = {plates[place]: [0, seals[place][1]] for place in heard}
    if another or not heard:
        spoken[elsewhere] = [0]
    voices = [
        _Voice(plate, options, random.random((len(options), 3, len(ground.weights))), random.integers(0, 3, ANSWERS))
        for plate, options in spoken.items()
    ]
    by_plate = {voice.plate: voice for voice in voices}

    def values(plate: int, option: int) -> Array:
        return by_plate[plate].of(option) if plate in by_plate else ground.values[plate][option][None]

    base = np.broadcast_to(ground.weights, (ANSWERS, len(ground.weights)))
    for plate in set(range(len(ground.values))) - set(plates):
        base = base * values(plate, 0)
    wanted = np.zeros((len(pool.fixed), ANSWERS))
    for number, sound in enumerate(product((0, 1), repeat=len(seals))):
        chance = base
        for (plate, option), is_sound in zip(seals, sound, strict=True):
            chance = chance * (values(plate, option) if is_sound else values(plate, 0) - values(plate, option))
        wanted += pool.tables[pool.later][:, ground.configuration, number] @ chance.T
    found = _later(setting.catalogue, pool, ground, ground.weights[None], voices)
    assert found == pytest.approx(wanted, rel=1e-11, abs=1e-12)


def test_open_access_saves_a_plan_what_it_would_open() -> None:
    """Of every plan the fees of just those that it needs; nothing where nothing is open that it needs."""
    setting = _setting()
    every, fees = setting.every[1], setting.ready.problem.fees.access
    some = frozenset(key for plan in setting.bases for key in sorted(opens_of(setting.catalogue, plan))[:1])
    wanted = [
        0.0 if plan is None else sum(fees.get(key, 0.0) for key in some if key in opens_of(setting.catalogue, plan))
        for plan in every.plans
    ]
    found = access_saved(setting.catalogue, every, some)
    assert found == pytest.approx(np.array(wanted), rel=1e-12) and found.max() > 0.0 and found.min() == 0.0
    assert not access_saved(setting.catalogue, every, frozenset()).any()
