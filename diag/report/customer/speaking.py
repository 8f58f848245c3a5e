"""Numbers, places and chances as one language says them.

May import: `diag.basics`, knowledge_base, and figures, words of `diag.report`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.basics import Place, counted
from diag.knowledge_base import Knowledge, Language
from diag.report.figures import whole_per_cent
from diag.report.words import LIKELIHOOD_SCALE

__all__ = ["Speaker", "capital", "kept_together"]

HARD_SPACE = "\u00a0"


def capital(text: str) -> str:
    """The text with a capital letter first."""
    return text[:1].upper() + text[1:]


def kept_together(text: str) -> str:
    """What stands in brackets with spaces at which no line may break."""
    outside, *parts = text.split("(")
    return "(".join([outside, *(part.replace(" ", HARD_SPACE) for part in parts)])


@dataclass(frozen=True)
class Speaker:
    """Says things in a language; a component or repair that it lacks (a workshop's own) in the knowledge's words.
    `banks`: of the engine; the one bank of an engine in line is no side of it."""

    language: Language
    knowledge: Knowledge
    banks: int = 2

    def say(self, phrase: str, **names: object) -> str:
        """A phrase of the language file with its names filled in; {Sure} is {sure} with a capital."""
        names |= {"Sure": capital(str(names["sure"]))} if "sure" in names else {}
        return self.language.phrases[phrase].format(**names)

    def number(self, value: float, decimals: int = 0) -> str:
        """A number with the language's signs."""
        plain = f"{value:,.{decimals}f}"
        if decimals:
            plain = plain.rstrip("0").rstrip(".")
        signs = {",": self.language.numbers.thousands, ".": self.language.numbers.decimal}
        return "".join(signs.get(sign, sign) for sign in plain)

    def money(self, amount: float) -> str:
        """Money in whole units, with its currency."""
        return f"{self.number(amount)}{HARD_SPACE}{self.knowledge.prices.currency}"

    def per_cent(self, chance: float) -> str:
        """A rounded per cent; nothing is ever said to be impossible or sure."""
        whole, forms = whole_per_cent(chance), self.language.numbers
        return {0: forms.under, 100: forms.over}.get(whole, forms.per_cent.format(number=whole)).replace(
            " ", HARD_SPACE
        )

    def sure(self, chance: float, judged: bool = False) -> str:
        """A chance in the language's word of the scale, with its per cent: `likely (75 %)`."""
        whole = whole_per_cent(chance)
        least = [bound for bound, _ in LIKELIHOOD_SCALE]
        word = self.language.scale[next(index for index, bound in enumerate(least) if whole >= bound)]
        return self.say("sure_judged" if judged else "sure", words=word, per_cent=self.per_cent(chance))

    def duration(self, minutes: float) -> str:
        """`1 h 10 min`, in steps of five minutes."""
        hours, rest = divmod(max(5 * round(minutes / 5), 5), 60)
        said = [self.say("unit_hours", hours=hours)] if hours else []
        said += [self.say("unit_minutes", minutes=rest)] if rest else []
        return HARD_SPACE.join(part.replace(" ", HARD_SPACE) for part in said)

    def place(self, place: Place) -> str:
        """`cylinder 2`, `side A`; empty for the vehicle, as the one bank of an engine in line is."""
        forms = self.language.places
        if place is None or (self.banks == 1 and not isinstance(place, int)):
            return forms["vehicle"]
        form = forms["cylinder"].format(number=place) if isinstance(place, int) else forms["bank"].format(letter=place)
        return form.replace(" ", HARD_SPACE)

    def places(self, places: Sequence[Place], cylinders: int) -> str:
        """Several places of one engine: `cylinders 1 and 3`, `all 4 cylinders`, `sides A and B`."""
        numbers = sorted(place for place in places if isinstance(place, int))
        if len(numbers) == len(places) == cylinders > 1:
            return self.language.places["all_cylinders"].format(count=counted(cylinders))
        if len(numbers) != len(places) or len(numbers) == 1:
            return self.listed([each for each in map(self.place, places) if each])
        return self.language.places["cylinders"].format(numbers=self.listed([str(each) for each in numbers]))

    def listed(self, words: Sequence[str]) -> str:
        """`1, 2 and 3`."""
        return f" {self.language.places['and']} ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)

    def fault(self, component: str, state: str | None) -> str:
        """What is wrong, as a sentence: in general, or in one state."""
        words = self.language.components.get(component)
        if words is not None:
            return words.states.get(state, words.fault) if state is not None else words.fault
        known = self.knowledge.components[component]
        told = known.states[state].plain or known.states[state].name if state is not None else ""
        return f"{capital(known.plain)}{': ' if told else ''}{told}."

    def left(self, component: str) -> str:
        """What comes of it when nothing is done; empty where the language file does not say."""
        words = self.language.components.get(component)
        return words.left if words is not None else ""

    def work(self, repair: str) -> str:
        """What a repair is called on an option."""
        words = self.language.repairs.get(repair)
        return words.work if words is not None else capital(self.knowledge.repairs[repair].plain)

    def includes(self, repair: str) -> str:
        """What it includes."""
        words = self.language.repairs.get(repair)
        return words.includes if words is not None else self.knowledge.repairs[repair].plain

    def check(self, check: str) -> str:
        """What a check does."""
        return self.language.checks.get(check, self.knowledge.checks[check].name)

    def part(self, part: str) -> str:
        """What a part is called."""
        return self.language.parts.get(part, self.knowledge.prices.parts[part].name)

    def access(self, kind: str) -> str:
        """What is opened and closed again."""
        known = self.knowledge.vocabulary.access
        return self.language.access.get(kind, known[kind].name if kind in known else kind)

    def risk(self, name: str) -> str:
        """What may go wrong, by its name in the knowledge."""
        return self.language.risks.get(name, name)
