"""What the customer's page says: held against the technician's sheets, and free of jargon and bare numbers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diag.basics import UsageError
from diag.casebook import demo_cases, load_case
from diag.casebook.dangers import DangerTold
from diag.decision import Danger, PlanOption, advise_on, reckon
from diag.knowledge_base import load_knowledge, load_language
from diag.network import weigh
from diag.report import CustomerPage, customer_page, weigh_sheet
from diag.report.customer import Speaker
from diag.report.customer.reasons import safety_lines
from diag.report.figures import per_cent
from tests.report.customer.demo_pages import CASES, LANGUAGES, everything, judged, page, sentences, shipped
from tests.support.cases import MANY_SYMPTOMS
from tests.support.reading import english_syllables, flesch_kincaid, flesch_kincaid_grade, vienna_grade

IPCC = (  # Mastrandrea et al. (2010), table 1: likelihood scale; bounds in per cent, overlapping there
    ("virtually certain", 99, 100),
    ("very likely", 90, 100),
    ("likely", 66, 100),
    ("about as likely as not", 33, 66),
    ("unlikely", 0, 33),
    ("very unlikely", 0, 10),
    ("exceptionally unlikely", 0, 1),
)
JARGON = {
    "en": "posterior prior evidence likelihood probability severity weeping blow-by blowby chuff tar trim ECU EGR "
    "torque rail metering correction return-flow union plate decibel Weibull expected variance hypothesis diagnostic "
    "solenoid piezo loom cranking contribution ingress come-back combustion invoice mg",
    "de": "Posterior Evidenz Schweregrad Mengenkorrektur Rücklaufmenge Raildruck Steuergerät Injektor AGR Drehmoment "
    "Erwartungswert Weibull Varianz Hypothese Magnetventil Piezo Kabelbaum Diagnose Leckölmenge Kompression mg bar",
}
GRADE = 8.0


def both(test: object) -> object:
    return pytest.mark.parametrize("name", CASES)(pytest.mark.parametrize("language", LANGUAGES)(test))


def by_id(name: str) -> dict[str, PlanOption]:
    return {option.name.replace(" ", "_"): option for option in judged(name)[2].repair.options}


@both
def test_every_chance_has_its_word_and_the_word_fits_the_published_scale(name: str, language: str) -> None:
    """No per cent without a word before it, and each printed per cent lies in the band of its word."""
    scale = load_language(language).scale
    band = dict(zip(scale, [(least, most) for _, least, most in IPCC], strict=True))
    words = "|".join(sorted(scale, key=len, reverse=True))
    for line in everything(page(name, language)):
        plain = line.replace("\u00a0", " ")
        said = re.findall(rf"({words}) \((under |over |unter |über )?(\d+) %(?:; [^)]*)?\)", plain, re.IGNORECASE)
        assert len(said) == plain.count("%"), plain
        for word, _, number in said:
            least, most = band[next(each for each in scale if each.lower() == word.lower())]
            assert least <= int(number) <= most, plain


@both
def test_nothing_on_the_page_is_jargon(name: str, language: str) -> None:
    found = {word.lower() for line in everything(page(name, language)) for word in re.findall(r"[\w-]+", line)}
    assert found.isdisjoint(word.lower() for word in JARGON[language].split())
    assert not any("_" in word.strip("_") for word in found), "an id got through"


@pytest.mark.parametrize("name", CASES)
def test_the_english_page_is_read_at_twelve(name: str) -> None:
    """Flesch-Kincaid grade 8 or lower (Kincaid et al. 1975), of the running text, the case's own title left out."""
    assert flesch_kincaid_grade(sentences(page(name))) <= GRADE


@pytest.mark.parametrize("name", CASES)
def test_the_german_page_is_as_easy(name: str) -> None:
    """First Wiener Sachtextformel (Bamberger & Vanecek 1984), in school years; twelve-year-olds are in the sixth."""
    assert vienna_grade(sentences(page(name, "de"))) <= 6.0


