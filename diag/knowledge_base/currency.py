"""An overlay in another currency: amounts of money that it leaves as they are become that currency's.

May import: `diag.basics`, and within the room `merging`, `reader`, `shapes`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diag.basics import Problem, minor_digits
from diag.knowledge_base.merging import LISTED_KINDS, SINGLE_KINDS
from diag.knowledge_base.reader import Key, PlacedDocument, Tree
from diag.knowledge_base.records import Record
from diag.knowledge_base.shapes import is_figure_at

__all__ = ["MONEY", "exchange", "exchanging_first"]

Mapping = dict[Key, Tree]
MONEY = frozenset(  # what amounts of money are called
    {
        "labour_per_hour",
        "price",
        "money",
        "return_visit",
        "tow",
        "damage_of_driving_on",
        "damage_per_month",
        "day_without_vehicle",
        "lost_trust",
    }
)
KINDS = ("prices", "checks", "repairs")  # kinds of entries in which money stands


def exchanging_first(documents: Sequence[PlacedDocument]) -> list[PlacedDocument]:
    """The files of one overlay in the order in which they are laid: the one that exchanges money first, so that what
    the others give is in its currency, whatever they are called."""
    return sorted(documents, key=lambda each: not _exchanges(each))


def _exchanges(document: PlacedDocument) -> bool:
    prices = document.data.get("prices")
    return isinstance(prices, dict) and "exchange" in prices


def exchange(base: PlacedDocument, over: PlacedDocument, problems: list[Problem]) -> None:
    """Turn all money of `base` into the currency of the overlay `over`, in place, by the `exchange` that it names: so
    many of the new for one of the old. It is taken out of the overlay. An overlay of the same currency changes nothing.
    """
    prices, known = over.data.get("prices"), base.data.get("prices")
    if not isinstance(prices, dict) or not isinstance(known, dict):
        return
    rate = prices.pop("exchange", None)
    old, new = known.get("currency"), prices.get("currency", known.get("currency"))
    if rate is None and old != new:
        hint = (
            f"say what one {old} is worth in {new}, 'exchange: 25'; amounts that you give yourself are taken as {new}"
        )
        message = f"prices become {new}, but amounts that this overlay leaves as they are are in {old}"
        problems.append(over.problem(("prices", "currency"), message, hint))
    elif rate is not None and old == new:
        message = f"'exchange' says what one {old} is worth in another currency, and none is named"
        problems.append(over.problem(("prices",), message, "name it, 'currency: CZK', or leave 'exchange' out"))
    elif rate is not None and (not isinstance(rate, int | float) or isinstance(rate, bool) or not rate > 0):
        message = f"the exchange is a number above 0, and not '{rate}'"
        problems.append(over.problem(("prices", "exchange"), message, f"say how many {new} one {old} is worth"))
    elif rate is not None:
        for kind in KINDS:
            model = LISTED_KINDS.get(kind) or SINGLE_KINDS[kind]
            entries = base.data.get(kind)
            for record in entries.values() if kind in LISTED_KINDS and isinstance(entries, dict) else [entries]:
                for entry, key in _amounts(record, model):
                    entry[key] = _times(entry[key], float(rate), minor_digits(str(new)))


def _amounts(record: Tree, model: type[Record]) -> Iterator[tuple[Mapping, Key]]:
    """Every place in an entry where an amount of money stands. A part may be called as an amount is: its price is
    within it, and where it is counted no money stands."""
    waiting: list[tuple[Tree, tuple[Key, ...]]] = [(record, ())]
    while waiting:
        tree, path = waiting.pop()
        inner = list(tree.items()) if isinstance(tree, dict) else []
        if isinstance(tree, list):
            waiting += [(inside, (*path, place)) for place, inside in enumerate(tree)]
        for key, inside in inner:
            if key in MONEY and is_figure_at(model, (*path, key)):
                assert isinstance(tree, dict)
                yield tree, key
            else:
                waiting.append((inside, (*path, key)))


def _times(amount: Tree, rate: float, digits: int) -> Tree:
    """An amount, with its second judgements, in the other currency, as it can be paid: so that three pieces on a bill
    cost three times what one does."""
    if isinstance(amount, dict):
        kept = ("value", "also")
        return {key: _times(inside, rate, digits) if key in kept else inside for key, inside in amount.items()}
    if isinstance(amount, list):
        return [_times(each, rate, digits) for each in amount]
    if isinstance(amount, int | float) and not isinstance(amount, bool):
        return round(float(amount) * rate, digits)
    return amount
