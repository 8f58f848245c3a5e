"""Expected counts of every table against derivatives of the probability of the evidence, taken by differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Work
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Lesson, Rules, learn, learnables, with_values
from diag.learning.counting import Counts, count
from diag.network import FigurePath, Likelihoods, alike, told_of
from diag.store import Found, Outcome
from tests.learning.invented import casebook, small_knowledge
from tests.network.tiny import COMPONENTS, case_of, engine, tiny_knowledge
from tests.support.effort import LONG

Answers = tuple[Answer, ...]


def index_of(knowledge: Knowledge) -> dict[FigurePath, int]:
    return {each.path: number for number, each in enumerate(learnables(knowledge))}


def counted(knowledge: Knowledge, cases: list[Case], apart: bool = False, weights: np.ndarray | None = None) -> Counts:
    group = alike(knowledge, cases)
    told = [told_of(knowledge, case, group.network).questions for case in cases]
    weights = np.ones(len(cases)) if weights is None else weights
    index = index_of(knowledge)
    return count(group, index, told, [{}] * len(cases), Likelihoods(group.network), weights, apart)


def slope(knowledge: Knowledge, cases: list[Case], path: FigurePath, value: float) -> float:
    """Of the logarithm of the probability of all that was told, by one figure."""
    step = 1e-5 * min(value, 1.0 - value) if value < 1 else 1e-5 * value
    up, down = (counted(with_values(knowledge, {path: value + s}), cases).log_evidence.sum() for s in (step, -step))
    return float((up - down) / (2 * step))


def by_counts(knowledge: Knowledge, counts: Counts, path: FigurePath, value: float) -> float:
    """The same from expected counts: what raises a chance is taken from the first level of its row."""
    index = index_of(knowledge)
    at, true, used = index[path], counts.true.sum(axis=0), counts.used.sum(axis=0)
    if path[2] == "life":
        return float(true[at] / value)
    row = [(p, n) for p, n in index.items() if p[:-1] == path[:-1]] if path[0] == "severities" else [(path, at)]
    values = {each.path: each.value for each in learnables(knowledge)}
    left = used[at] - sum(true[n] for _, n in row)
    return float(true[at] / value - left / (1.0 - sum(values[p] for p, _ in row)))


def close(knowledge: Knowledge, cases: list[Case], kinds: tuple[str, ...], most: int = 1000) -> int:
    """Checks all figures of these kinds; how many were heard of."""
    counts, heard = counted(knowledge, cases), 0
    wanted = [each for each in learnables(knowledge) if each.kind in kinds]
    some = (
        wanted if len(wanted) <= most else [wanted[n] for n in np.random.default_rng(1).permutation(len(wanted))[:most]]
    )
    for each in some:
        told = by_counts(knowledge, counts, each.path, each.value)
        assert told == pytest.approx(slope(knowledge, cases, each.path, each.value), rel=1e-4, abs=1e-4), each.path
        heard += told != 0
    return heard


def by_ratio(knowledge: Knowledge, cases: list[Case], path: FigurePath) -> float:
    """Of the logarithm of the probability of all that was told, by that of a chance's ratio to what is left of its
    table: the others of the table fall in proportion."""
    values, step = {each.path: each.value for each in learnables(knowledge)}, 1e-5
    table = {other: value for other, value in values.items() if other[:-1] == path[:-1]}
    grows = {other: value * ((other == path) - values[path]) for other, value in table.items()}
    moved = ({other: table[other] + sign * step * slope for other, slope in grows.items()} for sign in (1, -1))
    up, down = (counted(with_values(knowledge, each), cases).log_evidence.sum() for each in moved)
    return float((up - down) / (2 * step))


@pytest.fixture(scope="module")
def small() -> Knowledge:
    return small_knowledge()


LIFE = {"clock": "distance", "shape": 2.0, "scale": 5e5, "unnoticed": 2e4, "fails_as": {"weeping": 0.6, "blown": 0.4},
        "scale_under": {"stress": {"harsh": 0.5}}}  # fmt: skip
TOLD = (Answer("chuff", 1, PRESENT), Answer("tar", 2, ABSENT), Answer("rough_idle", None, PRESENT))


@pytest.mark.parametrize("seal", [{}, {"life": LIFE}], ids=["chances alone", "beside a life"])
@pytest.mark.parametrize("history", [(), (Work("new_injector", 1, months_ago=2.0),)], ids=["untouched", "disturbed"])
def test_chances_that_shared_causes_give(seal: dict[str, object], history: tuple[Work, ...]) -> None:
    """d - p n is the slope by the log-ratio of each chance: ordinary, given under a shared cause, one that such a cause
    has itself, and just disturbed; heard of or not, and of all but one state of a table where another table holds."""
    loom = {**COMPONENTS["loom"], "given": {"stress": {"harsh": {"broken": 0.4}}}}
    sealed = {**COMPONENTS["seal"], **seal, "given": {"stress": {"harsh": {"weeping": 0.3}}}}
    knowledge = tiny_knowledge(components={**COMPONENTS, "loom": loom, "seal": sealed})
    case = replace(case_of(engine(2), ([], TOLD)), history=history)
    index, counts = index_of(knowledge), counted(knowledge, [case])
    chances = [each for each in learnables(knowledge) if each.kind == "chance"]
    for each in chances:
        at = index[each.path]
        told = counts.true[0, at] - each.value * counts.used[0, at]
        assert told == pytest.approx(by_ratio(knowledge, [case], each.path), rel=1e-5, abs=1e-7), each.path
    assert len(chances) == 9


def test_a_cause_that_was_seen_teaches_nothing_of_what_nobody_looked_at() -> None:
    """Debris in the fuel of ten vehicles, seen, and nothing told of their injectors: what debris does to these hardly
    moves (only as far as those complain of whom it does), each by less than its own standard deviation."""
    knowledge = load_knowledge()
    told = (Answer("rough_idle", None, PRESENT),)
    case = Case("x", knowledge.engines["ostrel_3"], "ostrel_3", 150_000.0, 9.0, epochs=(Epoch((), told),))
    seen = Outcome("partly", (Found("fuel_debris", "debris", None, "seen"),), ())
    lessons = [Lesson(number, "", case, seen, "") for number in range(10)]
    learned = {each.path: each for each in learn(knowledge, lessons, Rules(least=0.0, turns=4)).figures}
    given = [figure for path, figure in learned.items() if path[:3] == ("components", "injector", "given")]
    assert len(given) == 5
    assert all(abs(each.after - each.before) < 0.2 * (each.high - each.low) for each in given)


def test_counts_are_the_derivatives_they_should_be(small: Knowledge) -> None:
    """Contributions in a cylinder and to the vehicle, background, lives' scale and shape, chances of findings."""
    cases = [lesson.case for lesson in casebook(small, 10, 5)]
    assert close(small, cases, ("contribution", "scale", "shape", "finding")) >= 14


