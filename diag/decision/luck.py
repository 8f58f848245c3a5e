"""Luck in drawn worlds: a uniform number for everything that chance decides, and the later lives of seals.

Options that are compared meet the same luck. May import: basics, inference, numpy, and `complaint`, `parts`,
`plans`, `tariff`, `worlds` of this room.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from zlib import crc32

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from diag.basics import Place
from diag.decision.complaint import causes_of_complaint
from diag.decision.parts import Key, Part
from diag.decision.plans import Reckoning
from diag.decision.tariff import WEARING
from diag.decision.worlds import Worlds, WorldTable
from diag.inference import Array

__all__ = ["Bools", "Luck", "later_seals"]

Bools = NDArray[np.bool_]


class Luck(Struct, dict=True):
    """Worlds, and a uniform number in each for everything that chance decides, the same for all options."""

    ready: Reckoning
    table: WorldTable
    worlds: Worlds
    seed: int
    _known: dict[tuple[object, ...], Array] = field(default_factory=dict)
    _later: dict[object, tuple[Array, Array]] = field(default_factory=dict)
    _mending: dict[Key, Array] = field(default_factory=dict)

    @cached_property
    def behind(self) -> frozenset[Key]:
        """What could be behind the complaint."""
        return causes_of_complaint(self.ready.knowledge, self.ready.case)

    @cached_property
    def places(self) -> dict[Key, tuple[int, Part]]:
        """Every component, and the number of the site that it is at."""
        sites = self.ready.bound.sites
        return {part.key: (number, part) for number, site in enumerate(sites) for part in site.parts}

    def later(self, renewed: set[Place], policy: Sequence[str]) -> tuple[Array, Array]:
        """`later_seals`, once for all options that renew the same and act alike later; not to be written to."""
        key = frozenset(renewed), tuple(policy)
        if key not in self._later:
            self._later[key] = later_seals(self, renewed, policy)
        return self._later[key]

    def uniform(self, *what: object) -> Array:
        """`[draw]`: between 0 and 1."""
        if what not in self._known:
            random = np.random.default_rng([self.seed, crc32(repr(what).encode())])
            self._known[what] = random.random(self.worlds.count)
        return self._known[what]

    def mending(self, part: Part) -> Array:
        """`[draw]`: money for mending it at the return visit, complications drawn; not to be written to."""
        if part.key not in self._mending:
            mending = self.ready.bound.tariff.mending_of(part.key)
            money = np.full(self.worlds.count, mending.certain)
            for number, (chance, extra) in enumerate(mending.risks):
                money += extra * (self.uniform("mending", part.key, number) < chance)
            self._mending[part.key] = money
        return self._mending[part.key]

    def unsound(self, part: Part) -> Bools:
        """`[draw]`: whether a component is unsound now."""
        return np.asarray(self.state(part) > 0)

    def state(self, part: Part) -> NDArray[np.int64]:
        """`[draw]`: the state of a component now."""
        if part.spot is None:
            return np.asarray(part.columns, dtype=np.int64)[self.worlds.configuration]
        return self.worlds.states[part.key]

    def by_configuration(self, chances: Array) -> Array:
        """`[draw]` (or one number) from `[configuration or 1]`."""
        return chances[self.worlds.configuration] if len(chances) > 1 else chances


def later_seals(luck: Luck, renewed: set[Place], policy: Sequence[str]) -> tuple[Array, Array]:
    """`[draw]`: discounted money for later seals, and what of it falls on seals renewed now within the guarantee.

    Step by step: each seal fails with the chance that its survival falls in this step, given that it held until then;
    a new one starts at the end of the step. Where several are done together, at the first failure among them.
    """
    later, worlds = luck.ready.problem.later, luck.worlds
    money, guarantee = np.zeros(worlds.count), np.zeros(worlds.count)
    if not later.wears:
        return money, guarantee
    places = [luck.ready.bound.sites[index].site.place for index in later.sites]
    ways = (
        dict.fromkeys(later.banks, "all") if tuple(policy) == ("all",) else dict(zip(later.banks, policy, strict=True))
    )
    groups = [[*range(len(places))]] if tuple(policy) == ("all",) else [[*later.members(bank)] for bank in later.banks]
    covered = _guarantee_months(luck)
    for group in groups:
        lives = [_Life(luck, number, places[number], places[number] in renewed) for number in group]
        waits = np.full(worlds.count, ways[later.wears[group[0]].bank] != "alone")
        wears = [later.wears[number] for number in group]
        access = sum({wear.bank: wear.opening for wear in wears}.values())
        beyond = max(0.0, max(wear.job - wear.job_sound for wear in wears))
        first = later.visit + access + sum(wear.job_sound for wear in wears) + beyond
        for step in range(later.steps.count):
            worth = later.steps.middle_factor[step]
            failed = np.stack([life.fails(step) for life in lives])
            any_failed = failed.any(axis=0) & waits
            money += worth * first * any_failed
            for life, wear, gone in zip(lives, wears, failed, strict=True):
                alone = gone & ~waits
                money += worth * (later.visit + wear.opening + wear.job) * alone
                if covered >= later.steps.ends[step] - later.steps.months / 2:
                    guarantee += worth * (wear.opening + wear.job) * (gone & life.from_this_visit)
                life.renew(step, any_failed | alone)
            waits &= ~any_failed
    return money, guarantee


def _guarantee_months(luck: Luck) -> float:
    """How long the workshop stands for its work: the months of its terms, or their kilometres where these end first."""
    prices = luck.ready.knowledge.prices
    months, km = prices.terms.guarantee_months, prices.terms.guarantee_km
    if months is None:
        return 0.0
    yearly = prices.customer.km_per_year.value
    return min(months, 12.0 * km / yearly) if km is not None and yearly > 0 else months


class _Life:
    """The seal of one cylinder in every draw: since which step it is in, and of which kind it is."""

    def __init__(self, luck: Luck, number: int, place: Place, renewed: bool) -> None:
        wear, worlds = luck.ready.problem.later.wears[number], luck.worlds
        self.luck, self.place = luck, place
        keeps = np.zeros(worlds.count, bool) if renewed else worlds.states[WEARING, place] == 0
        rows = worlds.configuration if len(wear.new) > 1 else np.zeros(worlds.count, dtype=np.int64)
        ahead = np.ones((len(wear.new), 1))
        # [kind, configuration, steps since]: left as it is, new at this visit, renewed at a later one
        self.table = np.stack([np.hstack([ahead, each]) for each in (wear.left, wear.new, wear.again)])
        _, self.configurations, self.steps = self.table.shape
        self.rows, self.begun = rows, self._begun(np.where(keeps, 0, 1), rows, 0)
        self.from_this_visit = np.full(worlds.count, renewed)

    def _begun(self, kind: int | NDArray[np.int64], rows: NDArray[np.int64], since: int) -> NDArray[np.int64]:
        """Where the table, laid flat, would stand at step 0."""
        return np.asarray((kind * self.configurations + rows) * self.steps - since)

    def fails(self, step: int) -> Bools:
        """`[draw]`: whether it fails in this step."""
        now = self.begun + step
        held, holds = self.table.take(now), self.table.take(now + 1)
        draw = self.luck.uniform("life", self.place, step)
        return np.asarray(draw * held >= holds)

    def renew(self, step: int, which: Bools) -> None:
        """It is renewed at the end of this step, in some draws."""
        self.begun = np.where(which, self._begun(2, self.rows, step + 1), self.begun)
        self.from_this_visit = self.from_this_visit & ~which
