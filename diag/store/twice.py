"""Which closed cases are one case that was kept and closed a second time, under another number or in another book.

May import: the records of the room, and `rows` for its words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from diag.store.book import Kept
from diag.store.records import Customer, Draft, Outcome
from diag.store.rows import search_words

__all__ = ["Seen", "Twins", "twins_of"]


@dataclass(frozen=True)
class Twins:
    """`same_as`: the number of an earlier one that is the same case. `alike`: of one that was told in the same words
    all the same, but may be another case. At most one of them is told."""

    same_as: int | None = None
    alike: int | None = None


@dataclass(frozen=True)
class _Closed:
    number: int
    uid: str
    links: frozenset[str]
    outcome: Outcome | None
    day: str
    customer: Customer


Seen = dict[Draft, list[_Closed]]
"""The closed cases that came before, by all that was told of them."""


def twins_of(kept: Kept, customers: Mapping[int, Customer], seen: Seen) -> Twins:
    """Compare a closed case with those in `seen`, and add it to them.

    Two are the same where all that was told agrees to the letter, the distance among it (hardly two vehicles share
    that), the outcome as well, and they were closed on one day: a vehicle that comes back has been driven. Where the
    customers are known to be others, or one is noted as a come-back of the other, they are two.
    """
    draft = replace(kept.standing.draft, engine_record="")
    mine = _Closed(
        kept.number,
        kept.uid,
        frozenset(link.uid for link in kept.standing.links),
        kept.standing.outcome,
        kept.standing.closed_at[:10],
        customers.get(kept.number, Customer()),
    )
    before = seen.setdefault(draft, [])
    same = [each for each in before if (each.outcome, each.day) == (mine.outcome, mine.day)]
    others = [each for each in before if _may_be_one(mine, each)]
    before.append(mine)
    if same and draft.distance_km is not None and all(each in others for each in same):
        return Twins(same_as=same[0].number)
    alike = others if draft.distance_km is not None else [each for each in others if each.outcome == mine.outcome]
    return Twins(alike=alike[0].number if alike else None)


def _may_be_one(mine: _Closed, other: _Closed) -> bool:
    if mine.uid in other.links or other.uid in mine.links:
        return False
    told = [(mine.customer.name, other.customer.name), (mine.customer.plate, other.customer.plate)]
    return not any(
        one.strip() and two.strip() and "".join(search_words(one)) != "".join(search_words(two)) for one, two in told
    )
