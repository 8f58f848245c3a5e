"""Words and units in the heads of columns: folding spellings, finding phrases, numbers of cylinders and units.

May import: `diag.basics`, `diag.knowledge_base` (records, units).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diag.basics import UsageError
from diag.knowledge_base import LogColumn, convert, same_unit, units_like

__all__ = [
    "Scale",
    "cylinder_in",
    "fold",
    "phrase_score",
    "scale_of",
    "symbol_key",
    "tokens_of",
    "unit_in",
    "unit_of_cells",
]

_WITHIN_WORD = 5  # so long a word is also found inside a compound, as German writes them
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"})
_BRACKETS = re.compile(r"[\[({<]([^\[\](){}<>]*)[\])}>]")
_SCALED = re.compile(r"[x×*]?(\d+(?:\.\d+)?)[x×*]?([a-z°%].*)")
_TAIL = re.compile(r"[\s_,;:/-]+")
_FOOT = re.compile(r"[\s_.,-]+")
_OVER_WHAT = re.compile(r"(?:absolute|abs\.?|gauge|rel\.?|a|g)$")  # of a pressure: above nothing, or above the air's
_BEHIND = re.compile(r"[-+\u2212]?[\d.,' ]*\d\s*([^\d\s.,:'-][^\s]*)")


@dataclass(frozen=True)
class Scale:
    """How a column's numbers become those of its channel: `value * factor + offset`; `unit` as people say it."""

    unit: str
    factor: float
    offset: float


def fold(text: str) -> str:
    """Small letters without accents, umlauts written out: 'Kühlmittel' is 'kuehlmittel'."""
    text = unicodedata.normalize("NFC", text).lower().translate(_UMLAUTS)
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))


def tokens_of(text: str) -> tuple[str, ...]:
    """The words and numbers of a head, folded."""
    return tuple(re.findall(r"[a-z]+|\d+", fold(text)))


def phrase_score(tokens: Sequence[str], phrases: Iterable[str]) -> int:
    """How much of a head the best of some phrases explains: its letters; 0 where none stands in it.

    All words of a phrase must be there; long ones may stand inside another word.
    """
    best = 0
    for phrase in phrases:
        words = tokens_of(phrase)
        if words and all(_has(tokens, word) for word in words):
            best = max(best, sum(map(len, words)))
    return best


def _has(tokens: Sequence[str], word: str) -> bool:
    return word in tokens or (len(word) >= _WITHIN_WORD and any(word in token for token in tokens))


def symbol_key(text: str) -> tuple[str, ...]:
    """One spelling of a symbol: its letter as it is, for `t` is a time and `T` a temperature; what stands at its foot
    in small letters, however that is set off: `T_Fuel`, `T fuel` and `T,fuel` are one."""
    letter, *foot = _FOOT.split(unicodedata.normalize("NFKC", text).strip(" _.,:;-"))
    return (letter, *(part.lower() for part in foot))


def unit_key(text: str) -> str:
    """One spelling of a unit: small letters, no spaces, powers as plain figures."""
    text = unicodedata.normalize("NFKC", text).lower()
    return re.sub(r"[\s^]+", "", text).replace("\u2212", "-").strip(".")


def unit_in(head: str, column: LogColumn) -> tuple[str, str]:
    """The unit that a head names, as written, and the rest of the head; ('', head) where it names none.

    In brackets, else as its last words. What stands in brackets and is neither a unit of the channel, nor a number,
    nor a word of it, is given back all the same: it is a unit of something else.
    """
    strange = ""
    for match in reversed(list(_BRACKETS.finditer(head))):
        inside = match.group(1).strip()
        rest = head[: match.start()] + " " + head[match.end() :]
        if not inside:
            continue
        if scale_of(inside, column) is not None:
            return inside, rest
        if not strange and _looks_like_unit(inside):
            strange = inside
    if strange:
        return strange, head.replace(strange, " ")
    breaks = list(_TAIL.finditer(head))
    for match in breaks[-3:]:
        tail = head[match.end() :].strip()
        if tail and scale_of(tail, column) is not None:
            return tail, head[: match.start()]
    return ("", head)


def _looks_like_unit(inside: str) -> bool:
    key = unit_key(inside)
    return (
        bool(re.fullmatch(r"[%°a-zµω0-9/·*-]{1,12}", key))
        and ("/" in key or "%" in key or len(key) <= 4)
        and (not key.isdigit())
    )


def unit_of_cells(cells: Iterable[str], column: LogColumn) -> str:
    """The unit that stands behind the numbers in the cells of a column, where it is one and the same."""
    behind = {match.group(1) for cell in cells if (match := _BEHIND.fullmatch(cell.strip()))}
    if len(behind) == 1 and scale_of(unit := behind.pop(), column) is not None:
        return unit
    return ""


def scale_of(unit: str, column: LogColumn) -> Scale | None:
    """How a unit becomes the channel's own; none where it is no unit of that channel.

    A number before the unit multiplies: '10 kPa' is a count of ten kilopascals (SAE J1979, PID 23 hex).
    """
    key, times = unit_key(unit), 1.0
    name = _accepted(key, column)
    if name is None and (match := _SCALED.fullmatch(key)):
        times, name = float(match.group(1)), _accepted(match.group(2), column)
    if name is None or times <= 0:
        return None
    try:
        zero, one = convert(0.0, name, column.unit), convert(1.0, name, column.unit)
    except UsageError:
        return None
    said = name if times == 1 else f"{times:g} {name}"
    return Scale(said, (one - zero) * times, zero)


def _accepted(key: str, column: LogColumn) -> str | None:
    return _named(key, column) or (
        _named(_OVER_WHAT.sub("", key), column) if column.unit in units_like("bar") else None
    )


def _named(key: str, column: LogColumn) -> str | None:
    units = column.units or {column.unit: ()}
    for name, spellings in units.items():
        if same_unit(key, name) or any(key == unit_key(spelling) for spelling in (name, *spellings)):
            return name
    return None


def cylinder_in(head: str, column: LogColumn) -> int | None:
    """The number of the cylinder that a head names: beside a word for cylinder or injector, else the only number."""
    tokens = tokens_of(head)
    beside = [
        int(near)
        for index, token in enumerate(tokens)
        if any(token.startswith(word) for word in column.place_words)
        for near in [*tokens[index + 1 : index + 2], *(tokens[index - 1 : index] if index else ())][:2]
        if near.isdigit()
    ][:1]
    every = [int(token) for token in tokens if token.isdigit()]
    found = beside or every
    return found[0] if len(set(found)) == 1 else None
