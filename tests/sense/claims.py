"""What a statement may claim of a case, always as an inequality with a margin; a claim that fails says its numbers.

`every` in a term stands for each cylinder in turn: `falls("seal every")` claims it of seal 1, seal 2 and so on.
`rises`, `falls` and `keeps` compare with the statement's second case. May import: `tests.sense.asking`.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.sense.asking import Asked, Ref

__all__ = [
    "Claim",
    "above_everything",
    "at_least",
    "at_most",
    "falls",
    "keeps",
    "likelier",
    "nothing_changes",
    "rises",
]

Claim = Callable[[Asked, Asked], str]  # the case and the one compared with -> what is wrong, empty where nothing is


def above_everything(term: str, *, times: float = 1.1, among: str = "everything") -> Claim:
    """The term is likelier, so many times, than every other fault; `among` may be 'vehicle' (what is there once a
    vehicle) or a cylinder's number."""

    def claim(asked: Asked, _: Asked) -> str:
        own = {(ref.component, ref.place) for ref in asked.refs(term)}
        chance = asked.chance(term)
        for other, ref in asked.faults():
            if (ref.component, ref.place) not in own and _is_among(ref, among) and chance < times * other:
                return f"{term} ({chance:.4g}) is not {times:g} times {ref.component} {ref.place} ({other:.4g})"
        return ""

    return claim


def _is_among(ref: Ref, among: str) -> bool:
    return among == "everything" or (among == "vehicle" and ref.place is None) or among == str(ref.place)


def at_least(term: str, least: float) -> Claim:
    """The term has at least this chance."""
    return _each(term, lambda asked, _, one: (asked.chance(one) >= least, f"below {least:g}"))


def at_most(term: str, most: float) -> Claim:
    """The term has at most this chance."""
    return _each(term, lambda asked, _, one: (asked.chance(one) <= most, f"above {most:g}"))


def likelier(first: str, second: str, *, times: float = 1.2) -> Claim:
    """The first term is likelier than the second, so many times."""

    def claim(asked: Asked, _: Asked) -> str:
        one, other = asked.chance(first), asked.chance(second)
        return "" if one >= times * other else f"{first} ({one:.4g}) is not {times:g} times {second} ({other:.4g})"

    return claim


def rises(term: str, *, times: float = 1.2) -> Claim:
    """The term is likelier than in the case compared with, so many times."""
    return _each(
        term, lambda asked, before, one: (asked.chance(one) >= times * before.chance(one), f"not {times:g} times")
    )


def falls(term: str, *, times: float = 1.2) -> Claim:
    """The term is less likely than in the case compared with, so many times."""
    return _each(
        term, lambda asked, before, one: (times * asked.chance(one) <= before.chance(one), f"not 1/{times:g} of")
    )


def keeps(term: str, *, within: float) -> Claim:
    """The term differs from the case compared with by at most this share of itself."""
    return _each(
        term,
        lambda asked, before, one: (
            abs(asked.chance(one) - before.chance(one)) <= within * before.chance(one),
            f"not within {within:.0%} of",
        ),
    )


def nothing_changes(*, within: float = 1e-9) -> Claim:
    """No state of anything differs from the case compared with."""

    def claim(asked: Asked, before: Asked) -> str:
        assert asked.states.keys() == before.states.keys()
        worst = max(asked.states, key=lambda key: float(abs(asked.states[key] - before.states[key]).max()))
        change = float(abs(asked.states[worst] - before.states[worst]).max())
        return "" if change <= within else f"{worst} changes by {change:.3g}"

    return claim


Judged = Callable[[Asked, Asked, str], tuple[bool, str]]


def _each(term: str, judge: Judged) -> Claim:
    """A claim of the term, or of each cylinder's where it says 'every'."""

    def claim(asked: Asked, before: Asked) -> str:
        cylinders = asked.network.case.engine.cylinders if " every" in term else (0,)
        for cylinder in cylinders:
            one = term.replace(" every", f" {cylinder}")
            holds, complaint = judge(asked, before, one)
            if not holds:
                return f"{one} is {asked.chance(one):.4g}, {complaint} ({before.chance(one):.4g} in the other case)"
        return ""

    return claim
