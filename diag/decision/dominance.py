"""Treatments that can never be part of the best plan, left out before the search. Rigorous, from chances alone.

Treatment a is left out where some b at the same site is no dearer in every plan, whatever is done elsewhere:

    [money + complications + mending](a) - (b)  -  (access that b needs and a does not)  -  (finish, if only b works)
        >=  V x (how much likelier a can make the cure)  +  (what renewing the seal, done by a alone, can save)

1. Access is a union, so replacing a by b costs at most the access that b has beyond a.
2. cured(a) - cured(b) <= sum over components of the positive part of the difference of their factors, because factors
   lie between 0 and 1 and the product telescopes; other sites' factors are at most 1. Its expectation needs marginals.
3. Damage falls by at most damage x P(this seal unsound); later visits by at most `later.most_saved`.
Where several posteriors are given (after each answer that a check may bring), all must agree. May import: numpy, and
`later`, `lives`, `objective`, `sites`, `small` of this room.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import prod

import numpy as np
from msgspec.structs import replace

from diag.decision.later import most_saved
from diag.decision.lives import Steps
from diag.decision.objective import Fees
from diag.decision.sites import Site, Treatment, Wear
from diag.decision.small import MOST_PLANS
from diag.inference import Array

__all__ = ["hopeful", "saved_later", "surviving"]


def surviving(
    site: Site,
    features: Array,
    fees: Fees,
    saved_by_renewing: float,
    saved_by_leaving: float,
    kept: Sequence[int] = (0,),
) -> tuple[int, ...]:
    """Indices of the treatments of a site that may be in a best plan; `kept` stay in any case (0, 'nothing', should).

    `features[case, feature]` are the posteriors under which each treatment left out is no use (each sums to chances,
    not joint ones). `saved_by_renewing` and `saved_by_leaving` bound what renewing a sound seal, or leaving it, saves
    later.
    """
    count = len(site.treatments)
    if count == 1:
        return (0,)
    margin = _margin(site, features, fees, saved_by_renewing, saved_by_leaving)
    hopeful = np.all(margin >= 0, axis=2)  # access can only make it less
    left_out: set[int] = set()
    for one in range(count):
        for other in np.flatnonzero(hopeful[one]).tolist() if one not in kept else ():
            if other == one or other in left_out:
                continue
            left = margin[one, other] - _beyond(site.treatments[one], site.treatments[other], fees)
            if (left > 0).all() or (other < one and (left >= 0).all()):
                left_out.add(one)
                break
    return tuple(index for index in range(count) if index not in left_out)


def saved_later(
    site: Site,
    lasting: tuple[Sequence[Wear], Steps],
    fees: Fees,
    known: dict[int, tuple[float, float]],
) -> tuple[float, float]:
    """The most that renewing what wears at a site saves later, and leaving it; the same where the same wears, which
    `known` holds. `lasting`: what wears at all sites, and the steps."""
    (wears, steps), wear = lasting, site.wear
    if wear is None:
        return 0.0, 0.0
    if id(wear) not in known:
        number = next(number for number, each in enumerate(wears) if each is wear)
        swapped = replace(wear, left=wear.new, new=wear.left)
        other = [*wears[:number], swapped, *wears[number + 1 :]]
        known[id(wear)] = (
            most_saved(wears, number, fees.come_back, steps),
            most_saved(other, number, fees.come_back, steps),
        )
    return known[id(wear)]


def hopeful(
    sites: Sequence[Site],
    some: Sequence[tuple[int, ...]],
    features: Sequence[Array],
    fees: Fees,
    lasting: tuple[Sequence[Wear], Steps],
) -> tuple[tuple[int, ...], ...]:
    """Those of some treatments of each site that may be in the best plan made of them, under one posterior, the first
    of `features[site][case, feature]`. All, where they make so few plans that a table of them is as quick."""
    if prod(map(len, some)) <= MOST_PLANS:
        return tuple(some)
    saved: dict[int, tuple[float, float]] = {}
    found = []
    for site, mine, each in zip(sites, some, features, strict=True):
        if len(mine) > 1:
            allowed = replace(site, treatments=tuple(site.treatments[choice] for choice in mine))
            left = surviving(allowed, each[:1], fees, *saved_later(site, lasting, fees, saved), kept=())
            found.append(tuple(mine[place] for place in left))
        else:
            found.append(mine)
    return tuple(found)


def _margin(site: Site, features: Array, fees: Fees, by_renewing: float, by_leaving: float) -> Array:
    """`[one, other, case]`: by how much `one` is dearer than `other` at least, but for access and finish."""
    certain = _certain_cost(site.treatments, features, fees)
    most = np.stack([treatment.cure_most for treatment in site.treatments])
    least = np.stack([treatment.cure_least for treatment in site.treatments])
    gain = fees.come_back * np.minimum(1.0, np.maximum(most[:, None] - least, 0.0) @ features.T)
    unsound = features @ site.wear.unsound if site.wear is not None else np.zeros(len(features))
    renews = np.array([treatment.renews_wear for treatment in site.treatments])
    alone, left = renews[:, None] & ~renews, ~renews[:, None] & renews
    later = alone[..., None] * (by_renewing + fees.damage * unsound) + left[..., None] * by_leaving
    return np.asarray(certain[:, None] - certain - gain - later, dtype=np.float64)


def _certain_cost(treatments: Sequence[Treatment], features: Array, fees: Fees) -> Array:
    """`[treatment, case]`: what each treatment costs in every plan, but for access and finish."""
    linear = np.stack([treatment.complications + treatment.mending for treatment in treatments])
    money = np.array([treatment.money for treatment in treatments])
    return np.asarray(money[:, None] + linear @ features.T)


def _beyond(one: Treatment, other: Treatment, fees: Fees) -> float:
    """What `other` may cost in access and finish that `one` does not."""
    opening = sum(fees.access.get(key, 0.0) for key in other.opens - one.opens)
    return opening + (fees.finish if other.jobs and not one.jobs else 0.0)
