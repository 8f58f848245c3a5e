"""Numbers as people read them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.report import chance_words, duration, money, per_cent, place_words, places_words, rounded_to_sum, tightening
from diag.report.figures import time_ago

# Mastrandrea et al. (2010), IPCC guidance note on the consistent treatment of uncertainties, table 1: the overlapping
# bands of likelihood. Here each chance has the narrowest band that holds it.
BANDS = {
    "virtually certain": (0.99, 1.0),
    "very likely": (0.90, 1.0),
    "likely": (0.66, 1.0),
    "about as likely as not": (0.33, 0.66),
    "unlikely": (0.0, 0.33),
    "very unlikely": (0.0, 0.10),
    "exceptionally unlikely": (0.0, 0.01),
}


@given(st.floats(0, 1))
def test_the_word_for_a_chance_is_one_whose_published_band_holds_it(chance: float) -> None:
    low, high = BANDS[chance_words(chance)]
    assert low - 0.005 <= chance <= high + 0.005  # to within the rounding of the per cent beside it


@pytest.mark.parametrize(
    ("chance", "word", "number"),
    [
        (1.0, "virtually certain", "over 99 %"),
        (0.995, "virtually certain", "over 99 %"),
        (0.99, "virtually certain", "99 %"),
        (0.985, "virtually certain", "99 %"),
        (0.93, "very likely", "93 %"),
        (0.8951, "very likely", "90 %"),
        (0.7, "likely", "70 %"),
        (0.5, "about as likely as not", "50 %"),
        (0.2, "unlikely", "20 %"),
        (0.05, "very unlikely", "5 %"),
        (0.0099, "exceptionally unlikely", "under 1 %"),
        (0.0, "exceptionally unlikely", "under 1 %"),
    ],
)
def test_words_and_whole_per_cent_never_disagree(chance: float, word: str, number: str) -> None:
    assert (chance_words(chance), per_cent(chance)) == (word, number)


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_likelier_thing_never_gets_a_weaker_word(one: float, other: float) -> None:
    order = list(BANDS)
    assert (one >= other) <= (order.index(chance_words(one)) <= order.index(chance_words(other)))


@pytest.mark.parametrize(
    ("amount", "currency", "said"),
    [
        (1.5, "EUR", "1.50 EUR"),
        (1.324, "KWD", "1.324 KWD"),
        (1.0004, "KWD", "1 KWD"),
        (654.8, "JPY", "655 JPY"),
        (1200.5, "XPF", "1,200 XPF"),
        (380.0, "EUR", "380 EUR"),
    ],
)
def test_a_price_has_no_smaller_unit_than_its_currency(amount: float, currency: str, said: str) -> None:
    """ISO 4217: the yen and the franc of the Pacific have none, the dinar of Kuwait has thousandths."""
    assert money(amount, currency, exact=True) == said


@given(st.lists(st.floats(-1e6, 1e6), max_size=12))
def test_rounded_parts_add_up_to_the_rounded_total_and_none_is_off_by_one(amounts: list[float]) -> None:
    rounded = rounded_to_sum(amounts)
    assert sum(rounded) == round(sum(amounts))
    assert all(abs(whole - amount) <= 1 for whole, amount in zip(rounded, amounts, strict=True))


@pytest.mark.parametrize(
    ("shown", "meant"),
    [
        (money(1240.4, "EUR"), "1,240 EUR"),
        (money(-0.2, "EUR"), "0 EUR"),
        (money(-12.0, "CZK"), "-12 CZK"),
        (money(3.4, "EUR", exact=True), "3.40 EUR"),
        (money(4.0, "EUR", exact=True), "4 EUR"),
        (duration(25), "25 min"),
        (duration(60), "1 h"),
        (duration(110), "1 h 50 min"),
        (duration(0.2), "0 min"),
        (place_words(2), "cylinder 2"),
        (place_words("B"), "bank B"),
        (place_words(None), "vehicle"),
        (places_words([1, 2, 4]), "cylinders 1, 2 and 4"),
        (places_words([3]), "cylinder 3"),
        (tightening(6, 90), "6 N·m, then 90 degrees"),
        (tightening(25, None), "25 N·m"),
        (tightening(None, 90), "maker's value ____"),
    ],
)
def test_figures_read_as_a_technician_writes_them(shown: str, meant: str) -> None:
    assert shown == meant


@pytest.mark.parametrize(
    ("months", "words"),
    [(1 / 30.4375, "1 day ago"), (0.3285, "10 days ago"), (0.689938, "3 weeks ago"), (1.1499, "5 weeks ago"),
     (4, "4 months ago"), (2.5, "2.5 months ago"), (30, "30 months ago")],
)  # fmt: skip
def test_time_is_told_in_the_unit_in_which_people_say_it(months: float, words: str) -> None:
    assert time_ago(months) == words
