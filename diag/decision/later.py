"""Later failures of seals, and driving on with one that blows: events that depend on which seals are renewed.

Every event's expectation is that of weight[configuration] x product over wearing sites of (plain[configuration] +
sound[configuration] x 1(its seal is sound)). So all of them follow from one table, the joint chance of the
configuration and of which seals are sound, and are linear in it. May import:
numpy, and `lives`, `sites` of this room.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from diag.decision.lives import Steps, visits_expected, visits_of_new
from diag.decision.sites import PLAIN, SOUND, Belief, Site, Wear
from diag.inference import Array

__all__ = [
    "Events",
    "LaterCosts",
    "Pattern",
    "Policy",
    "alone_events",
    "best_renewal",
    "damage_event",
    "expectation",
    "joined",
    "most_saved",
    "seal_table",
    "together_events",
    "wearing",
]

Pattern = tuple[bool, ...]  # which wearing sites are renewed, in the order of `wearing`
Policy = tuple[str, ...]  # ('all',), or for each bank 'alone' or 'together'


class Events(Struct, frozen=True):
    """`weight[event, configuration]`, and for each wearing site `plain` and `sound`, `[event, site, configuration]`."""

    weight: Array
    plain: Array
    sound: Array


def wearing(sites: Sequence[Site]) -> tuple[int, ...]:
    """Indices of the sites that have a wearing component."""
    return tuple(index for index, site in enumerate(sites) if site.wear is not None)


def joined(parts: Sequence[Events]) -> Events:
    """All events of several sets."""
    return Events(*(np.concatenate([getattr(part, name) for part in parts]) for name in ("weight", "plain", "sound")))


def _untouched(wears: Sequence[Wear], events: int) -> tuple[Array, Array]:
    shape = (events, len(wears), len(wears[0].new))
    return np.ones(shape), np.zeros(shape)


def damage_event(wears: Sequence[Wear], pattern: Pattern, damage: float) -> Events:
    """Damage x (1 - P(every seal is sound or renewed)), as two events: the certain one and the product."""
    plain, sound = _untouched(wears, 2)
    for site, renewed in enumerate(pattern):
        if not renewed:
            plain[1, site], sound[1, site] = 0.0, 1.0
    configurations = plain.shape[2]
    return Events(damage * np.stack([np.ones(configurations), -np.ones(configurations)]), plain, sound)


def alone_events(wears: Sequence[Wear], site: int, renewed: bool, visit: float, steps: Steps) -> Events:
    """Cost of renewing one seal each time it fails within the horizon: one event."""
    wear, (plain, sound) = wears[site], _untouched(wears, 1)
    new = visits_expected(wear.new, wear.again, steps)
    plain[0, site] = new
    if not renewed:
        sound[0, site] = visits_expected(wear.left, wear.again, steps) - new
    cost = visit + wear.opening + wear.job
    return Events(np.full((1, plain.shape[2]), cost), plain, sound)


def together_weights(wears: Sequence[Wear], members: Sequence[int], visit: float, steps: Steps) -> Array:
    """`[configuration, step]`: discounted cost of renewing all members at a first failure in a step, and then alone."""
    opening = {wears[site].bank: wears[site].opening for site in members}
    beyond = max(wears[site].job - wears[site].job_sound for site in members)  # one has failed, the others are sound
    first = visit + sum(opening.values()) + sum(wears[site].job_sound for site in members) + max(0.0, beyond)
    after = np.zeros_like(wears[0].new)
    for site in members:
        wear = wears[site]
        visits = visits_of_new(wear.again, steps)  # of a new one over the steps that are left after each step
        after += (visit + wear.opening + wear.job) * visits[:, ::-1]
    return np.asarray(first * steps.middle_factor + steps.end_factor * after)


def together_events(wears: Sequence[Wear], members: Sequence[int], pattern: Pattern, by_step: Array) -> Events:
    """Cost of renewing all members at the first failure among them.

    With A_m the chance that all hold to the end of step m and w_m = `by_step[:, m]`, sum over m of (A_(m-1) - A_m) w_m
    = w_1 - sum over m of A_m (w_m - w_(m+1)), w beyond the horizon being 0: one event a step, and the certain one.
    """
    steps = by_step.shape[1]
    plain, sound = _untouched(wears, steps + 1)
    following = np.concatenate([by_step[:, 1:], np.zeros((len(by_step), 1))], axis=1)
    weight = np.concatenate([by_step[:, :1], following - by_step], axis=1).T
    for site in members:
        wear = wears[site]
        plain[1:, site] = wear.new.T
        if not pattern[site]:
            sound[1:, site] = (wear.left - wear.new).T
    return Events(np.ascontiguousarray(weight), plain, sound)


def seal_table(belief: Belief, sites: Sequence[int], configurations: int) -> Array:
    """`[case, configuration, which are sound]`: joint chance of the configuration and of which seals are sound.

    The last axis counts in binary, the first wearing site first; bit 1 is sound. Exact, by two halves of the sites.
    """
    weights = belief.weights
    for index, factors in enumerate(belief.factors):
        if index not in sites:
            weights = weights * factors[PLAIN]
    half = (len(sites) + 1) // 2
    table = np.zeros((belief.cases, configurations, 2**half, 2 ** (len(sites) - half)))
    for here in _stretches(belief.configuration):  # one after the other, each stays near the processor
        first, second = (_sound_products(belief, some, here) for some in (sites[:half], sites[half:]))
        left = np.swapaxes(first, 0, 1) * weights[:, None, here]
        table[:, belief.configuration[here.start]] += left @ np.transpose(second, (1, 2, 0))
    return table.reshape(belief.cases, configurations, -1)


def _stretches(configuration: NDArray[np.int64]) -> list[slice]:
    """Terms of one configuration that follow each other."""
    cuts = np.flatnonzero(np.diff(configuration)) + 1
    return [slice(start, end) for start, end in pairwise([0, *cuts.tolist(), len(configuration)])]


def _sound_products(belief: Belief, sites: Sequence[int], here: slice) -> Array:
    """`[which are sound, case or 1, term]`."""
    product = np.ones((1, 1, here.stop - here.start))
    for index in sites:
        plain, sound = belief.factors[index][PLAIN][:, here], belief.factors[index][SOUND][:, here]
        both = np.stack([product * (plain - sound), product * sound], axis=1)
        product = both.reshape(-1, *both.shape[2:])
    return product


def expectation(events: Events, table: Array) -> Array:
    """`[event, case]`: expected value of each event under a `seal_table`."""
    occurring = np.flatnonzero(table.any(axis=(0, 2)))
    if len(occurring) < table.shape[1]:  # the others add nothing
        table = table[:, occurring]
        events = Events(events.weight[:, occurring], events.plain[:, :, occurring], events.sound[:, :, occurring])
    result = table[None]  # [event or 1, case, configuration, which are sound]
    for site in reversed(range(events.plain.shape[1])):
        pairs = result.reshape(*result.shape[:-1], -1, 2)
        plain = events.plain[:, site][:, None, :, None]
        sound = events.sound[:, site][:, None, :, None]
        result = plain * (pairs[..., 0] + pairs[..., 1]) + sound * pairs[..., 1]
    return np.asarray(np.einsum("ekc,ec->ek", result[..., 0], events.weight))


def best_renewal(wear: Wear) -> bool:
    """Whether a new one lasts at least as long as one that is sound now (a failure rate that does not fall)."""
    return bool(np.all(wear.new >= wear.left - 1e-15))


def most_saved(wears: Sequence[Wear], site: int, visit: float, steps: Steps) -> float:
    """An upper bound of what renewing one sound seal rather than leaving it saves later, whatever else is done.

    For each way of acting later the cost is monotone in this seal's survival, all others holding at best (product 1),
    and a lesser of several falls by no more than the largest fall among them.
    """
    wear = wears[site]
    gained = np.maximum(wear.new - wear.left, 0.0)
    alone = (visit + wear.opening + wear.job) * (
        visits_expected(wear.left, wear.again, steps) - visits_expected(wear.new, wear.again, steps)
    )
    by_step = together_weights(wears, range(len(wears)), visit, steps)
    fall = by_step - np.concatenate([by_step[:, 1:], np.zeros((len(by_step), 1))], axis=1)
    return float(max(0.0, alone.max(), (fall * gained).sum(axis=1).max()))


class LaterCosts(Struct, dict=True):
    """Damage and later seal visits of every pattern of renewals, under one posterior; each is reckoned once."""

    table: Array  # a `seal_table` of one case
    sites: tuple[int, ...]
    wears: tuple[Wear, ...]
    visit: float
    damage: float
    steps: Steps
    _known: dict[tuple[object, ...], float] = field(default_factory=dict)
    _by_step: dict[tuple[int, ...], Array] = field(default_factory=dict)
    _made: dict[tuple[object, ...], Events] = field(default_factory=dict)
    _best: dict[Pattern, tuple[float, float, Policy]] = field(default_factory=dict)
    _held: dict[tuple[object, ...], Array] = field(default_factory=dict)

    @property
    def banks(self) -> tuple[str, ...]:
        """The banks that have wearing sites."""
        return tuple(dict.fromkeys(wear.bank for wear in self.wears))

    def members(self, bank: str) -> tuple[int, ...]:
        """Places (in the order of the pattern) of the wearing sites of a bank."""
        return tuple(place for place, wear in enumerate(self.wears) if wear.bank == bank)

    def cost(self, pattern: Pattern) -> tuple[float, float, Policy]:
        """Expected damage, expected cost of later visits, and the way of acting later that this cost has."""
        if not self.wears:
            return (0.0, 0.0, ())
        if pattern not in self._best:
            self._best[pattern] = self._reckoned(pattern)
        return self._best[pattern]

    def events(self, pattern: Pattern, policy: Policy) -> Events:
        """All events whose sum is damage plus later visits under a fixed way of acting later."""
        parts = [damage_event(self.wears, pattern, self.damage)]
        if policy == ("all",):
            parts.append(self._together(range(len(self.wears)), pattern))
        for bank, way in zip(self.banks, policy, strict=False):
            if way == "together":
                parts.append(self._together(self.members(bank), pattern))
            elif way == "alone":
                parts += [self._alone(place, pattern[place]) for place in self.members(bank)]
        return joined(parts)

    def under(self, pattern: Pattern, policy: Policy) -> float:
        """Expected cost of later visits under a fixed way of acting later."""
        if policy == ("all",):
            return self._together_value(("all", pattern), range(len(self.wears)), pattern)
        return sum(
            self._bank_value(bank, pattern)[way == "together"] for bank, way in zip(self.banks, policy, strict=True)
        )

    def _bank_value(self, bank: str, pattern: Pattern) -> tuple[float, float]:
        """What the seals of a bank cost later, each renewed alone, and all at the first failure."""
        members = self.members(bank)
        key = ("together", bank, *(pattern[place] for place in members))
        alone = sum(self._alone_value(place, pattern[place]) for place in members)
        return alone, self._together_value(key, members, pattern)

    def _alone(self, place: int, renewed: bool) -> Events:
        key = (place, renewed)
        if key not in self._made:
            self._made[key] = alone_events(self.wears, place, renewed, self.visit, self.steps)
        return self._made[key]

    def _together(self, members: Sequence[int], pattern: Pattern) -> Events:
        return together_events(self.wears, tuple(members), pattern, self._weights(members))

    def _weights(self, members: Sequence[int]) -> Array:
        key = tuple(members)
        if key not in self._by_step:
            self._by_step[key] = together_weights(self.wears, key, self.visit, self.steps)
        return self._by_step[key]

    def _together_value(self, key: tuple[object, ...], members: Sequence[int], pattern: Pattern) -> float:
        """Expected cost of renewing all members at the first failure: `together_events`, by what patterns share."""
        if key not in self._known:
            mine = tuple(pattern[place] if place in members else None for place in range(len(self.wears)))
            held = self._holds_to_the_end(mine)[..., 0]
            self._known[key] = float(np.einsum("ec,ec->e", held, self._event_weights(members)).sum())
        return self._known[key]

    def _event_weights(self, members: Sequence[int]) -> Array:
        """`[event, kind of configuration]`: the weights of `together_events`."""
        by_step = self._weights(members)[self._kinds[0]]
        following = np.concatenate([by_step[:, 1:], np.zeros((len(by_step), 1))], axis=1)
        return np.asarray(np.concatenate([by_step[:, :1], following - by_step], axis=1).T)

    def _holds_to_the_end(self, last: tuple[bool | None, ...]) -> Array:
        """`[event, kind of configuration, which of the first seals are sound]`: the chance of the kind and of those
        sound, and that the last seals hold to the end of each step (event 0: the chance alone), where each was renewed
        (true), left (false) or does not count (none). Patterns that end alike share this."""
        if not last:
            return np.asarray(self._kinds[1][None])
        found = self._held.get(last)
        if found is None:
            inner = self._holds_to_the_end(last[1:])
            pairs = inner.reshape(*inner.shape[:-1], -1, 2)
            found = pairs[..., 0] + pairs[..., 1]
            if last[0] is not None:
                wear = self.wears[len(self.wears) - len(last)]
                kinds = self._kinds[0]
                ones = np.ones((1, len(kinds)))
                plain = np.concatenate([ones, wear.new.T[:, kinds]])[:, :, None]
                found = plain * found
                if not last[0]:
                    sound = np.concatenate([0.0 * ones, (wear.left - wear.new).T[:, kinds]])[:, :, None]
                    found = found + sound * pairs[..., 1]
            self._held[last] = found
        return found

    @cached_property
    def of_all_patterns(self) -> Array:
        """`[renewed or not at each wearing site ...]` (0: left, 1: renewed): damage and later visits of every pattern,
        as `cost` has them."""
        count = len(self.wears)
        held = self._holding.reshape((2,) * count)[
            (slice(None, None, -1),) * count
        ]  # the table's 1 is 'sound and left'
        total = np.zeros((2,) * count)
        for bank in self.banks:
            members = self.members(bank)
            alone: Array = np.zeros((2,) * count)
            for place in members:
                shape = [2 if each == place else 1 for each in range(count)]
                alone = alone + np.array([self._alone_value(place, way) for way in (False, True)]).reshape(shape)
            total = total + np.minimum(alone, self._together_always(members))
        if len(self.banks) > 1:
            total = np.minimum(total, self._together_always(range(count)))
        return np.asarray(self.damage * (self._holding[0] - held) + total)

    def _together_always(self, members: Sequence[int]) -> Array:
        """`_together_value` of every pattern, with one dimension for each wearing site (1 long for the others).

        A sum over events and configurations of products over sites, so the sites are taken in two halves.
        """
        count = len(self.wears)
        half = (count + 1) // 2
        table = self._kinds[1].reshape(-1, 2**half, 2 ** (count - half))
        first, second = (self._passing(some, members) for some in (range(half), range(half, count)))
        inner = first @ table @ np.swapaxes(second, 2, 3)  # [event, configuration, pattern, pattern]
        weights = self._event_weights(members)
        values = weights.reshape(-1) @ inner.reshape(weights.size, -1)
        return np.asarray(values).reshape([2 if place in members else 1 for place in range(count)])

    def _passing(self, places: Sequence[int], members: Sequence[int]) -> Array:
        """`[event, kind of configuration, pattern, which are sound]`: the chance that the seals of these sites which
        are among the members hold to the end of each step (event 0: 1)."""
        steps, kinds = self.steps.count, self._kinds[0]
        result = np.ones((1 + steps, len(kinds), 1, 1))
        for place in places:
            each = np.ones((1 + steps, len(kinds), 2, 2))  # left or renewed; unsound or sound
            if place in members:
                wear = self.wears[place]
                each[1:] = wear.new.T[:, kinds, None, None]
                each[1:, :, 0, 1] = wear.left.T[:, kinds]
            else:
                each = each[:, :, :1]
            shape = (*result.shape[:2], result.shape[2] * each.shape[2], result.shape[3] * 2)
            result = (result[:, :, :, None, :, None] * each[:, :, None, :, None, :]).reshape(shape)
        return result

    @cached_property
    def _kinds(self) -> tuple[NDArray[np.intp], Array]:
        """One configuration of each kind in which all seals wear alike, of those that have a chance, and `[kind, which
        are sound]`: the table summed over it. Numberings, shifts and debris make many configurations and few kinds."""
        occurring = np.flatnonzero(self.table[0].any(axis=1))
        wear = np.concatenate([part[occurring] for each in self.wears for part in (each.left, each.new, each.again)], 1)
        _, first, kind = np.unique(wear, axis=0, return_index=True, return_inverse=True)
        table = [self.table[0][occurring[kind.reshape(-1) == each]].sum(axis=0) for each in range(len(first))]
        return occurring[first], np.stack(table)

    def _reckoned(self, pattern: Pattern) -> tuple[float, float, Policy]:
        left = sum(0 if renewed else 1 << place for place, renewed in enumerate(reversed(pattern)))
        damage = self.damage * float(self._holding[0] - self._holding[left])
        total, policy = 0.0, []
        for bank in self.banks:
            alone, together = self._bank_value(bank, pattern)
            total += min(alone, together)
            policy.append("alone" if alone <= together else "together")
        if len(self.banks) > 1:
            every = self._together_value(("all", pattern), range(len(self.wears)), pattern)
            if every < total:
                return (damage, every, ("all",))
        return (damage, total, tuple(policy))

    def _alone_value(self, place: int, renewed: bool) -> float:
        key = ("alone", place, renewed)
        if key not in self._known:
            wear, (every, sound) = self.wears[place], self._marginals  # as `alone_events`, without the other sites
            kinds = self._kinds[0]
            again = wear.again[kinds]
            new = visits_expected(wear.new[kinds], again, self.steps)
            visits = every @ new
            if not renewed:
                visits += sound[place] @ (visits_expected(wear.left[kinds], again, self.steps) - new)
            self._known[key] = float((self.visit + wear.opening + wear.job) * visits)
        return self._known[key]

    @cached_property
    def _holding(self) -> Array:
        """`[which]`: chance that at least these seals are sound, counted as in the table."""
        chances = self._kinds[1].sum(axis=0)
        for place in range(len(self.sites)):
            pairs = chances.reshape(2**place, 2, -1)
            chances = np.stack([pairs[:, 0] + pairs[:, 1], pairs[:, 1]], axis=1).reshape(-1)
        return np.asarray(chances)

    @cached_property
    def _marginals(self) -> tuple[Array, Array]:
        """`[kind of configuration]`: chance of each, and `[place, kind]`: chance of each with that seal sound."""
        table = self._kinds[1]
        sound = [
            table.reshape(len(table), 2**place, 2, -1)[:, :, 1].sum(axis=(1, 2)) for place in range(len(self.sites))
        ]
        return table.sum(axis=1), np.stack(sound)