def test_the_grade_agrees_with_a_worked_example() -> None:
    """The Australian platypus, an example in wide use: 13 words, 24 syllables, grade 11.3 (from memory)."""
    assert flesch_kincaid(1, 13, 24) == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize(
    ("word", "syllables"),
    [
        ("seal", 1), ("injector", 3), ("likely", 2), ("exceptionally", 5), ("engine", 2), ("cylinder", 3),
        ("leaked", 1),
        ("pressure", 2), ("counted", 2), ("certain", 2), ("option", 2), ("higher", 2), ("pipes", 1), ("valve", 1),
    ],
)  # fmt: skip
def test_syllables_are_counted_as_a_dictionary_has_them(word: str, syllables: int) -> None:
    assert english_syllables(word) == syllables


@pytest.mark.parametrize("name", CASES)
def test_options_carry_the_numbers_of_the_decision(name: str) -> None:
    """Price with tax, cure and come-back are those of the plans, and words and numbers say the same."""
    tax = 1 + shipped().prices.tax.value
    of = page(name)
    assert 2 <= len(of.options) <= 3
    assert of.options[0].advised and not any(option.advised for option in of.options[1:])
    for index, option in enumerate(of.options):
        plan = by_id(name)[option.option]
        assert option.price == pytest.approx(plan.invoice.amount * tax, abs=0.011)
        assert (option.cures, option.again_12, option.again_24) == (plan.cures, plan.again[12], plan.again[24])
        assert not plan.barred
        cell = " ".join(line for row in of.rows for line in row.cells[index]).replace("\u00a0", " ")
        assert (f"about {option.price:,.0f} EUR" if option.price else "nothing now") in cell
        if any(shipped().repairs[job.repair].kind == "mend" for job in plan.jobs):
            spread = judged(name)[3][plan.name]
            assert option.cures_complaint == spread.cures_complaint
            assert option.price_high == pytest.approx(spread.invoice.high * tax, abs=0.011)
            assert f"({per_cent(spread.cures_complaint)})" in cell and f"({per_cent(plan.again[24])})" in cell


@pytest.mark.parametrize("name", CASES)
def test_the_advice_is_the_advice_of_the_decision(name: str) -> None:
    advice = judged(name)[2]
    text = " ".join(page(name).advice.lines)
    assert ("First one more check" in text) == (not advice.stop)
    assert by_id(name)[page(name).options[0].option].best
    assert f"about {advice.repair.best.total.amount:,.0f}\u00a0EUR" in text


@both
def test_danger_is_told_first_and_leaving_it_is_then_no_option(name: str, language: str) -> None:
    of, danger = page(name, language), judged(name)[2].repair.danger
    assert bool(of.safety.lines) == danger.present
    if danger.present:
        assert {"nothing"}.isdisjoint(option.option for option in of.options)
        assert load_language(language).phrases["nothing_danger"] in of.nothing.lines


def test_a_car_that_may_be_left_parked_is_not_said_to_be_unsafe_to_leave() -> None:
    """'Leave it parked' stands among the options: what is not offered is driving on."""
    of = page("injector_stuck_open")
    assert "stop_driving" in [option.option for option in of.options]
    assert "Leave it parked" in " ".join(line for row in of.rows for cell in row.cells for line in cell)
    assert "drive" in of.nothing.lines[0] and "leave" not in of.nothing.lines[0]


def test_exhaust_in_the_cabin_says_do_not_drive() -> None:
    """A car with exhaust smell in the cabin is not driven with people in it until it is mended (HSE, OSHA limits)."""
    assert page("second_seal_weeping").safety.lines[0].startswith("Do not drive.")
    assert "Gift" in page("second_seal_weeping", "de").safety.lines[0]


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_vehicle_that_does_not_start_is_not_told_that_one_day_it_may_not(language: str) -> None:
    """What comes of a fault that keeps an engine from starting is true of one that does not start already."""
    words = load_language(language)
    for component in ("supply", "air_ingress", "cranking"):
        assert not re.search(r"[Oo]ne day|Eines Tages", words.components[component].left)
    assert words.components["air_ingress"].left in page("no_start_from_air", language).nothing.lines


