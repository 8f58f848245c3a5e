"""Numbers of the knowledge in words, and which of them are drawn."""

from __future__ import annotations

from diag.doubt import bearing_numbers, drawn_numbers
from diag.knowledge_base import walk_figures
from diag.report import number_words, value_words
from tests.doubt.grounds import ground, knowledge

CASE = "one_blown_seal"


def test_every_number_that_is_drawn_has_words_and_a_value_with_its_unit() -> None:
    for name in (CASE, "injector_stuck_open"):
        for number in drawn_numbers(ground(name).network):
            words = number_words(knowledge(), number.path)
            assert words and "." not in words.replace("..", ""), number.path
            assert value_words(knowledge(), number, number.value), number.path


def test_words_name_the_thing_and_the_unit() -> None:
    numbers = {number.path: number for number in drawn_numbers(ground(CASE).network)}
    expected = {
        ("components", "clamp", "chance", "loose"): ("how common it is: clamp and bolt loose", "0.072 %"),
        ("components", "seal", "life", "scale"): ("how long most last: combustion seal", "600,000 km"),
        ("prices", "labour_per_hour"): ("labour rate for an hour", "96 EUR"),
        ("prices", "customer", "horizon_months"): ("months that the vehicle is kept", "36 months"),
        ("prices", "parts", "injector", "price"): ("price of 'injector, new'", "380 EUR"),
    }
    for path, (words, value) in expected.items():
        assert number_words(knowledge(), path) == words
        assert value_words(knowledge(), numbers[path], numbers[path].value) == value


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


def test_the_numbers_nearest_to_a_decision_are_a_part_of_those_that_are_drawn() -> None:
    one = ground(CASE)
    near = bearing_numbers(one.network, ("seal",), [one.best.jobs])
    assert {number.path for number in near} < {number.path for number in drawn_numbers(one.network)}
    assert ("components", "seal", "life", "scale") in {number.path for number in near}
    assert not any(number.path[:2] == ("components", "battery") for number in near)
