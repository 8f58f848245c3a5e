"""The abstract decision: sites with treatments, and the belief about them as a signed mixture. Nothing of engines.

A *site* is one factor of the product in the objective: a cylinder, shared components that jobs treat together, or the
configuration. Its treatments are the sets of jobs that may be done there; treatment 0 does nothing. May import: numpy.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import Place
from diag.inference import Array

__all__ = ["PLAIN", "SOUND", "AccessKey", "Belief", "Job", "Plan", "Site", "Treatment", "Wear", "cure_factor"]

AccessKey = tuple[str, str]  # (kind of access, bank)
Plan = tuple[int, ...]  # index of the chosen treatment at each site

PLAIN, SOUND = (
    0,
    1,
)  # factors of a site: as it is; its wearing component sound; then the cure of each treatment; the ideal


class Job(NamedTuple):
    """A repair at a place."""

    repair: str
    place: Place


class Treatment(Struct, frozen=True):
    """One set of jobs at a site and what it does there; money in the one currency.

    `complications[feature]` and `mending[feature]` are linear in the site's features (posterior chances of its states
    and severity levels). `cure_least[feature]`, `cure_most[feature]`: bounds over configurations of the factor that
    each state puts into 'cured'; 1 for features that do not count. `opens`: access needed, with all it includes.
    """

    jobs: tuple[Job, ...]
    labour: float
    parts: float
    charges: float
    opens: frozenset[AccessKey]
    complications: Array
    mending: Array
    cure_least: Array
    cure_most: Array
    renews_wear: bool = False

    @property
    def money(self) -> float:
        """Labour, parts and charges together."""
        return self.labour + self.parts + self.charges


class Wear(Struct, frozen=True):
    """The wearing component (seal) of a site, over the steps of the horizon.

    `left[configuration, step]` and `new[configuration, step]`: survival of one that is sound now, and of a new one, at
    the end of each step; `early[configuration]`: the chance that one renewed at a later visit is unsound from the start
    (what it is at this visit stands in the cure). Money for renewing it, complications included: `job` when it has
    failed, `job_sound` when it still is sound; `opening`: for its access. `unsound[feature]` marks the features that
    are its unsound states.
    """

    bank: str
    left: Array
    new: Array
    job: float
    job_sound: float
    opening: float
    unsound: Array
    early: Array | float = 0.0

    @property
    def again(self) -> Array:
        """`[configuration, step]`: survival of one that was renewed at a later visit."""
        return np.asarray(self.new * (1.0 - np.reshape(self.early, (-1, 1))))


class Site(Struct, frozen=True):
    """A place where one of several treatments is chosen."""

    name: str
    place: Place
    treatments: tuple[Treatment, ...]
    wear: Wear | None = None


class Belief(Struct, frozen=True):
    """The posterior (or several, one a case) in the form that the objective needs.

    The expected product over sites of factor f_s is: sum over terms of weights[case, term] x product over sites of
    factors[site][f_s, case or 1, term]. Factors of a site: `PLAIN`, `SOUND`, then `cure_factor(t)` of each treatment,
    and last the ideal (at least as curing as any treatment, whatever the truth). `configuration[term]` tells the
    configuration of a term. `features[site][case, feature]` and `chance[case]` are joint: a case of a batch is an event
    with its chance, and every expectation over it is multiplied by that chance (1 for the posterior itself).
    """

    weights: Array
    configuration: NDArray[np.int64]
    factors: tuple[Array, ...]
    features: tuple[Array, ...]
    chance: Array

    @property
    def cases(self) -> int:
        """Number of cases of the batch."""
        return len(self.chance)


def cure_factor(treatment: int) -> int:
    """Index of the factor 'this site is cured by that treatment'."""
    return 2 + treatment
