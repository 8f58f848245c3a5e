"""Reads what people say at the closing of a case: 'seal blown 2 seen', 'reseal 2', '95 min', '269 EUR'.

May import: `diag.basics`, `diag.casebook`, `diag.knowledge_base`, and within the room the records.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from diag.basics import Place, UsageError, did_you_mean, listed
from diag.casebook import is_ambiguous, place_fault, read_quantity
from diag.knowledge_base import Engine, Knowledge, Scope, convert
from diag.store.records import CURED, SURE, Cured, Fitted, Found, Outcome, Sure

__all__ = ["Said", "read_outcome"]

_COUNT = re.compile(r"[x×](\d{1,3})")
_HOURS = re.compile(r"\s*(\d{1,4})\s*(?:h\s*([0-5]?\d)\s*min|(?:h\s*|:)([0-5]\d)\s*h?)\s*")
_COST = re.compile(r"\s*(\d+(?:\.\d+)?)\s*([A-Za-z]{3})?\s*")


@dataclass(frozen=True)
class Said:
    """The end of a case in people's words; what was not told is empty."""

    cured: str
    found: tuple[str, ...] = ()
    fitted: tuple[str, ...] = ()
    time: str = ""
    cost: str = ""
    note: str = ""


def read_outcome(said: Said, knowledge: Knowledge, engine: Engine) -> Outcome:
    """The outcome that was told. Raises UsageError, saying what is wrong and how it is written."""
    cost, currency = read_cost(said.cost, knowledge.prices.currency) if said.cost else (None, "")
    found = tuple(read_found(text, knowledge, engine) for text in said.found)
    _refuse_twice(found, knowledge)
    return Outcome(
        read_cured(said.cured),
        found,
        tuple(read_fitted(text, knowledge, engine) for text in said.fitted),
        read_minutes(said.time) if said.time else None,
        cost,
        currency,
        said.note,
    )


def _refuse_twice(found: tuple[Found, ...], knowledge: Knowledge) -> None:
    """One thing is in one state; of two that are told only one could be learned from. Raises UsageError."""
    states: dict[tuple[str, Place], str] = {}
    for each in found:
        before = states.setdefault((each.component, each.place), each.state)
        named = knowledge.components[each.component]
        name = named.name if each.place is None else f"{named.name} at {each.place}"
        if before != each.state:
            one, other = named.states[before].name, named.states[each.state].name
            raise UsageError(f"{name}: found both {one} and {other}; tell the worse, and the other in the note")
    if len(states) < len(found):
        raise UsageError("one fault was told twice at the same place; tell it once")


def read_found(text: str, knowledge: Knowledge, engine: Engine) -> Found:
    """`seal blown 2 seen`: component, state, place (left out for the vehicle), how sure. Raises UsageError."""
    words = text.split()
    example = "write for example 'seal blown 2 seen'"
    if len(words) not in (3, 4):
        raise UsageError(f"'{text}' does not say what was found; {example}")
    name, sure = words[0], words[-1]
    component = knowledge.components.get(name)
    if component is None:
        raise UsageError(f"there is no component '{name}'; {did_you_mean(name, knowledge.components) or example}")
    unsound = list(component.states)[1:]
    if words[1] not in unsound:
        hint = did_you_mean(words[1], unsound, most=20)
        raise UsageError(f"'{words[1]}' is no fault of '{name}'; {hint or f'it can be {listed(unsound)}'}")
    if sure not in SURE:
        raise UsageError(f"'{sure}' does not say how sure that is; it can be {listed(SURE)}")
    place = _place(words[2] if len(words) == 4 else "", name, component.per, engine)
    known: Sure = "seen" if sure == "seen" else "measured" if sure == "measured" else "inferred"
    return Found(name, words[1], place, known)


def read_fitted(text: str, knowledge: Knowledge, engine: Engine) -> Fitted:
    """`reseal 2` or `seal_kit x4`: a repair with its place, or a part, and how many. Raises UsageError."""
    words = text.split()
    count = 1
    if len(words) > 1 and (match := _COUNT.fullmatch(words[-1])):
        count, words = int(match[1]), words[:-1]
    if not 1 <= len(words) <= 2 or count < 1:
        raise UsageError(f"'{text}' does not say what was fitted; write for example 'reseal 2' or 'a_part x4'")
    item, place = words[0], words[1] if len(words) == 2 else ""
    if item in knowledge.repairs:
        return Fitted(item, _place(place, item, knowledge.repairs[item].on, engine), count)
    if item not in knowledge.prices.parts:
        hint = did_you_mean(item, [*knowledge.repairs, *knowledge.prices.parts])
        raise UsageError(f"there is no repair and no part '{item}'" + (f"; {hint}" if hint else ""))
    if not place:
        return Fitted(item, None, count)
    scope: Scope = "cylinder" if place.isdecimal() else "bank"
    return Fitted(item, _place(place, item, scope, engine), count)


def read_minutes(text: str) -> float:
    """`95 min`, `1.5 h`, `1 h 35 min` (as every page writes it) or `1:35` (as a clock does), in minutes.

    Raises UsageError."""
    if match := _HOURS.fullmatch(text):
        return 60.0 * int(match[1]) + int(match[2] or match[3])
    quantity = read_quantity(text, examples="'95 min' or '1.5 h'")
    if not quantity.unit or quantity.censored or quantity.value < 0:
        raise UsageError(f"'{text}' is no time that was spent; write for example '95 min'")
    return convert(quantity.value, quantity.unit, "min")


def read_cost(text: str, currency: str) -> tuple[float, str]:
    """`269 EUR`, or `269` in the workshop's own currency. Raises UsageError."""
    match = _COST.fullmatch(text)
    if match is None:
        raise UsageError(f"'{text}' is no amount of money; write for example '269 {currency}' or '268.50 {currency}'")
    if is_ambiguous(match[1]):
        whole, _, cents = match[1].partition(".")
        raise UsageError(
            f"the point in '{text}' may stand for thousands; write '{whole}{cents}' or '{whole}.{cents[:2]}'"
        )
    return float(match[1]), (match[2] or currency).upper()


def read_cured(text: str) -> Cured:
    """Whether it cured: yes, partly, no, not known. Raises UsageError."""
    word = text.strip().lower().replace(" ", "_").replace("-", "_")
    known: tuple[Cured, ...] = ("yes", "partly", "no", "not_known")
    for each in known:
        if word == each:
            return each
    raise UsageError(
        f"'{text}' does not say whether it cured; it can be {listed([w.replace('_', ' ') for w in CURED])}"
    )


def _place(word: str, item: str, scope: Scope, engine: Engine) -> Place:
    place: Place = None if not word else int(word) if word.isdecimal() and word.isascii() else word
    fault = place_fault(engine, scope, place)
    if fault is not None:
        raise UsageError(f"{item}: {fault[0]}; {fault[1]}")
    return place
