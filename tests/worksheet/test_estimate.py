"""The estimate adds up to the money that the decision shows; its range follows from what can go wrong."""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from diag.casebook import demo_cases, load_case
from diag.decision import Job, Tariff, advise_on, decide_repair, reckon, spreads_of, with_first_tested
from diag.knowledge_base import load_knowledge, load_language, shipped_folder
from diag.network import weigh
from diag.report import (
    CSV_COLUMNS,
    EstimateSheet,
    customer_page,
    estimate_blocks,
    estimate_csv,
    estimate_html,
    estimate_pdf,
    estimate_sheet,
    render,
    repair_sheet,
    weigh_sheet,
)
from diag.worksheet import Chosen, Estimate, as_estimated, chosen_by_hand, estimate, tax_on
from diag.worksheet.estimate import _chances, _Event, _rounded, spread_of
from tests.support.effort import effort
from tests.support.pages import text_of
from tests.worksheet.demo import CASES, as_chosen, decided
from tests.worksheet.plans import KNOWLEDGE, all_jobs, chosen


def made(name: str, what: Chosen) -> tuple[Estimate, EstimateSheet]:
    case, ready, _ = decided(name)
    found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, what)
    return found, estimate_sheet(KNOWLEDGE, case, found)


def exact(amount: float) -> Decimal:
    return Decimal(repr(amount))


@pytest.mark.parametrize("name", CASES)
def test_the_lines_of_every_option_add_up_exactly_to_its_invoice(name: str) -> None:
    """Line by line to the cent; and unrounded to what the decision reckoned for itself, all its options included."""
    for option in decided(name)[2].options:
        found, sheet = made(name, as_chosen(option))
        assert found.exact == pytest.approx(option.invoice.amount, abs=1e-9)
        assert abs(sheet.net - option.invoice.amount) <= 0.005 + 1e-9
        assert sum(exact(row.amount) for row in (*sheet.lines, *sheet.risks)) == exact(sheet.net)
        assert exact(sheet.net) + exact(sheet.tax) == exact(sheet.total)
        assert found.net.currency == option.invoice.currency == sheet.currency
        assert abs(sheet.total - (option.invoice.amount + option.invoice_tax.amount)) <= 0.015


@given(st.sampled_from(CASES), st.data())
@effort(40)
def test_the_lines_of_any_work_by_hand_add_up_too(name: str, data: st.DataObject) -> None:
    case = decided(name)[0]
    jobs = data.draw(st.lists(st.sampled_from(all_jobs(case.engine_id)), min_size=1, max_size=10, unique=True))
    found, sheet = made(name, chosen(case.engine, *jobs))
    assert sum(exact(row.amount) for row in (*sheet.lines, *sheet.risks)) == exact(sheet.net)
    assert abs(found.exact - sheet.net) <= 0.005 + 1e-9
    assert sheet.least <= sheet.net + 0.005
    assert sheet.least <= sheet.bad_luck
    assert 0.0 <= sheet.p_least <= 1.0 + 1e-12


@given(st.lists(st.floats(0, 5000), max_size=20), st.sampled_from([0, 2, 3]))
@effort(200)
def test_rounding_adds_up_and_moves_no_line_by_a_whole_unit(amounts: list[float], digits: int) -> None:
    unit = 10.0**-digits
    rounded = _rounded(amounts, digits)
    assert abs(sum(rounded) - sum(amounts)) <= unit / 2 + 1e-6
    assert all(abs(whole - amount) < unit + 1e-6 for whole, amount in zip(rounded, amounts, strict=True))
    assert all(round(whole / unit) == pytest.approx(whole / unit, abs=1e-6) for whole in rounded)


def test_a_price_in_whole_units_is_not_moved_by_rounding() -> None:
    assert _rounded([7.1, 0.29, 3.0, 33.3333], 2) == [7.1, 0.29, 3.0, 33.33]


