"""From a weighed and decided case to the content of the customer's page.

May import: `diag.basics`, casebook, knowledge_base, decision (types), worksheet (in functions), the sheets, and the
modules of this folder.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from diag.basics import counted, minor_digits
from diag.casebook import Case
from diag.knowledge_base import Knowledge, Language
from diag.report.customer.choosing import chosen_options, mends, option_id, tests_first
from diag.report.customer.reasons import advice_lines, leading, nothing_lines, safety_lines, unknown_lines, wrong_lines
from diag.report.customer.record import CustomerBank, CustomerCylinder, CustomerOption, CustomerPage, OptionRow, Section
from diag.report.customer.speaking import Speaker
from diag.report.sheets_weigh import WeighSheet

if TYPE_CHECKING:
    from diag.decision import Advice, OptionSpread, PlanOption

__all__ = ["customer_page"]

LETTERS = "ABC"
ROUND_LIMIT_TO = 10  # units; in a currency with thousandths, whose unit is worth several of others, one
MAY_WELL_BE = 0.05  # chance from which a result of a test is thought of where the price is agreed


@dataclass(frozen=True)
class _Told:
    """What every part of the page draws on."""

    speaker: Speaker
    case: Case
    options: tuple[PlanOption, ...]
    spreads: Mapping[str, OptionSpread]

    def cures(self, option: PlanOption) -> float:
        """The chance that it cures what was complained of; where that was not drawn, that it cures everything."""
        return self.spreads[option.name].cures_complaint if option.name in self.spreads else option.cures

    def works(self, option: PlanOption) -> bool:
        """Whether something is mended at this visit, be it after a test."""
        return mends(self.speaker.knowledge, option) or tests_first(self.speaker.knowledge, option)

    def price_high(self, option: PlanOption) -> float | None:
        """What nine in ten such invoices do not exceed, with tax."""
        if option.name not in self.spreads:
            return None
        return _taxed(self.speaker.knowledge, self.spreads[option.name].invoice.high)

    def price(self, option: PlanOption) -> float:
        """The expected invoice with tax, as the estimate of the option has it."""
        return _taxed(self.speaker.knowledge, option.invoice.amount)


def customer_page(
    knowledge: Knowledge,
    case: Case,
    language: Language,
    weighed: WeighSheet,
    advice: Advice,
    wanted: Sequence[str] = (),
    spreads: Mapping[str, OptionSpread] | None = None,
) -> CustomerPage:
    """The content of the page; `wanted` names the options to show, else the usual ones are chosen. `spreads`: how the
    options' money spreads, by their names, where it was drawn.

    Raises UsageError where an option that is wanted is not there, or is barred.
    """
    speaker = Speaker(language, knowledge, len(case.engine.banks))
    options = chosen_options(knowledge, advice.repair, wanted)
    told = _Told(speaker, case, options, spreads if spreads is not None else {})
    banks = _banks(told, weighed)
    drawn = [cylinder for bank in banks for cylinder in bank.cylinders]
    said = [speaker.say("map_cylinder", number=each.number, sure=each.said) for each in drawn]
    return CustomerPage(
        language=language.code,
        title=speaker.say("page_title"),
        case=case.title,
        vehicle=_vehicle(told),
        invented=_invented(speaker, case),
        currency=knowledge.prices.currency,
        safety=Section(speaker.say("safety_heading"), safety_lines(speaker, advice.repair.danger)),
        wrong=Section(speaker.say("wrong_heading"), wrong_lines(speaker, weighed, advice.repair)),
        map_title=speaker.say("map_title"),
        map_description=speaker.say("map_description", cylinders=" ".join(said)),
        map_caption=_caption(speaker, weighed),
        map_end=speaker.say("map_front") if case.engine.bank_sides else "",
        banks=banks,
        options_heading=speaker.say("options_heading"),
        options=tuple(_option(told, index, option) for index, option in enumerate(options)),
        advised=speaker.say("advised"),
        rows=_rows(told),
        choice_label=speaker.say("row_choice"),
        choose=speaker.say("choose"),
        choose_none=speaker.say("sign_choice"),
        advice=Section(speaker.say("advice_heading"), advice_lines(speaker, advice, options, LETTERS)),
        nothing=Section(speaker.say("nothing_heading"), nothing_lines(speaker, weighed, advice.repair)),
        unknown=Section(
            speaker.say("unknown_heading"), unknown_lines(speaker, case, weighed, advice, _priced(told), options)
        ),
        terms=Section(speaker.say("terms_heading"), _terms(speaker)),
        sign_date=speaker.say("sign_date"),
        sign_name=speaker.say("sign_name"),
        sign_phone=speaker.say("sign_phone"),
        footer=speaker.say("footer"),
    )


def _priced(told: _Told) -> PlanOption:
    """The option whose price is spoken of: the advice, or where it is not shown the first that mends something."""
    mending = (each for each in told.options if each.best or told.works(each))
    return next(mending, told.options[0])


def _caption(speaker: Speaker, weighed: WeighSheet) -> str:
    """How to read the picture; where a fault is told that is not on one cylinder, that it is not in it."""
    shared = any(not isinstance(fault.place, int) for fault in leading(weighed))
    return " ".join([speaker.say("map_caption"), *([speaker.say("map_shared")] if shared else [])])


def _vehicle(told: _Told) -> str:
    """Engine, distance and age; what stands in brackets after the engine's name is for the workshop."""
    case, speaker = told.case, told.speaker
    parts = [case.engine.name.split(" (")[0]]
    if case.distance_km is not None:
        parts.append(speaker.say("distance", km=speaker.number(case.distance_km)))
    if case.age_years is not None:
        parts.append(speaker.say("age", years=counted(speaker.number(case.age_years, 1))))
    return ", ".join(parts)


