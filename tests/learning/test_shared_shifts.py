"""Readings whose cylinders share a shift: what spreads they come from is found again, though no shift was ever told.

Books are drawn by the rule that says how such readings come about (`evidence.draw_together`), from spreads that are not
those that learning starts with; the truth is known for opened cylinders alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.casebook import Case, Epoch, Measured
from diag.evidence import draw_together
from diag.knowledge_base import Figure, Knowledge, load_knowledge
from diag.learning import (
    Learned,
    Lesson,
    Rules,
    Sweeper,
    Trust,
    figure_numbers,
    learn,
    learnables,
    sweeping,
    with_values,
)
from diag.learning.shared_shifts import Heard, own_width, seen_in
from diag.network import FigurePath, build
from diag.store import Fitted, Found, Outcome
from tests.support.effort import LONG
from tests.support.simulate import simulate

SURE = Trust(1 - 1e-9, 1 - 1e-9, 0.8, 1 - 1e-9)
BOOKS, CASES = (6, 1500) if LONG else (2, 150)
READINGS = ("return_flow", "correction")
WEAK = 2.0


@pytest.fixture(scope="module")
def small() -> Knowledge:
    """Injectors, the delivery of each cylinder, and the two readings, from what ships."""
    whole = load_knowledge()
    parts = ("injector", "code_numbering")
    causes = whole.severities["delivery"].causes
    return whole.model_copy(
        update={
            "components": {name: whole.components[name] for name in parts},
            "severities": {
                "delivery": whole.severities["delivery"].model_copy(
                    update={"causes": {name: table for name, table in causes.items() if name in parts}}
                )
            },
            "findings": {},
            "readings": {name: whole.readings[name] for name in ("correction", "return_flow")},
            "repairs": {
                "replace_injector": whole.repairs["replace_injector"].model_copy(
                    update={"renews": ("injector",), "disturbs": ()}
                )
            },
        }
    )


def often_at_fault(small: Knowledge) -> Knowledge:
    """The same where injectors fail often, and nothing else bears on them."""
    injector = small.components["injector"]
    assert injector.life is not None
    life = injector.life.model_copy(update={"unnoticed": Figure(value=150e3)})
    plain = injector.model_copy(update={"life": life, "given": {}})
    return small.model_copy(update={"components": {**small.components, "injector": plain}})


def book(knowledge: Knowledge, wanted: int, seed: int) -> list[Lesson]:
    """Cases of one engine with returns and corrections of all cylinders, of which half had every injector renewed."""
    random, engine = np.random.default_rng(seed), knowledge.engines["ostrel_4"]
    case = Case("invented", engine, "ostrel_4", 300e3, 15.0, numbering="by_cylinder")
    network = build(knowledge, case)
    drawn = simulate(network.model, wanted, seed)
    names = {item: tuple(knowledge.readings[item].spread) for item in READINGS}
    states = tuple(knowledge.components["injector"].states)
    levels = {item: np.zeros((wanted, 4), dtype=np.intp) for item in READINGS}
    truths = np.zeros((wanted, 4), dtype=np.intp)
    for place, cylinder in enumerate(engine.cylinders):
        plate, (at,) = network.targets.components["injector", cylinder]
        truths[:, place] = drawn["component", plate, at]
        levels["return_flow"][:, place] = drawn["component", plate, at]
        plate, (at,) = network.targets.axes["delivery", cylinder]
        levels["correction"][:, place] = drawn["axis", plate, at]
    shown = {
        item: draw_together(knowledge.readings[item], engine, names[item], levels[item], random) for item in READINGS
    }
    lessons = []
    for row in range(wanted):
        told = tuple(
            Measured(item, cylinder, float(shown[item][row, place]), knowledge.readings[item].unit)
            for item in READINGS
            for place, cylinder in enumerate(engine.cylinders)
        )
        opened = engine.cylinders if row % 2 else ()
        fitted = tuple(Fitted("replace_injector", cylinder) for cylinder in opened)
        found = tuple(
            Found("injector", states[truths[row, place]], cylinder, "seen")
            for place, cylinder in enumerate(opened)
            if truths[row, place]
        )
        lessons.append(
            Lesson(row + 1, "", replace(case, epochs=(Epoch((), (), told),)), Outcome("no", found, fitted), "")
        )
    return lessons


def test_where_the_truth_is_known_the_shift_is_that_of_normal_values(small: Knowledge) -> None:
    """Logarithms of returns under one factor: x_k = s + m_k + w_k e_k and s normal, so s given all x is normal with
    precision 1 / S^2 + sum 1 / w_k^2 (conjugate normal laws: Gelman et al., Bayesian Data
    Analysis, 2.5, from memory)."""
    reading, engine = small.readings["return_flow"], small.engines["ostrel_4"]
    reading = reading.model_copy(update={"instrument_error": Figure(value=1e-3), "decimals": 6})
    limit = engine.limits["return_flow"].value
    assert limit is not None and reading.shift is not None
    state = dict(zip(engine.cylinders, (0, 0, 3, 1), strict=True))
    value = dict(zip(engine.cylinders, (0.5 * limit, 0.42 * limit, 1.5 * limit, 0.9 * limit), strict=True))
    heard = {
        cylinder: Heard((Measured("return_flow", cylinder, value[cylinder], reading.unit),), np.eye(6)[state[cylinder]])
        for cylinder in engine.cylinders
    }
    seen = seen_in("return_flow", reading, engine, {0: heard})
    laws = [reading.spread[name] for name in reading.spread]
    off = np.array([np.log(value[k] / limit / laws[state[k]].middle.value) for k in engine.cylinders])
    own = np.array([own_width(reading, laws[state[k]].width.value) for k in engine.cylinders])
    shared = reading.shift.width.value
    precision = 1 / shared**2 + np.sum(1 / own**2)
    nodes = len(seen) // 4
    for number, cylinder in enumerate(engine.cylinders):
        rows = seen[number * nodes : (number + 1) * nodes]
        weight = np.array([each.weights.sum() for each in rows])
        moved = np.log(value[cylinder] / limit) - np.log([each.value for each in rows])
        assert weight.sum() == pytest.approx(1.0, abs=1e-6)
        assert weight @ moved == pytest.approx(np.sum(off / own**2) / precision, abs=1e-5)
        assert weight @ moved**2 - (weight @ moved) ** 2 == pytest.approx(1 / precision, rel=1e-3)


TRUE: dict[FigurePath, float] = {
    ("readings", "return_flow", "spread", "sound", "middle"): 0.40,
    ("readings", "return_flow", "spread", "sound", "width"): 0.36,
    ("readings", "return_flow", "spread", "excess_return", "middle"): 1.8,
    ("readings", "correction", "spread", "even", "width"): 0.34,
    ("readings", "correction", "spread", "under", "middle"): 1.6,
}
WRONG: dict[FigurePath, float] = {
    ("readings", "return_flow", "spread", "sound", "middle"): 0.55,
    ("readings", "return_flow", "spread", "sound", "width"): 0.5,
    ("readings", "return_flow", "spread", "excess_return", "middle"): 1.4,
    ("readings", "correction", "spread", "even", "width"): 0.5,
    ("readings", "correction", "spread", "under", "middle"): 1.2,
}


@pytest.fixture(scope="module")
def books(small: Knowledge) -> list[Learned]:
    """Books drawn with the true figures, learned from by knowledge whose figures are wrong and weak."""
    true = with_values(often_at_fault(small), TRUE)
    wrong = with_values(true, WRONG)
    readings = {
        name: reading.model_copy(update={"basis": reading.basis.model_copy(update={"strength": WEAK})})
        for name, reading in wrong.readings.items()
    }
    start = wrong.model_copy(update={"readings": readings})
    return [learn(start, book(true, CASES, 40 + seed), Rules(turns=8, trust=SURE)) for seed in range(BOOKS)]


@pytest.mark.parametrize("path", TRUE, ids=" ".join)
def test_what_was_wrong_comes_near_to_what_is_true(books: list[Learned], path: FigurePath) -> None:
    after = np.mean([figure.after for learned in books for figure in learned.figures if figure.path == path])
    assert abs(after - TRUE[path]) < 0.35 * abs(WRONG[path] - TRUE[path])


def test_the_intervals_hold_what_is_true(books: list[Learned]) -> None:
    inside = [
        figure.low <= TRUE[figure.path] <= figure.high
        for learned in books
        for figure in learned.figures
        if figure.path in TRUE
    ]
    assert len(inside) == BOOKS * len(TRUE)
    assert np.mean(inside) >= 0.9 - 3 * np.sqrt(0.09 / len(inside))
    assert all(learned.readings_left_out == 0 for learned in books)


def test_of_a_large_book_some_cases_stand_for_all(small: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every second case here; each has four readings of two kinds, and so much weight is left."""
    known = often_at_fault(small)
    lessons, index = book(known, 60, 5), figure_numbers(learnables(known))

    def weight() -> float:
        with Sweeper(known, lessons, index, SURE, 1, 0.0) as sweeper:
            return sum(sweeper.sweep(known).weights.values())

    assert weight() == pytest.approx(60 * 8)
    monkeypatch.setattr(sweeping, "MOST_SHIFTED", 30)
    assert weight() == pytest.approx(30 * 8)