def test_shared_access_is_charged_once_and_what_is_open_not_at_all() -> None:
    """Three seals of one bank: one line of dismantling; bank B's covers are open in this case."""
    case, ready, _ = decided("second_seal_weeping")
    tariff = ready.bound.tariff
    found, sheet = made("second_seal_weeping", chosen(case.engine, *(Job("reseal", n) for n in (4, 5, 6))))
    access = [row for row in sheet.lines if row.kind == "access"]
    assert [row.item for row in access] == ["injectors"]
    assert access[0].quantity == case.engine.access_minutes["injectors"]["B"]
    assert found.lines[0].amount.amount == pytest.approx(tariff.labour(access[0].quantity))


def test_awkward_minutes_and_parts_are_counted() -> None:
    """Cylinder 6 of the V6 takes 25 minutes more: 3 x 40 + 25; three of each part."""
    case = decided("second_seal_weeping")[0]
    sheet = made("second_seal_weeping", chosen(case.engine, *(Job("reseal", n) for n in (4, 5, 6))))[1]
    assert next(row.quantity for row in sheet.lines if row.kind == "labour") == 3 * 40 + 25
    assert {row.item: row.quantity for row in sheet.lines if row.kind == "parts"} == {
        "washer": 3,
        "o_ring": 3,
        "clamp_bolt": 3,
        "return_seal": 3,
    }


def test_an_exchange_between_two_cylinders_is_charged_once() -> None:
    """By hand: 75 min at 96 an hour is 120, its parts once, its outside charge of 30 once; access of the one bank."""
    case, ready, decision = decided("one_blown_seal")
    swap = KNOWLEDGE.repairs["swap_injectors"]
    dearer = swap.model_copy(update={"money": swap.money.model_copy(update={"value": 30.0})})
    knowledge = KNOWLEDGE.model_copy(update={"repairs": {**KNOWLEDGE.repairs, "swap_injectors": dearer}})
    tariff = Tariff(knowledge, case.engine)
    jobs = (Job("swap_injectors", 2), Job("reseal", 3), Job("reseal", 2), Job("swap_injectors", 3))
    plan = chosen_by_hand(decision, tariff, jobs)
    assert plan.jobs == (Job("swap_injectors", 2), Job("swap_injectors", 3))
    found = estimate(tariff, case, ready.network, ready.posterior, plan)
    amounts = {(line.kind, line.item): line.amount.amount for line in found.lines}
    assert amounts.pop(("labour", "swap_injectors")) == 75 / 60 * 96
    assert amounts.pop(("charges", "swap_injectors")) == 30
    assert {item: amount for (kind, item), amount in amounts.items() if kind == "parts"} == {
        part: count * KNOWLEDGE.prices.parts[part].price.value for part, count in swap.parts.items()
    }


def test_a_risk_of_two_works_at_one_cylinder_names_it_once() -> None:
    """A new injector at 2 and its exchange with 3: either may be stuck, so twice the chance, but one cylinder 2."""
    case, ready, decision = decided("one_blown_seal")
    tariff = Tariff(KNOWLEDGE, case.engine)
    jobs = (Job("replace_injector", 2), Job("swap_injectors", 2), Job("swap_injectors", 3))
    found = estimate(tariff, case, ready.network, ready.posterior, chosen_by_hand(decision, tariff, jobs))
    assert any(set(line.places) == {2, 3} for line in found.risks)
    assert all(len(set(line.places)) == len(line.places) for line in found.risks)


@pytest.mark.parametrize("name", CASES)
def test_the_spread_has_the_average_of_the_lines(name: str) -> None:
    """The mean of the distribution behind the range is the money of the 'in case' lines; its chances sum to 1."""
    _, ready, decision = decided(name)
    for option in decision.options:
        events = events_of(ready, option.jobs)
        spread = spread_of(events)
        assert sum(spread.values()) == pytest.approx(1.0, abs=1e-9)
        mean = sum(money * chance for money, chance in spread.items())
        assert mean == pytest.approx(option.breakdown.complications if option.jobs else 0.0, abs=1e-6)


