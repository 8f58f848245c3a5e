"""An overlay in another currency: amounts of money that it leaves as they are become that currency's.

May import: `diag.basics`, and within the room `reader`.
"""

from __future__ import annotations

from collections.abc import Iterator

from diag.basics import Problem, minor_digits
from diag.knowledge_base.reader import Key, PlacedDocument, Tree

__all__ = ["exchange"]

Mapping = dict[Key, Tree]
MONEY = frozenset(
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
        for entry, key in _amounts([base.data.get(kind) for kind in KINDS]):
            entry[key] = _times(entry[key], float(rate), minor_digits(str(new)))


def _amounts(trees: list[Tree]) -> Iterator[tuple[Mapping, Key]]:
    """Every place where an amount of money stands."""
    waiting = list(trees)
    while waiting:
        tree = waiting.pop()
        if isinstance(tree, list):
            waiting += tree
        elif isinstance(tree, dict):
            for key, inside in tree.items():
                if key in MONEY:
                    yield tree, key
                else:
                    waiting.append(inside)


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
