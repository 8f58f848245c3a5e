"""How an estimate speaks: the words of a language file, and its way of writing numbers and chances.

May import: `diag.basics`, knowledge_base, worksheet (inside functions), `customer`, figures, sheets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from diag.basics import Place, counted
from diag.knowledge_base import Engine, Knowledge, Language, NumberForms, load_language
from diag.report.customer import Speaker
from diag.report.figures import places_words, whole_per_cent
from diag.report.sheets_case import CaseLine
from diag.report.sheets_work import EstimateSheet, RiskRow
from diag.report.work_texts import access_words

__all__ = ["EstimateWords", "Names", "estimate_words"]

ENGLISH = "en"
HARD_SPACE = "\u00a0"


@dataclass(frozen=True)
class EstimateWords:
    """The words of an estimate in one language, by their keys in its file."""

    code: str
    words: Mapping[str, str]
    head: Mapping[str, str]
    numbers: NumberForms

    def say(self, key: str, **names: object) -> str:
        """A sentence with its names filled in."""
        return self.words[key].format(**names)

    def number(self, value: float, decimals: int) -> str:
        """A number with the language's signs."""
        plain = f"{value:,.{decimals}f}"
        plain = plain.lstrip("-") if not plain.strip("-0.,") else plain
        signs = {",": self.numbers.thousands, ".": self.numbers.decimal}
        return "".join(signs.get(sign, sign) for sign in plain)

    def short(self, value: float, form: str = "g") -> str:
        """A number as short as may be, such as 1.5."""
        return format(value, form).replace(".", self.numbers.decimal)

    def money(self, amount: float, sheet: EstimateSheet) -> str:
        """Money to the smallest unit of its currency: `269.37 EUR`."""
        return f"{self.number(amount, sheet.digits)} {sheet.currency}"

    def per_cent(self, chance: float) -> str:
        """A rounded per cent; nothing is ever said to be impossible or sure."""
        whole = whole_per_cent(chance)
        return {0: self.numbers.under, 100: self.numbers.over}.get(whole, self.numbers.per_cent.format(number=whole))

    def quantity(self, quantity: float, unit: str) -> str:
        """`68 min`, `3`, or nothing for a sum."""
        short = self.short(quantity)
        return {"min": self.say("minutes", minutes=short), "piece": short}.get(unit, "")

    def each(self, each: float, unit: str, sheet: EstimateSheet) -> str:
        """`96.00 EUR an hour`, `4.00 EUR`."""
        money = self.money(each, sheet)
        return self.say("per_hour", money=money) if unit == "min" else money

    def risk(self, risk: RiskRow, sheet: EstimateSheet) -> str:
        """How likely it is, and what it then costs."""
        told = {"chance": self.per_cent(risk.chance), "money": self.money(risk.each, sheet)}
        if abs(risk.expected - risk.chance) > 1e-9:
            return self.say("risk_several", times=counted(self.short(risk.expected, ".2g")), **told)
        return self.say("risk_how", **told)

    def tax(self, sheet: EstimateSheet) -> str:
        """`tax 20 %`."""
        return self.say("tax", rate=self.numbers.per_cent.format(number=self.short(100 * sheet.tax_rate)))

    def range(self, sheet: EstimateSheet) -> tuple[str, ...]:
        """What it can come to, in sentences, and what the page is."""
        lines = [self.say("untimed", what=", ".join(sheet.untimed))] if sheet.untimed else []
        if sheet.with_next is not None:
            told = {"whole": sheet.with_next, "whole_tax": _with_tax(sheet.with_next, sheet)}
            lines += [self.say("then", **self._moneys(told, sheet))]
        if sheet.risks:
            told = {"least": sheet.least, "least_tax": _with_tax(sheet.least, sheet)}
            bad = {"bad": sheet.bad_luck, "bad_tax": _with_tax(sheet.bad_luck, sheet)}
            lines += [
                self.say("in_case"),
                self.say("sure", chance=self.per_cent(sheet.p_least), **self._moneys(told, sheet)),
                self.say("bad_luck", **self._moneys(bad, sheet)),
                self.say("worse"),
            ]
        return (*lines, *self._prices(sheet))

    def _prices(self, sheet: EstimateSheet) -> tuple[str, ...]:
        """Whose prices these are; made-up ones beside a real engine are no list of the workshop."""
        if sheet.prices_invented and not sheet.case.invented:
            return (self.say("prices_invented"),)
        return (self.say("estimate_only"), *([self.say("invented")] if sheet.case.invented else []))

    def _moneys(self, amounts: Mapping[str, float], sheet: EstimateSheet) -> dict[str, str]:
        return {name: self.money(amount, sheet) for name, amount in amounts.items()}

    def facts(self, case: CaseLine) -> str:
        """The vehicle in a line, for the customer: engine (without what stands in brackets), distance, age."""
        parts = [case.engine_name.split(" (")[0]]
        if case.distance_km is not None:
            parts.append(self.head["distance"].format(km=self.number(case.distance_km, 0)))
        if case.age_years is not None:
            parts.append(self.head["age"].format(years=counted(self.short(round(case.age_years, 1)))))
        return ", ".join(parts)


def _with_tax(amount: float, sheet: EstimateSheet) -> float:
    """Rounded as the tax of the estimate itself is."""
    from diag.worksheet import tax_on

    return amount + tax_on(amount, sheet.tax_rate, sheet.digits)


@cache
def _english() -> EstimateWords:
    return _of(load_language(ENGLISH))


def _of(language: Language) -> EstimateWords:
    return EstimateWords(language.code, language.estimate, language.phrases, language.numbers)


def estimate_words(language: Language | None = None) -> EstimateWords:
    """The words of an estimate in a language; none: in the English that ships."""
    return _english() if language is None else _of(language)


@dataclass(frozen=True)
class Names:
    """What work, parts and places are called on an estimate: in English as the knowledge calls them, as the workshop
    speaks; else as the language file does."""

    knowledge: Knowledge
    engine: Engine
    language: Language | None = None

    @property
    def _speaker(self) -> Speaker | None:
        english = self.language is None or self.language.code == ENGLISH
        return (
            None if english or self.language is None else Speaker(self.language, self.knowledge, len(self.engine.banks))
        )

    def access(self, kind: str) -> str:
        """What is opened."""
        speaker = self._speaker
        return access_words(self.knowledge, kind) if speaker is None else speaker.access(kind)

    def part(self, part: str) -> str:
        """A part."""
        speaker = self._speaker
        return self.knowledge.prices.parts[part].name if speaker is None else speaker.part(part)

    def repair(self, repair: str) -> str:
        """A repair; empty for what is none."""
        speaker = self._speaker
        if repair not in self.knowledge.repairs:
            return ""
        return self.knowledge.repairs[repair].name if speaker is None else speaker.work(repair)

    def risk(self, name: str) -> str:
        """What may go wrong."""
        speaker = self._speaker
        return name if speaker is None else speaker.risk(name)

    @property
    def nothing(self) -> str:
        """Doing nothing for now, in another language than English."""
        return self.language.phrases["nothing_work"] if self.language is not None else ""

    def at(self, text: str, places: Sequence[Place]) -> str:
        """A text with its places."""
        known, speaker = [place for place in places if place is not None], self._speaker
        if not known:
            return text
        if speaker is None:
            return f"{text}, {places_words(known, len(self.engine.banks))}"
        said = speaker.places(known, len(self.engine.cylinders))
        return f"{text}, {said.replace(HARD_SPACE, ' ')}" if said else text