@pytest.mark.parametrize("name", ["one_blown_seal", "second_seal_weeping"])
def test_what_may_go_wrong_and_costs_nothing_leaves_the_range_as_it_is(name: str, tmp_path: Path) -> None:
    """Where labour is not charged, a stuck injector costs the customer nothing. Chances were lost, so that nine of
    ten invoices of 51.76 on average came to 1,390, which Markov's inequality forbids: at least one in ten is dearer
    than what nine in ten do not exceed, or as dear, so it is at most ten times the mean."""
    overlay = tmp_path / "labour.yaml"
    overlay.write_text("basis: {source: learned, strength: 40}\nprices: {labour_per_hour: 0}\n")
    knowledge = load_knowledge(None, (overlay,))
    case = load_case(demo_cases()[name], knowledge)
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    for option in decide_repair(ready).options:
        events = events_of(ready, option.jobs)
        assert sum(spread_of(events).values()) == pytest.approx(1.0, abs=1e-9)
        found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(option))
        assert found.range.bad_luck.amount <= 10 * found.net.amount
        costly = [event for event in events if event.money]
        assert found.range.p_least >= 1.0 - sum(event.chance for event in costly) - 1e-9


def events_of(ready, jobs):  # type: ignore[no-untyped-def]
    tariff = ready.bound.tariff
    return [
        _Event(risk, job.place, _chances(tariff, ready.network, ready.posterior, risk, job), tariff.risk_money(risk))
        for job in jobs
        for risk in KNOWLEDGE.repairs[job.repair].risks
    ]


def test_the_range_is_what_simulated_jobs_cost() -> None:
    """20,000 jobs played out with dice: severity of the cylinder first, then each risk at it."""
    _, ready, decision = decided("second_seal_weeping")
    option = decision.best
    found, _ = made("second_seal_weeping", as_chosen(option))
    dice = np.random.default_rng(20260711)
    events = events_of(ready, option.jobs)
    total = np.zeros(20_000)
    levels = {}
    for event in events:
        key = (event.risk.by, event.place)
        if key not in levels:
            shares = np.array([share for share, _ in event.chances])
            levels[key] = dice.choice(len(shares), size=total.shape, p=shares / shares.sum())
        chance = np.array([here for _, here in event.chances])[levels[key]]
        total += event.money * (dice.random(total.shape) < chance)
    least, bad = found.range.least.amount, found.range.bad_luck.amount
    assert np.mean(total == 0) == pytest.approx(found.range.p_least, abs=0.015)
    assert np.mean(least + total <= bad + 1e-6) >= 0.9 - 0.01
    assert np.mean(least + total < bad - 1e-6) <= 0.9 + 0.01


def test_a_worse_blow_by_makes_the_stuck_injector_likelier() -> None:
    """A tarred well holds the injector (trade figures, elicited: 3-10 % clean, 25-50 % tarred)."""
    blown = made("one_blown_seal", chosen(decided("one_blown_seal")[0].engine, Job("reseal", 2)))[1]
    sound = made("one_blown_seal", chosen(decided("one_blown_seal")[0].engine, Job("reseal", 4)))[1]
    stuck = [next(risk for risk in sheet.risks if "stuck" in risk.text) for sheet in (blown, sound)]
    assert stuck[0].chance > 0.2 > stuck[1].chance


@pytest.mark.parametrize("name", CASES)
def test_the_csv_holds_the_lines_and_its_rows_add_up(name: str) -> None:
    """Read back by the csv module of the standard library (RFC 4180)."""
    sheet = made(name, as_chosen(decided(name)[2].best))[1]
    text = estimate_csv(sheet)
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(rows[0]) == CSV_COLUMNS
    by_kind = {row["kind"]: Decimal(row["amount"]) for row in rows[-3:]}
    lines = [Decimal(row["amount"]) for row in rows[:-3]]
    assert sum(lines) == by_kind["net"] == exact(sheet.net)
    assert by_kind["net"] + by_kind["tax"] == by_kind["total"]
    assert {row["currency"] for row in rows} == {sheet.currency}
    for row in rows[:-3]:
        of = Decimal(60) if row["price_of"] == "60 min" else Decimal(1)
        expected = Decimal(row["quantity"]) * Decimal(row["price"]) / of
        assert abs(expected - Decimal(row["amount"])) <= Decimal("0.02") + Decimal(row["price"]) * Decimal("1e-5")