def _invented(speaker: Speaker, case: Case) -> str:
    """That the case is made up, or for a real engine the prices; else nothing."""
    if case.engine.invented:
        return speaker.say("invented")
    return speaker.say("prices_invented") if speaker.knowledge.prices.invented else ""


def _banks(told: _Told, weighed: WeighSheet) -> tuple[CustomerBank, ...]:
    """The banks as seen from above with the front upwards: what lies on the left is drawn on the left."""
    engine, speaker = told.case.engine, told.speaker
    lines = {line.cylinder: line for line in weighed.cylinders}
    letters = sorted(engine.banks, key=lambda letter: engine.bank_sides.get(letter, "left") == "right")
    only = len(letters) == 1
    return tuple(
        CustomerBank(
            label="" if only else speaker.place(letter),
            cylinders=tuple(
                CustomerCylinder(number, lines[number].chance, speaker.sure(lines[number].chance))
                for number in engine.banks[letter]
            ),
        )
        for letter in letters
    )


def _taxed(knowledge: Knowledge, amount: float) -> float:
    from diag.worksheet import with_tax

    return with_tax(amount, knowledge.prices.tax.value, knowledge.prices.currency)


def _option(told: _Told, index: int, option: PlanOption) -> CustomerOption:
    return CustomerOption(
        option=option_id(option),
        heading=told.speaker.say("option", letter=LETTERS[index]),
        advised=option.best,
        price=told.price(option),
        cures=option.cures,
        again_12=option.again[12],
        again_24=option.again[24],
        total=option.total.amount,
        cures_complaint=told.cures(option) if option.name in told.spreads else None,
        price_high=told.price_high(option),
    )