def test_vehicle_severities_that_give_to_each_other() -> None:
    """All that ships, with symptoms on two chains: rail pressure to starting, roughness to vibration."""
    knowledge = load_knowledge()
    told: tuple[Answers, ...] = (
        (Answer("hard_start", None, PRESENT), Answer("stalls", None, ABSENT), Answer("chuff", 2, PRESENT)),
        (Answer("rough_idle", None, PRESENT), Answer("hard_start_hot", None, PRESENT), Answer("chuff", 2, ABSENT)),
    )
    engine = knowledge.engines["ostrel_3"]
    cases = [Case("x", engine, "ostrel_3", 1e5 * (1 + n), 9.0, epochs=(Epoch((), a),)) for n, a in enumerate(told)]
    assert close(knowledge, cases, ("contribution",), 1000 if LONG else 12) >= 4


def test_what_persists_over_work_tried() -> None:
    """Two epochs: what was not renewed gave one contribution to both, and it is counted once."""
    knowledge = load_knowledge()
    engine = knowledge.engines["ostrel_3"]
    first = Epoch(
        (), (Answer("fumes", None, PRESENT), Answer("chuff", 1, PRESENT), Answer("rough_idle", None, PRESENT))
    )
    second = Epoch((Work("reseal", 1),), (Answer("fumes", None, PRESENT), Answer("rough_idle", None, ABSENT)))
    case = Case("x", engine, "ostrel_3", 150_000.0, 9.0, epochs=(first, second))
    touched = ("seal", "clamp", "pressure_pipe", "return_pipe", "injector", "trim_code", "wiring", "cylinder_unlisted")
    counts, heard = counted(knowledge, [case]), 0
    for each in learnables(knowledge):
        some = each.kind == "contribution" and each.path[1] in ("gas_escape", "roughness")[: 2 if LONG else 1]
        if some and "causes" in each.path and each.path[3] not in touched:
            told = by_counts(knowledge, counts, each.path, each.value)
            assert told == pytest.approx(slope(knowledge, [case], each.path, each.value), rel=1e-4, abs=1e-4), each.path
            heard += told != 0
    assert heard >= 8


def test_banks_and_configurations() -> None:
    """A V6, whose banks tell configurations apart."""
    knowledge = load_knowledge()
    answers = (Answer("rough_idle", None, PRESENT), Answer("weak_cutout", 2, PRESENT), Answer("weak_cutout", 5, ABSENT))
    case = Case("x", knowledge.engines["karrick_v6"], "karrick_v6", 150_000.0, 9.0, epochs=(Epoch((), answers),))
    assert close(knowledge, [case], ("contribution",), 1000 if LONG else 6) >= 1


def test_sums_are_the_sums_of_the_cases(small: Knowledge) -> None:
    """Plates done once for many cases, weighted, against each case for itself; and both ways of doing that."""
    cases = [lesson.case for lesson in casebook(small, 60, 6)]
    weights = np.random.default_rng(1).integers(1, 4, len(cases)).astype(float)
    together, apart = counted(small, cases, weights=weights), counted(small, cases, apart=True)
    assert together.true[0] == pytest.approx(weights @ apart.true, abs=1e-10)
    assert together.used[0] == pytest.approx(weights @ apart.used, abs=1e-10)
    for number in (0, 7):
        alone = counted(small, [cases[number]], apart=True)
        assert alone.true[0] == pytest.approx(apart.true[number], abs=1e-10)
        assert alone.log_evidence[0] == pytest.approx(apart.log_evidence[number], abs=1e-10)