@pytest.mark.parametrize("width", [60, 100])
@pytest.mark.parametrize("name", CASES)
def test_the_page_of_every_case_shows_lines_that_add_up(name: str, width: int) -> None:
    sheet = made(name, as_chosen(decided(name)[2].best))[1]
    page = render(estimate_blocks(sheet), width)
    assert max(len(line) for line in page.splitlines()) <= width
    words = " ".join(page.split())
    if sheet.lines:
        assert f"{sheet.net:,.2f} {sheet.currency}" in words
        assert f"with tax: {sheet.total:,.2f} {sheet.currency}" in words
        assert "An estimate, not a quote." in words
        assert "invented" in words
    else:
        assert "nothing is charged" in words


def test_money_of_a_currency_without_cents_is_printed_without() -> None:
    """ISO 4217: the yen has no smaller unit, the dinar of Kuwait three decimals."""
    case, ready, decision = decided("one_blown_seal")
    for currency, digits in (("JPY", 0), ("KWD", 3)):
        prices = KNOWLEDGE.prices.model_copy(update={"currency": currency})
        tariff = Tariff(KNOWLEDGE.model_copy(update={"prices": prices}), case.engine)
        found = estimate(tariff, case, ready.network, ready.posterior, as_chosen(decision.best))
        assert found.digits == digits
        assert round(found.net.amount, digits) == found.net.amount
        assert found.net.currency == currency


@pytest.mark.parametrize(("currency", "exchange", "tax"), [("JPY", 163.7, 0.1), ("KWD", 0.331, 0.05), ("EUR", 1, 0.19)])
@pytest.mark.parametrize("name", ["all_returns_high", "one_blown_seal", "resealed_and_back_again"])
def test_a_price_with_tax_is_that_of_the_estimate_to_its_smallest_unit(
    name: str, currency: str, exchange: float, tax: float, tmp_path: Path
) -> None:
    """Options, customer's page and estimate round alike: the net to the smallest unit, then the tax on it. The total of
    an option and its tax unrounded was 170,706.36 yen beside an estimate of 170,707."""
    told = (
        f"tax: {100 * tax:g} %"
        if exchange == 1
        else f"currency: {currency}, exchange: {exchange}, tax: {100 * tax:g} %"
    )
    overlay = tmp_path / "prices.yaml"
    overlay.write_text(f"basis: {{source: learned, strength: 40}}\nprices: {{{told}}}\n")
    knowledge = load_knowledge(None, (overlay,))
    case = load_case(demo_cases()[name], knowledge)
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    advice = advise_on(ready)
    shown = [option for option in advice.repair.options if not option.barred]
    spreads = as_estimated(ready, case, advice.repair, spreads_of(ready, advice.repair, 100))
    prices = {}
    for one, other in pairwise(shown):
        wanted = (one.name, other.name)
        of = customer_page(knowledge, case, load_language(), weigh_sheet(weighed), advice, wanted, spreads)
        prices |= {option.option: (option.price, option.price_high) for option in of.options}
    for option in shown:
        found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(option))
        high = found.range.bad_luck.amount
        taxed = exact(high) + exact(tax_on(high, tax, found.digits))
        assert prices[option.name.replace(" ", "_")] == (found.total.amount, float(taxed)), option.title
    best = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(advice.repair.best))
    assert repair_sheet(knowledge, case, advice.repair).plan.invoice_with_tax == best.total.amount


@pytest.mark.parametrize(
    ("amount", "rate", "digits", "tax"),
    [
        (2.50, 0.19, 2, 0.48),  # 0.475
        (166.50, 0.19, 2, 31.64),  # 31.635
        (1.14, 0.25, 2, 0.29),  # 0.285
        (118.50, 0.07, 2, 8.30),  # 8.295
        (25.00, 0.081, 2, 2.03),  # 2.025
        (290.10, 0.2, 2, 58.02),
        (305.0, 0.1, 0, 31.0),  # 30.5 yen
        (0.005, 0.1, 3, 0.001),
        (0.0, 0.19, 2, 0.0),
    ],
)
def test_half_a_smallest_unit_of_tax_is_rounded_up_as_by_hand(
    amount: float, rate: float, digits: int, tax: float
) -> None:
    assert tax_on(amount, rate, digits) == tax


