"""What may go wrong on the way, by the degrees that decide it: an answer that speaks of how hard it blows speaks of
what the work may cost, too.

May import: inference, numpy, and `binding`, `parts`, `sites` of this room.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from msgspec import Struct

from diag.decision.binding import BoundSite
from diag.decision.parts import Feature
from diag.inference import Array, of_axis

__all__ = ["Degree", "degrees_at", "level_options"]

LEAST = 1e-3  # of a return visit's money: what a degree may make of complications, all answers together, to be heard


class Degree(Struct, frozen=True):
    """A severity in a cylinder that decides complications there; `money[treatment, level]`: what each treatment of the
    site then costs on the way, and `start`: where its levels stand among the features."""

    feature: Feature
    money: Array
    start: int


def degrees_at(site: BoundSite, features: Array, come_back: float) -> Iterator[Degree]:
    """The degrees that move what the treatments of a site cost on the way; `features[feature]`: the site's chances.
    What one that is left out could change is less than `LEAST` of `come_back`, all answers together."""
    start = 0
    for feature in site.features:
        here = slice(start, start + feature.size)
        if feature.kind == "axis":
            money = np.stack([each.complications[here] for each in site.site.treatments])
            beyond = (money - money[:, :1]) @ features[here]
            if np.abs(beyond).max() > LEAST * come_back:
                yield Degree(feature, money, start)
        start += feature.size


def level_options(feature: Feature) -> list[Mapping[int, Array]]:
    """Options of a plate in which a degree stands at one level, for each level but the first."""
    return [{of_axis(feature.index): row[None]} for row in np.eye(feature.size)[1:]]
