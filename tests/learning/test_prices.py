"""Prices of parts from what was spent: known prices come back, nobody's slip pulls, and intervals hold what is true."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diag.basics import KnowledgeError
from diag.casebook import Case
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Learned, LearnedFigure, Lesson, overlay_text, with_values
from diag.learning.prices import looks_taxed, part_prices
from diag.store import Fitted, Outcome
from tests.support.effort import LONG

JOBS = ("reseal", "replace_injector", "fix_supply", "clean_air_path", "replace_glow", "replace_return_pipe")


@pytest.fixture(scope="module")
def known() -> Knowledge:
    """What ships."""
    return load_knowledge()


def jobs_of(known: Knowledge) -> list[str]:
    """Repairs with parts, some of each price."""
    return [name for name, repair in known.repairs.items() if repair.parts and repair.kind == "mend"]


def invoiced(known: Knowledge, fitted: tuple[Fitted, ...], cost: float | None, **other: object) -> Lesson:
    """A closed case with what was spent."""
    case = Case("spent", known.engines["ostrel_4"], "ostrel_4")
    said: dict[str, object] = {"minutes": 60.0, "currency": known.prices.currency, **other}
    return Lesson(1, "", case, Outcome("yes", (), fitted, cost=cost, **said), "")  # type: ignore[arg-type]


def book(known: Knowledge, truth: dict[str, float], count: int, random: np.random.Generator, spread: float = 0.05,
         slips: float = 0.0) -> list[Lesson]:  # fmt: skip
    """Closed cases of one or two jobs each, spent at these prices; of `slips` of them three quarters was let off."""
    found, jobs = [], jobs_of(known)
    for _ in range(count):
        chosen = random.choice(jobs, int(random.integers(1, 3)), replace=False)
        minutes = float(random.uniform(40, 200))
        cost = minutes / 60 * known.prices.labour_per_hour.value
        for job in chosen:
            repair = known.repairs[str(job)]
            cost += sum(truth[part] * count for part, count in repair.parts.items()) + repair.money.value
        cost *= 1 + spread * random.standard_normal()
        cost *= 0.25 if random.random() < slips else 1.0
        fitted = tuple(Fitted(str(job), None) for job in chosen)
        found.append(invoiced(known, fitted, round(cost, 2), minutes=minutes))
    return found


def now(known: Knowledge) -> dict[str, float]:
    """The prices that ship."""
    return {name: part.price.value for name, part in known.prices.parts.items()}


def test_few_invoices_move_a_price_and_many_carry_it_along(known: Knowledge) -> None:
    """Nothing but the part, which stands at 180 as if seen five times. Five times about 187: it is between the two.
    Forty times about 200: it lets go."""
    random = np.random.default_rng(1)

    def after(count: int, price: float) -> LearnedFigure:
        paid = price * (1 + 0.04 * random.standard_normal(count))
        lessons = [invoiced(known, (Fitted("feed_pump", None),), float(cost), minutes=0.0) for cost in paid]
        (figure,) = part_prices(known, lessons, 5)
        return figure

    few, many = after(5, 187.0), after(40, 200.0)
    assert few.path == ("prices", "parts", "feed_pump", "price")
    assert 180.5 < few.after < 187.5
    assert many.after == pytest.approx(200, rel=0.015)
    assert many.low < 200 < many.high
    assert many.high - many.low < few.high - few.low
    assert (few.cases, many.cases) == (5, 40)


def test_a_price_that_has_risen_by_a_third_is_found_from_few_jobs(known: Knowledge) -> None:
    """Fifteen new injectors among other work. Held fast by what it was, it would be found halfway."""
    truth = {**now(known), "injector": 1.3 * now(known)["injector"]}
    lessons = book(known, truth, 120, np.random.default_rng(8), spread=0.04)
    (injector,) = [each for each in part_prices(known, lessons, 5) if each.path[2] == "injector"]
    assert injector.cases < 40
    assert injector.low < truth["injector"] < injector.high


def test_what_is_nowhere_seen_in_the_sum_stays(known: Knowledge) -> None:
    """A washer for 4 in an invoice for hundreds."""
    found = {each.path[2] for each in part_prices(known, book(known, now(known), 200, np.random.default_rng(9)), 5)}
    assert "washer" not in found
    assert "injector" in found


def test_known_prices_come_back(known: Knowledge) -> None:
    """Some parts have become dearer, some cheaper; the dear ones, which invoices tell of, are found within 4 %."""
    random = np.random.default_rng(3)
    truth = {name: price * (1.35 if n % 3 == 0 else 0.8 if n % 3 == 1 else 1.0) for n, (name, price) in
             enumerate(now(known).items())}  # fmt: skip
    found = {each.path[2]: each for each in part_prices(known, book(known, truth, 4000, random), 5)}
    dear = [name for name in ("injector", "high_pressure_pump", "starter", "control_unit", "flywheel") if name in found]
    assert len(dear) >= 3
    for name in dear:
        assert found[name].after == pytest.approx(truth[name], rel=0.04), name


def test_a_slip_of_the_pen_or_a_favour_does_not_pull(known: Knowledge) -> None:
    """In one of twelve cases three quarters were let off. Least squares would find the injector far too cheap."""
    random = np.random.default_rng(4)
    truth = now(known)
    found = {each.path[2]: each for each in part_prices(known, book(known, truth, 1500, random, slips=1 / 12), 5)}
    assert found["injector"].after == pytest.approx(truth["injector"], rel=0.02)


def test_the_intervals_hold_what_is_true_as_often_as_they_say(known: Knowledge) -> None:
    """Truths drawn from the prior: a price off by the spread of one invoice over the root of its strength."""
    held, spread = list[bool](), 0.05
    for seed in range(200 if LONG else 60):
        random = np.random.default_rng(100 + seed)
        wide = spread / np.sqrt(known.prices.basis.strength)
        truth = {name: price * (1 + wide * random.standard_normal()) for name, price in now(known).items()}
        lessons = book(known, truth, 200, random, spread)
        held += [each.low <= truth[each.path[2]] <= each.high for each in part_prices(known, lessons, 5)]
    assert len(held) > 300
    assert 0.86 <= np.mean(held) <= 0.96


@pytest.mark.parametrize(
    ("fitted", "cost", "other"),
    [
        (("feed_pump",), None, {}),
        (("feed_pump",), 0.0, {}),
        (("feed_pump",), 200.0, {"minutes": None}),
        (("feed_pump",), 200.0, {"currency": "CZK"}),
        (("a_part_of_long_ago",), 200.0, {}),
        (("reseal", "washer"), 200.0, {}),
    ],
    ids=["nothing told", "free of charge", "no time", "other money", "not listed now", "perhaps told twice"],
)
def test_what_tells_nothing_of_prices_is_passed_over(
    known: Knowledge, fitted: tuple[str, ...], cost: float | None, other: dict[str, object]
) -> None:
    things = tuple(Fitted(item, None) for item in fitted)
    assert part_prices(known, [invoiced(known, things, cost, **other)] * 20, 5) == []


def test_too_few_invoices_leave_a_price_as_it_is(known: Knowledge) -> None:
    lessons = [invoiced(known, (Fitted("feed_pump", None),), 200.0)] * 4
    assert part_prices(known, lessons, 5) == []
    assert part_prices(known, lessons * 2, 5)


def test_money_told_with_tax_is_noticed(known: Knowledge) -> None:
    random = np.random.default_rng(5)
    taxed = {name: price * 1.2 for name, price in now(known).items()}
    dearer = with_values(known, {})
    rate = known.prices.labour_per_hour.model_copy(update={"value": known.prices.labour_per_hour.value * 1.2})
    dearer = dearer.model_copy(update={"prices": known.prices.model_copy(update={"labour_per_hour": rate})})
    assert looks_taxed(known, book(dearer, taxed, 60, random))
    assert not looks_taxed(known, book(known, now(known), 60, random))


def test_the_overlay_lays_the_price_over_what_ships(known: Knowledge, tmp_path: Path) -> None:
    lessons = [invoiced(known, (Fitted("feed_pump", None),), 200.0)] * 30
    figures = part_prices(known, lessons, 5)
    values = {each.path: each.after for each in figures}
    learned = Learned(tuple(figures), 0, with_values(known, values), 30, (), 0.0, 0.0, 0)
    path = tmp_path / "learned.yaml"
    path.write_text(overlay_text(learned, ("30 cases",)), encoding="utf-8")
    assert "before 180; 30.0 cases bear upon it; 90 % interval" in path.read_text(encoding="utf-8")
    laid = load_knowledge(overlays=[path])
    price = laid.prices.parts["feed_pump"].price
    assert price.value == pytest.approx(figures[0].after, rel=1e-4)
    assert price.basis is not None
    assert price.basis.source == "learned"
    assert learned.knowledge.prices.parts["feed_pump"].price.value == figures[0].after
    assert laid.prices.parts["injector"] == known.prices.parts["injector"]


def test_a_learned_price_is_never_taken_for_one_in_another_currency(known: Knowledge, tmp_path: Path) -> None:
    """Learned in euros: below an overlay in crowns it is exchanged like all else; above it, it is refused, and not
    taken for so many crowns."""
    lessons = [invoiced(known, (Fitted("feed_pump", None),), 200.0)] * 30
    figures = part_prices(known, lessons, 5)
    learned = Learned(tuple(figures), 0, with_values(known, {f.path: f.after for f in figures}), 30, (), 0.0, 0.0, 0)
    euros, crowns = tmp_path / "learned.yaml", tmp_path / "crowns.yaml"
    euros.write_text(overlay_text(learned, ("30 cases",)), encoding="utf-8")
    crowns.write_text("prices: {currency: CZK, exchange: 25}\n", encoding="utf-8")
    exchanged = load_knowledge(overlays=[euros, crowns]).prices
    assert exchanged.currency == "CZK"
    assert exchanged.parts["feed_pump"].price.value == pytest.approx(25 * figures[0].after, rel=1e-4)
    with pytest.raises(KnowledgeError, match="prices become EUR"):
        load_knowledge(overlays=[crowns, euros])