def test_the_tax_of_an_estimate_is_what_a_customer_reckons() -> None:
    """50 minutes at some rates, written out by hand, halves up: 67.50 at 19 % is 12.825, 82.50 at 21 % is 17.325."""
    case, ready, decision = decided("new_injector_not_coded")
    prices = KNOWLEDGE.prices
    for labour, rate, tax in ((81, "0.19", "12.83"), (99, "0.21", "17.33"), (75, "0.05", "3.13")):
        changed = prices.model_copy(
            update={
                "labour_per_hour": prices.labour_per_hour.model_copy(update={"value": labour}),
                "tax": prices.tax.model_copy(update={"value": float(rate)}),
            }
        )
        tariff = Tariff(KNOWLEDGE.model_copy(update={"prices": changed}), case.engine)
        found = estimate(tariff, case, ready.network, ready.posterior, as_chosen(decision.best))
        assert exact(found.tax.amount) == Decimal(tax)
        assert exact(found.net.amount) + exact(found.tax.amount) == exact(found.total.amount)


@pytest.mark.parametrize("name", ["one_blown_seal", "second_seal_weeping", "new_injector_not_coded"])
def test_the_estimate_and_the_spread_of_the_decision_obey_the_same_laws(name: str) -> None:
    """Nine in ten invoices: drawn with the cylinders as dependent as they are believed to be, against the estimate,
    which takes them as independent; the same mean and the same least, and ends that differ by little."""
    _, ready, decision = decided(name)
    spreads = spreads_of(ready, decision, 4_000)
    for option in decision.options:
        found, spread = made(name, as_chosen(option))[0], spreads[option.name]
        assert spread.invoice.mean == pytest.approx(found.exact, abs=4.5 * spread.invoice.mean_error + 0.5), (
            option.title
        )
        assert spread.invoice.low >= found.range.least.amount - 0.01
        step = max((risk.each.amount for risk in found.risks), default=0.0)
        assert abs(spread.invoice.high - found.range.bad_luck.amount) <= min(
            0.08 * found.range.bad_luck.amount + 4.5 * spread.invoice.high_error, step + 0.01
        ), option.title


@pytest.mark.parametrize("name", ["resealed_and_back_again", "all_returns_high", "second_seal_weeping"])
def test_nine_in_ten_is_one_number_on_every_paper_of_a_case(name: str) -> None:
    """Where the chance up to an amount is close to nine in ten, drawn invoices may end a whole risk away from it: what
    stands beside the options is what their estimates say, and nothing else of the spread is touched."""
    case, ready, decision = decided(name)
    drawn = spreads_of(ready, decision)
    shown = as_estimated(ready, case, decision, drawn)
    assert shown.keys() == drawn.keys()
    for option in decision.options:
        bad_luck = made(name, as_chosen(option))[0].range.bad_luck.amount
        was, now = drawn[option.name], shown[option.name]
        assert now.invoice.high == bad_luck, option.title
        assert replace(now, invoice=replace(now.invoice, high=was.invoice.high)) == was
    assert any(shown[each.name].invoice.high != drawn[each.name].invoice.high for each in decision.options)


@pytest.mark.parametrize("name", ["one_blown_seal", "second_seal_weeping"])
def test_the_estimate_in_another_language_has_the_same_money_and_no_english_left(name: str) -> None:
    """Over every repair that there is, on an engine in line and on one in V: line by line the same amounts, with the
    language's own signs; nothing is called as the knowledge calls it."""
    german, (case, ready, _) = load_language("de"), decided(name)
    english = {each.name for each in (*KNOWLEDGE.prices.parts.values(), *KNOWLEDGE.vocabulary.access.values())}
    english |= {each.name for each in KNOWLEDGE.repairs.values()}
    english |= {risk.name for each in KNOWLEDGE.repairs.values() for risk in each.risks}
    for job in all_jobs(case.engine_id):
        plan = chosen(case.engine, job)
        found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, plan)
        own, other = estimate_sheet(KNOWLEDGE, case, found), estimate_sheet(KNOWLEDGE, case, found, german)
        for one, two in zip((*own.lines, *own.risks), (*other.lines, *other.risks), strict=True):
            assert one.amount == two.amount
            assert one.text != two.text and not any(each in two.text for each in english), two.text
        text = " ".join(render(estimate_blocks(other, german), 100).split())
        assert not other.lines or f"{other.total:,.2f}".translate(str.maketrans(",.", ".,")) in text
        assert not re.search(r"in case|cylinder|[Ee]stimate|an hour|with tax", text.replace(case.title, "")), text


