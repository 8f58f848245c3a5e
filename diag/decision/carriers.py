"""What may be behind a danger that was told, and how much of it a plan takes away.

A finding of danger speaks of one severity (gas in the cabin) or component (a pressure pipe). The *carriers* are the
states of components that can bring it about, by the causes that the knowledge names: whatever else is wrong may wait.
Left out: that shared debris makes new carriers unsound more often (by a hundredth or so).
May import: casebook, basics, numpy, and `binding`, `parts`, `sites`, `tariff`, `treatments` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce

import numpy as np
from msgspec.structs import replace

from diag.basics import Place
from diag.casebook import DangerTold
from diag.decision.binding import Bound, BoundSite
from diag.decision.parts import Key, Part
from diag.decision.sites import Belief, Job, Plan, cure_factor
from diag.decision.tariff import Tariff
from diag.decision.treatments import FactorSpec, factor_spec

__all__ = ["carriers_of", "chance_gone", "danger_factor", "with_carriers"]

Carriers = Mapping[Key, tuple[bool, ...]]  # of each component which of its states


def carriers_of(tariff: Tariff, told: DangerTold) -> Carriers:
    """The states of components, at their places, that can bring about what was told: all that its severity has among
    its causes, directly or by another severity, within the place where it was told."""
    knowledge = tariff.knowledge
    known = knowledge.findings.get(told.item) or knowledge.readings[told.item]
    found: dict[Key, tuple[bool, ...]] = {}
    if known.shows in knowledge.components:
        states = list(knowledge.components[known.shows].states)
        chance = {name: figure.value for name, figure in getattr(known, "chance", {}).items()}
        usual = chance.get(states[0], 0.0)
        brings = tuple(place > 0 and chance.get(state, 1.0) > usual for place, state in enumerate(states))
        return {(known.shows, place): brings for place in told.places}
    waiting: list[tuple[str, Place]] = [(known.shows, place) for place in told.places]
    seen = set(waiting)
    while waiting:
        severity, place = waiting.pop()
        for cause, rows in knowledge.severities[severity].causes.items():
            bring = {state for state, levels in rows.items() if any(figure.value > 0 for figure in levels.values())}
            component = knowledge.components.get(cause)
            per = component.per if component is not None else knowledge.severities[cause].per
            for where in tariff.places_reached(per, place):
                if component is not None and component.fault:
                    mine = tuple(state in bring for state in component.states)
                    before = found.get((cause, where), mine)
                    found[cause, where] = tuple(one or other for one, other in zip(mine, before, strict=True))
                elif component is None and bring and (cause, where) not in seen:
                    seen.add((cause, where))
                    waiting.append((cause, where))
    return found


def with_carriers(bound: Bound, told: Sequence[DangerTold]) -> Bound:
    """The sites with, before the ideal, a factor for each danger that was told and each treatment: that nothing behind
    it is left there (see `danger_factor`)."""
    if not told:
        return bound
    parts = {part.key: part for site in bound.sites for part in site.parts}
    carriers = tuple(carriers_of(bound.tariff, each) for each in told)
    sites = []
    for site in bound.sites:
        gone = [
            _gone(bound.tariff, site, treatment.jobs, each, parts)
            for each in carriers
            for treatment in site.site.treatments
        ]
        sites.append(replace(site, factors=(*site.factors[:-1], *gone, site.factors[-1])))
    return replace(bound, sites=tuple(sites), carriers=carriers)


def danger_factor(treatments: int, danger: int, treatment: int) -> int:
    """Index of the factor 'nothing behind that danger is left here' of a treatment, of so many."""
    return cure_factor(treatments * (danger + 1) + treatment)


def chance_gone(bound: Bound, belief: Belief, plan: Plan, danger: int | None = None) -> float:
    """Chance that after a plan nothing is left that may be behind a danger, by its number; none: nothing at all."""
    rows = []
    for site, factors, choice in zip(bound.sites, belief.factors, plan, strict=True):
        many = len(site.site.treatments)
        rows.append(factors[cure_factor(choice) if danger is None else danger_factor(many, danger, choice), 0])
    return float(reduce(np.multiply, rows, belief.weights[0]).sum())


def _gone(
    tariff: Tariff, site: BoundSite, jobs: Sequence[Job], carriers: Carriers, parts: Mapping[Key, Part]
) -> FactorSpec:
    renewed = frozenset[Key]().union(*(tariff.renewed(job) for job in jobs))
    disturbed = frozenset[Key]().union(*(tariff.disturbed(job) for job in jobs)) - renewed
    cures = []
    for part in site.parts:
        harmless = ~np.array(carriers.get(part.key, (False,) * part.states))
        left = np.asarray(harmless[None], dtype=np.float64)
        if part.key in carriers and part.key in renewed:
            left = np.repeat(part.fresh @ left[0][:, None], part.states, axis=1)
        elif part.key in carriers and part.key in disturbed:
            sound = part.disturbed @ left[0]
            left = np.repeat(left, len(sound), axis=0)
            left[:, 0] = sound
        cures.append(left if part.spot is not None else left[0][list(part.columns)])
    own = {part.key for part in site.parts}
    elsewhere = [parts[key] for key in sorted(disturbed - own, key=str) if key in carriers and key in parts]
    for part in elsewhere:
        cures[0] = cures[0] * (1.0 - part.upset)
    return factor_spec(site.parts, cures)