def test_judged_numbers_say_so() -> None:
    of = page("one_blown_seal")
    said = r"Likely \(\d\d\u00a0%; judged, not counted\), cylinder\u00a02: The small copper seal"
    assert re.match(said, of.wrong.lines[0])
    assert any(line.startswith("'Judged, not counted' means") for line in of.wrong.lines)


def test_options_can_be_chosen() -> None:
    of = page("one_blown_seal", "en", ("nothing", "best"))
    assert [option.advised for option in of.options] == [True, False]
    assert [option.option for option in of.options][1] == "nothing"


@pytest.mark.parametrize(
    ("name", "options", "said"),
    [
        ("one_blown_seal", ("best", "all_seal"), "did you mean 'all_seals'"),
        ("one_blown_seal", ("best",), "two or three"),
        ("one_blown_seal", ("best", "nothing", "all_seals", "code"), "two or three"),
        ("second_seal_weeping", ("best", "nothing"), "is barred and is not offered: "),
    ],
)
def test_options_that_cannot_be_offered(name: str, options: tuple[str, ...], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        page(name, "en", options)


def test_where_the_advice_is_not_shown_nothing_is_said_of_it() -> None:
    """All seals beside nothing: the trouble on the way is that of all seals, with tax, and not of the one seal."""
    of = page("one_blown_seal", "en", ("nothing", "all_seals"))
    assert not of.advice.lines
    trouble = by_id("one_blown_seal")["all_seals"].breakdown.complications * 1.2
    assert any(f"about {trouble:,.0f}\u00a0EUR of the price is for this" in line for line in of.unknown.lines)
    for name in CASES:
        shown = [key for key, each in by_id(name).items() if not each.barred and not each.best][:2]
        if len(shown) == 2:
            lines = page(name, "en", tuple(shown)).advice.lines
            assert all(line.startswith(("First one more check", "It comes first")) for line in lines)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_danger_of_ones_own_is_not_left_out_beside_one_that_the_language_knows(language: str) -> None:
    """An overlay may add a caution for which no language has words: the general warning stands for it."""
    words = load_language(language).dangers
    speaker = Speaker(load_language(language), shipped())
    told = (DangerTold("smell_in_cabin", "present"),)
    for cautions, said in {
        ("cabin_gas",): ("cabin_gas",),
        ("cabin_gas", "own"): ("cabin_gas", "other"),
        ("own", "another"): ("other",),
        (): ("other",),
    }.items():
        assert safety_lines(speaker, Danger(told, cautions, ())) == tuple(words[each] for each in said)
    assert safety_lines(speaker, Danger((), (), ())) == ()


def test_bank_sides_are_drawn_as_they_lie() -> None:
    """The engine file has bank A on the right as seen from the seat: so it is from above, front upwards."""
    assert [bank.label for bank in page("whole_bank_silent").banks] == ["side\u00a0B", "side\u00a0A"]
    assert page("whole_bank_silent").map_end == "front"
    assert page("one_blown_seal").map_end == ""


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_engine_in_line_has_no_side(language: str, tmp_path: Path) -> None:
    """What all its injectors share is told without a place: its one bank is nothing that a customer could find."""
    path = tmp_path / "case.yaml"
    path.write_text(
        "title: all silent\nengine: ostrel_4\nnumbering: confirmed\ncodes: [P0201, P0202, P0203, P0204]\n"
        "findings: {no_start: present, weak_cutout: {present: [1, 2, 3, 4]}}\n"
    )
    case = load_case(path, shipped())
    weighed = weigh(shipped(), case)
    advice = advise_on(reckon(shipped(), case, weighed.network, weighed.posterior))
    of = customer_page(shipped(), case, load_language(language), weigh_sheet(weighed), advice)
    words = load_language(language)
    assert words.components["bank_circuit"].fault in of.wrong.lines[0]
    assert words.repairs["mend_bank_circuit"].work in of.rows[0].cells[0]
    assert not re.search(r"\b[Ss]ide|Seite", " ".join(everything(of)))


def test_numbers_are_written_as_the_language_writes_them() -> None:
    def prices(of: CustomerPage) -> str:
        return next(row.cells[2][0] for row in of.rows if "rice" in row.label or "Preis" in row.label)

    assert prices(page(MANY_SYMPTOMS)) == "about 1,692\u00a0EUR"
    assert prices(page(MANY_SYMPTOMS, "de")) == "etwa 1.692\u00a0EUR"


def test_work_goes_on_without_a_call_up_to_a_share_above_the_price() -> None:
    """15 % above the price with tax, rounded up to tens."""
    of = page("one_blown_seal")
    limits = next(row for row in of.rows if row.label == "We call you before it goes above")
    assert [cell[0] for cell in limits.cells] == ["410\u00a0EUR", "880\u00a0EUR", "1,000\u00a0EUR"]
    assert all(1.15 * option.price <= limit <= 1.15 * option.price + 10
               for option, limit in zip(of.options, (410, 880, 1000), strict=True))  # fmt: skip


def test_a_dinar_is_worth_too_much_to_round_the_limit_up_to_tens(tmp_path: Path) -> None:
    """A code written for 28 dinars: 15 % above is 33, and not 40, which is 42 % above."""
    overlay = tmp_path / "prices.yaml"
    overlay.write_text("basis: {source: learned, strength: 40}\nprices: {currency: KWD, exchange: 0.331, tax: 5 %}\n")
    knowledge = load_knowledge(None, (overlay,))
    case = load_case(demo_cases()["new_injector_not_coded"], knowledge)
    weighed = weigh(knowledge, case)
    advice = advise_on(reckon(knowledge, case, weighed.network, weighed.posterior))
    of = customer_page(knowledge, case, load_language(), weigh_sheet(weighed), advice)
    for option, (said,) in zip(of.options, of.rows[-1].cells, strict=True):
        limit = float(said.replace("\u00a0KWD", "").replace(",", ""))
        assert 1.15 * option.price <= limit < 1.15 * option.price + 1, said


@pytest.mark.parametrize("language", LANGUAGES)
def test_testing_first_is_told_with_the_work_that_follows_and_not_called_dearer(language: str) -> None:
    """Its price holds what is mended after the result; where it costs less, the advice is not called the cheapest."""
    of = page("all_returns_high", language, ("best", "bench_test", "nothing"))
    known = load_language(language).phrases
    tested = of.options[1]
    assert tested.option == "bench_test" and tested.total < of.options[0].total
    work, _, price, cures = (row.cells[1] for row in of.rows[:4])
    assert known["work_then"] in work and known["price_then"] in price and len(price) == 3
    assert cures != (known["no_repair"],)
    cheapest = known["why_cheapest"].split("{", 1)[0]
    assert not any(line.startswith(cheapest) for line in of.advice.lines)
    assert any(f"{round(tested.total):,}"[-3:] in line for line in of.advice.lines)
    plain = page("all_returns_high", language)
    assert any(line.startswith(cheapest) for line in plain.advice.lines)
    assert "bench_test" not in {option.option for option in plain.options}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_price_agreed_for_testing_first_covers_what_a_likely_result_brings(language: str) -> None:
    """The limit stands above the bill of every result that may well be, not above the mean of all results, which the
    likely one would have gone beyond."""
    of = page("all_returns_high", language, ("best", "bench_test", "nothing"))
    option = by_id("all_returns_high")["bench_test"]
    prices = {each.chance: each.invoice.amount * 1.2 for each in option.after}  # with tax
    assert max(prices) > 0.5 and max(prices.values()) > 1.15 * of.options[1].price
    digits = re.sub(r"\D", "", of.rows[-1].cells[1][0])
    assert 1.15 * max(prices.values()) <= int(digits) <= 1.15 * max(prices.values()) + 10
    assert of.options[1].price_high is not None and of.options[1].price < of.options[1].price_high < int(digits)