@pytest.mark.parametrize("language", ["en", "de"])
def test_an_estimate_of_a_test_says_that_what_follows_comes_on_top(language: str) -> None:
    """Injectors to the bench first: the options have the invoice with what is then done, 686 beside 241 EUR."""
    words = load_language(language)
    case, ready, decision = decided("excess_return_behind_hard_start")
    tested = next(each for each in with_first_tested(ready, decision).options if each.title.endswith("then decide"))
    found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(tested))
    sheet = estimate_sheet(KNOWLEDGE, case, found, words)
    assert sheet.with_next == round(tested.invoice.amount, 2) > sheet.net + 100
    taxed = exact(sheet.with_next) + exact(tax_on(sheet.with_next, sheet.tax_rate, 2))
    shown = {f"{amount:.2f}".replace(".", words.numbers.decimal) for amount in (sheet.with_next, taxed)}
    html, paper = estimate_html(sheet, words), text_of(estimate_pdf(sheet, words))
    for text in (html, paper, render(estimate_blocks(sheet, words), 100)):
        assert all(f"{each} EUR" in " ".join(text.split()) for each in shown)
    assert all(
        made("one_blown_seal", as_chosen(each))[1].with_next is None for each in decided("one_blown_seal")[2].options
    )


def test_an_english_language_file_of_ones_own_is_used_for_the_estimate_too(tmp_path: Path) -> None:
    """The customer's page spoke by it and the estimate by the one that ships."""
    shipped = (shipped_folder() / "languages" / "en.yaml").read_text(encoding="utf-8")
    path = tmp_path / "own.yaml"
    path.write_text(shipped.replace('title: "Estimate: {title}"', 'title: "Our offer: {title}"'), encoding="utf-8")
    sheet = made("one_blown_seal", as_chosen(decided("one_blown_seal")[2].best))[1]
    assert "Our offer: reseal the injector" in render(estimate_blocks(sheet, load_language(str(path))), 100)
    assert "Estimate: reseal the injector" in render(estimate_blocks(sheet, load_language()), 100)


def test_doing_nothing_has_a_title_in_another_language() -> None:
    german = load_language("de")
    case, ready, decision = decided("one_blown_seal")
    nothing = next(option for option in decision.options if not option.jobs)
    found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(nothing))
    page = render(estimate_blocks(estimate_sheet(KNOWLEDGE, case, found, german), german), 100)
    assert "Kostenvoranschlag: Jetzt nichts tun\nJetzt wird nichts getan; es kostet nichts." in page


def test_the_estimate_in_another_language_is_one_on_screen_and_paper() -> None:
    """Text, HTML and PDF say the same total, and the HTML says in which language it is."""
    german = load_language("de")
    case, ready, decision = decided("one_blown_seal")
    found = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(decision.best))
    sheet = estimate_sheet(KNOWLEDGE, case, found, german)
    html, paper = estimate_html(sheet, german), text_of(estimate_pdf(sheet, german))
    assert '<html lang="de" dir="ltr">' in html
    for text in (html, paper, render(estimate_blocks(sheet, german), 100)):
        assert "348,12 EUR" in text
        assert "Neuer Ring unter der Düse, Zylinder 2" in text
    rows = list(csv.DictReader(io.StringIO(estimate_csv(sheet, german))))
    assert [row["kind"] for row in rows][-3:] == ["net", "tax", "total"]
    assert rows[-1]["amount"] == "348.12" and rows[-1]["text"] == "mit Steuer"
