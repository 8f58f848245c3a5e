"""Small exact references: the expected cost of trying actions one after another until the one fault is found.

One fault, independent actions, each finds it for certain when it is the one. Used in tests and by explanations; the
plan search does not assume a single fault. May import: `diag.basics`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import permutations

from msgspec import Struct

from diag.basics import UsageError

__all__ = ["Action", "best_order", "best_order_with_access", "call_for_help", "expected_cost"]


class Action(Struct, frozen=True):
    """An action that finds the fault with chance `p`, at `cost`; `inside`: what must be opened first, if anything."""

    name: str
    p: float
    cost: float
    inside: str | None = None


def expected_cost(order: Sequence[Action], opening: dict[str, float] | None = None) -> float:
    """Expected cost of repair of a sequence: sum over i of C_i (1 - sum over j < i of p_j).

    Heckerman, Breese & Rommelse, CACM 38(3):49-57 (1995); an opening is paid before the first action inside it
    (Langseth & Jensen, RESS 80:49-61, 2003). p 0.4, 0.3, 0.2, 0.1 and C 5, 15, 1, 2: the order 3, 1, 4, 2 costs 10.3.
    """
    opened: set[str] = set()
    total, left = 0.0, 1.0
    for action in order:
        cost = action.cost
        if action.inside is not None and action.inside not in opened:
            if opening is None or action.inside not in opening:
                raise UsageError(f"'{action.name}' lies inside '{action.inside}', whose opening has no cost")
            opened.add(action.inside)
            cost += opening[action.inside]
        total += cost * left
        left -= action.p
    return total


def _ratio(action: Action) -> float:
    return action.p / action.cost if action.cost > 0 else math.inf


def best_order(actions: Iterable[Action]) -> tuple[Action, ...]:
    """The cheapest order where nothing is to be opened: by falling p/C (Gluss 1959; Kadane & Simon 1977)."""
    return tuple(sorted(actions, key=_ratio, reverse=True))


def call_for_help(actions: Iterable[Action], price: float) -> tuple[tuple[Action, ...], float]:
    """What to try before calling for help at a fixed price that ends it, and the expected cost of that.

    The best order is tried as long as its next action is worth it; every stopping point is compared (Heckerman,
    Breese & Rommelse 1995). In the example of `expected_cost` with help at 8: try the third, then call, 7.4.
    """
    order = best_order(actions)
    best: tuple[tuple[Action, ...], float] = ((), price)
    for count in range(1, len(order) + 1):
        left = max(0.0, 1 - math.fsum(action.p for action in order[:count]))
        cost = expected_cost(order[:count]) + (left * price if count < len(order) else 0.0)
        if cost < best[1] - 1e-12:
            best = (order[:count], cost)
    return best


def best_order_with_access(actions: Iterable[Action], opening: dict[str, float]) -> tuple[tuple[Action, ...], float]:
    """The cheapest of all orders where some actions lie inside something to be opened once, and its cost.

    All orders are tried, so at most eight actions. A (p 0.3, C 3) outside, opening 4, inside B (0.5, 2) and D (0.2, 4):
    A, then open and B, D: 8.0 (Langseth & Jensen 2003; Ottosen & Jensen, UAI 2010).
    """
    chosen = tuple(actions)
    if len(chosen) > 8:
        raise UsageError("all orders of more than eight actions are too many; give at most eight")
    orders = ((order, expected_cost(order, opening)) for order in permutations(chosen))
    return min(orders, key=lambda found: found[1])