def _rows(told: _Told) -> tuple[OptionRow, ...]:
    speaker, options = told.speaker, told.options
    none = speaker.say("no_repair")

    def row(label: str, cells: Sequence[str]) -> OptionRow:
        return OptionRow(label, tuple((cell,) for cell in cells))

    mending = [told.works(option) for option in options]
    rows = [
        OptionRow(speaker.say("row_work"), tuple(_work(told, option) for option in options)),
        OptionRow(speaker.say("row_includes"), tuple(_includes(told, option) for option in options)),
        OptionRow(speaker.say("row_price"), tuple(_price_words(told, option) for option in options)),
        row(
            speaker.say("row_cures"),
            [speaker.sure(told.cures(each)) if does else none for each, does in zip(options, mending, strict=True)],
        ),
    ]
    for months in (12, 24):
        said = [
            speaker.sure(each.again[months]) if does or not each.jobs else none
            for each, does in zip(options, mending, strict=True)
        ]
        rows.append(row(speaker.say("row_again", months=counted(months)), said))
    rows.append(row(speaker.say("row_limit"), [_limit(told, option) for option in options]))
    return tuple(rows)


def _work(told: _Told, option: PlanOption) -> tuple[str, ...]:
    """The work, one line for each kind of repair with its places."""
    speaker = told.speaker
    places: dict[str, list[int | str | None]] = {}
    for job in option.jobs:
        places.setdefault(job.repair, []).append(job.place)
    lines = []
    for repair, where in places.items():
        said = speaker.places(where, len(told.case.engine.cylinders))
        lines.append(speaker.say("work_place", work=speaker.work(repair), place=said) if said else speaker.work(repair))
    if tests_first(speaker.knowledge, option):
        lines.append(speaker.say("work_then"))
    return tuple(lines) or (speaker.say("nothing_work"),)


def _includes(told: _Told, option: PlanOption) -> tuple[str, ...]:
    speaker = told.speaker
    lines = [speaker.includes(repair) for repair in dict.fromkeys(job.repair for job in option.jobs)]
    if told.works(option):
        lines.append(speaker.say("includes_always"))
    return tuple(lines) or (speaker.say("nothing_includes"),)


def _price_words(told: _Told, option: PlanOption) -> tuple[str, ...]:
    """The expected price; below it what luck may make of it, where that differs."""
    speaker, price, high = told.speaker, told.price(option), told.price_high(option)
    if not price:
        return (speaker.say("price_none"),)
    about, most = speaker.money(price), speaker.money(high) if high is not None else None
    lines = [speaker.say("price_about", money=about)]
    if tests_first(speaker.knowledge, option):
        lines.append(speaker.say("price_then"))
    if most is not None and most != about:
        lines.append(speaker.say("price_up_to", money=most))
    return tuple(lines)


def _limit(told: _Told, option: PlanOption) -> str:
    """Up to where work goes on without a call: the price and the share above it, rounded up; a blank where not set.
    Where a test decides it is the dearest price after a result that may well be, else the likely one may be above it.
    """
    speaker, share = told.speaker, told.speaker.knowledge.prices.terms.call_above
    if not option.jobs or not told.price(option):
        return "–"
    if share is None:
        return speaker.say("limit_blank", currency=speaker.knowledge.prices.currency)
    likely = (each.invoice.amount for each in option.after if each.chance >= MAY_WELL_BE)
    dearest = max(likely, default=option.invoice.amount)
    limit = _taxed(speaker.knowledge, dearest) * (1 + share.value)
    to = 1 if minor_digits(speaker.knowledge.prices.currency) > 2 else ROUND_LIMIT_TO
    return speaker.money(to * math.ceil(limit / to - 1e-9))


def _terms(speaker: Speaker) -> tuple[str, ...]:
    terms = speaker.knowledge.prices.terms
    if terms.guarantee_months is None or terms.guarantee_km is None:
        guarantee = speaker.say("guarantee_blank")
    else:
        months, km = counted(speaker.number(terms.guarantee_months, 1)), speaker.number(terms.guarantee_km)
        guarantee = speaker.say("guarantee", months=months, km=km)
    days = terms.valid_days
    valid = speaker.say("valid_blank") if days is None else speaker.say("valid", days=counted(speaker.number(days, 1)))
    return (guarantee, valid)
