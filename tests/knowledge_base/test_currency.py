"""A workshop in another currency: every amount that it leaves as it is is exchanged, and never taken over unseen."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from diag.basics import KnowledgeError
from diag.casebook import demo_cases, load_case
from diag.decision import decide_repair, reckon
from diag.knowledge_base import Knowledge, load_knowledge, walk_figures
from diag.network import build


def laid(folder: Path, text: str) -> Knowledge:
    """What ships, with an overlay of these lines."""
    path = folder / "shop.yaml"
    path.write_text(text, encoding="utf-8")
    return load_knowledge(overlays=[path])


def test_all_money_is_exchanged_and_nothing_else(tmp_path: Path) -> None:
    """The same case costs 25 times as much, in every option, and what is advised stays: money is a scale."""
    there, here = load_knowledge(), laid(tmp_path, "prices:\n  currency: CZK\n  exchange: 25\n")
    decided = []
    for known in (there, here):
        case = load_case(demo_cases()["excess_return_behind_hard_start"], known)
        decided.append(decide_repair(reckon(known, case, build(known, case))))
    before, after = decided
    assert [each.jobs for each in before.options] == [each.jobs for each in after.options]
    for one, other in zip(before.options, after.options, strict=True):
        assert other.total.currency == "CZK"
        assert other.total.amount == pytest.approx(25.0 * one.total.amount, rel=1e-9, abs=1e-6)
        assert other.cures == pytest.approx(one.cures, abs=1e-12)


@pytest.mark.parametrize(("currency", "rate", "digits"), [("JPY", 163.7, 0), ("KWD", 0.331, 3), ("CZK", 24.37, 2)])
def test_an_exchanged_amount_can_be_paid(tmp_path: Path, currency: str, rate: float, digits: int) -> None:
    """Rounded to the smallest unit (ISO 4217): four washers at 655 yen on a bill came to 2,619."""
    known = laid(tmp_path, f"prices:\n  currency: {currency}\n  exchange: {rate}\n")
    for name, part in load_knowledge().prices.parts.items():
        exchanged = known.prices.parts[name].price
        assert exchanged.value == round(part.price.value * rate, digits)
        assert exchanged.also == tuple(round(each * rate, digits) for each in part.price.also)
    assert known.prices.labour_per_hour.value == round(96 * rate, digits)


def test_amounts_of_the_overlay_are_in_its_own_currency(tmp_path: Path) -> None:
    known = laid(
        tmp_path, "prices:\n  currency: CZK\n  exchange: 25\n  labour_per_hour: 1200\n  customer: {tow: 4000}\n"
    )
    assert known.prices.labour_per_hour.value == 1200.0
    assert known.prices.customer.tow.value == 4000.0
    shipped = load_knowledge()
    assert known.prices.customer.return_visit.value == 25.0 * shipped.prices.customer.return_visit.value
    assert known.repairs["refer"].money.value == 25.0 * shipped.repairs["refer"].money.value
    assert known.prices.tax.value == shipped.prices.tax.value
    moved = {each.path[-1] for each in walk_figures(known)} - {each.path[-1] for each in walk_figures(shipped)}
    assert not moved


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "prices:\n  currency: CZK\n",
            "prices become CZK, but amounts that this overlay leaves as they are are in EUR",
        ),
        ("prices:\n  exchange: 25\n", "in another currency, and none is named"),
        ("prices:\n  currency: CZK\n  exchange: 0\n", "the exchange is a number above 0"),
        ("prices:\n  currency: CZK\n  exchange: much\n", "the exchange is a number above 0, and not 'much'"),
    ],
)
def test_a_currency_without_its_exchange_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(KnowledgeError, match=said) as raised:
        laid(tmp_path, text)
    assert raised.value.problems[0].line > 0


def test_an_overlay_of_several_files_is_in_one_currency(tmp_path: Path) -> None:
    """What a file says that comes before the prices by its name is not exchanged as if it had shipped."""
    (tmp_path / "checks.yaml").write_text(
        "checks:\n  clear_hose: {risks: [{name: burst, chance: {always: 1 %}, money: 500}]}\n"
    )
    (tmp_path / "prices.yaml").write_text("prices: {currency: CZK, exchange: 25}\n")
    known = load_knowledge(overlays=[tmp_path])
    assert known.checks["clear_hose"].risks[0].money.value == 500.0
    shipped = load_knowledge().checks["compression_test"].risks[0].money.value
    assert known.checks["compression_test"].risks[0].money.value == 25.0 * shipped


def test_what_is_called_as_an_amount_is_called_is_exchanged_within(tmp_path: Path) -> None:
    """A part or repair with the id 'tow' holds amounts and is none; parts are counted, and no counts are exchanged."""
    shop = tmp_path / "shop.yaml"
    shop.write_text(
        "prices: {parts: {tow: {name: tow rope, price: 10}}}\n"
        "repairs:\n  refer: {parts: {tow: 2}}\n"
        "  tow: {name: tow it away, plain: tow, on: vehicle, kind: way out, minutes: 5, money: 80}\n"
    )
    money = tmp_path / "money.yaml"
    money.write_text("prices: {currency: CZK, exchange: 25}\n")
    known = load_knowledge(overlays=[shop, money])
    assert known.prices.parts["tow"].price.value == 250.0
    assert known.repairs["tow"].money.value == 2000.0
    assert known.repairs["refer"].parts["tow"] == 2


HUGE = """
prices: {labour_per_hour: 1e12, parts: {washer: {price: 1e12}}, customer: {tow: 1e12, driven_on_months: 1e12}}
engines: {ostrel_4: {awkward_minutes: {2: 1e12}}}
repairs: {reseal: {minutes: 1e12}}
"""


def test_amounts_as_large_as_may_be_are_reckoned_with_and_larger_ones_refused(tmp_path: Path) -> None:
    known = laid(tmp_path, HUGE)
    case = load_case(demo_cases()["one_blown_seal"], known)
    decided = decide_repair(reckon(known, case, build(known, case)))
    assert all(math.isfinite(each.total.amount) for each in decided.options)
    for text in ("prices: {labour_per_hour: 1e300}", "engines: {ostrel_4: {awkward_minutes: {2: 1e300}}}"):
        with pytest.raises(KnowledgeError, match="1e\\+12"):
            laid(tmp_path, text)
