"""Numbers of the knowledge in words, and which of them are drawn."""

from __future__ import annotations

import math

import pytest

from diag.casebook import read_case
from diag.doubt import bearing_numbers, drawn_numbers, ground_of, influences, number_at
from diag.knowledge_base import MONEY, Figure, walk_figures
from diag.network import build
from diag.report import number_words, value_words
from tests.doubt.grounds import ground, knowledge

CASE = "one_blown_seal"


def test_every_number_that_is_drawn_has_words_and_a_value_with_its_unit() -> None:
    for name in (CASE, "injector_stuck_open"):
        for number in drawn_numbers(ground(name).network):
            words = number_words(knowledge(), number.path)
            assert words and "." not in words.replace("..", ""), number.path
            assert value_words(knowledge(), number, number.value), number.path


def test_how_long_luck_lasts_counts_where_a_finding_was_told_under_several_conditions() -> None:
    text = (
        "title: a\nengine: ostrel_4\ndistance: 187000 km\nage: 11 years\nfindings:\n  chuff under cold: {2: present}\n"
    )
    path = ("findings", "chuff", "lasting")
    drawn = []
    for more in ("  chuff under load: {3: present}\n", "  chuff under load: {2: present}\n"):
        case = read_case("luck.yaml", knowledge(), text=text + more)
        drawn.append(path in {number.path for number in drawn_numbers(build(knowledge(), case))})
    assert drawn == [False, True]
    words = "how often what is taken for 'chuffing in time with this cylinder' is there under all conditions"
    assert number_words(knowledge(), path) == words


def test_words_name_the_thing_and_the_unit() -> None:
    numbers = {number.path: number for number in drawn_numbers(ground(CASE).network)}
    expected = {
        ("components", "clamp", "chance", "loose"): ("how common it is: clamp and bolt loose", "0.072 %"),
        ("components", "seal", "life", "scale"): ("how long most last: combustion seal", "600,000 km"),
        ("prices", "labour_per_hour"): ("labour rate for an hour", "96 EUR"),
        ("prices", "customer", "horizon_months"): ("months that the vehicle is kept", "36 months"),
        ("prices", "customer", "driven_on_months"): (
            "months that a vehicle is driven on with a blown seal",
            "4 months",
        ),
        ("prices", "customer", "removal_odds_in_a_year"): (
            "how much harder an injector comes out after a year with a blown seal",
            "3 times",
        ),
        ("prices", "parts", "injector", "price"): ("price of 'injector, new'", "380 EUR"),
        ("prices", "parts", "injector", "wait_days"): ("days to wait for 'injector, new'", "1"),
        ("repairs", "reseal", "risks", 0, "chance", "slight"): (
            "chance of 'injector stuck' at 'reseal the injector', combustion gas past the seal: slight",
            "12 %",
        ),
        ("components", "seal", "fresh", "weeping"): ("chance that a new one is weeping: combustion seal", "1.5 %"),
    }
    for path, (words, value) in expected.items():
        assert number_words(knowledge(), path) == words
        assert value_words(knowledge(), numbers[path], numbers[path].value) == value
    months = numbers["prices", "customer", "horizon_months"]
    assert value_words(knowledge(), months, 1.0) == "1 month"


def test_only_amounts_of_money_are_told_in_the_currency() -> None:
    kept = {"horizon_km": 40_000}
    prices = knowledge().prices
    customer = prices.customer.model_copy(update={name: Figure(value=value) for name, value in kept.items()})
    changed = knowledge().model_copy(update={"prices": prices.model_copy(update={"customer": customer})})
    for placed in walk_figures(changed):
        number = number_at(changed, placed.path)
        told = value_words(changed, number, number.value)
        assert told.endswith(" EUR") == (placed.path[-1] in MONEY), placed.path
    path = ("prices", "customer", "horizon_km")
    assert number_words(changed, path) == "kilometres that the vehicle is kept"
    assert value_words(changed, number_at(changed, path), 40_000.0) == "40,000 km"


def test_near_its_ends_a_chance_keeps_two_digits_and_a_month_is_one() -> None:
    chance = number_at(knowledge(), ("components", "seal", "fresh", "weeping"))
    assert [value_words(knowledge(), chance, each) for each in (0.0123, 0.00072, 0.12, 0.985, 0.9996)] == [
        "1.2 %",
        "0.072 %",
        "12 %",
        "98.5 %",
        "99.96 %",
    ]
    months = number_at(knowledge(), ("prices", "customer", "horizon_months"))
    assert value_words(knowledge(), months, 1.0) == "1 month"


def test_what_was_not_told_and_what_shares_a_shift_is_not_drawn() -> None:
    network = ground(CASE).network
    drawn = {number.path for number in drawn_numbers(network)}
    told = {question.item for question in network.told}
    shifted = {question.item for question in network.shifted.factors} if network.shifted is not None else set()
    assert shifted
    for path in drawn:
        if path[0] in ("findings", "readings"):
            assert path[1] in told - shifted
    assert drawn < {placed.path for placed in walk_figures(knowledge())}


def test_each_part_of_a_mixture_may_be_a_number_that_matters() -> None:
    """Oil that the laboratory looked at: sound engines are of two kinds. Each number has its own width beside it."""
    text = "engine: ostrel_3\nfindings:\n  oil_level_rising: present\nreadings:\n  oil_dilution: 3.1 per cent\n"
    one = ground_of(knowledge(), read_case("oil.yaml", knowledge(), text))
    found = {each.number.path[-3:]: each for each in influences(one) if each.number.path[1] == "oil_dilution"}
    parts = knowledge().readings["oil_dilution"].spread["none"].parts
    for number, part in enumerate(parts):
        moved = found["parts", number, "middle"]
        assert moved.spread == pytest.approx(part.width.value / math.sqrt(moved.number.strength))
        assert math.isfinite(moved.swing)


def test_the_numbers_nearest_to_a_decision_are_a_part_of_those_that_are_drawn() -> None:
    one = ground(CASE)
    near = bearing_numbers(one.network, ("seal",), [one.best.jobs])
    assert {number.path for number in near} < {number.path for number in drawn_numbers(one.network)}
    assert ("components", "seal", "life", "scale") in {number.path for number in near}
    assert not any(number.path[:2] == ("components", "battery") for number in near)
