"""From a posterior to a belief about the sites of a case.

May import: inference, numpy, and of this room `binding`, `parts`, `restriction`, `risky`, `sites`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from diag.decision.binding import Bound, BoundSite
from diag.decision.parts import features_of, only_sound
from diag.decision.restriction import Laid, fitting_options, open_to
from diag.decision.risky import degrees_at, level_options
from diag.decision.sites import Belief
from diag.inference import (
    Array,
    Evidence,
    Mixture,
    Model,
    Posterior,
    kept_configurations,
    mixture,
    option_key,
    with_configurations,
)

__all__ = ["NEGLIGIBLE", "belief_from", "belief_laid", "belief_of", "choices_of"]

NEGLIGIBLE = 1e-5  # chance of all configurations together that no plan is reckoned with

Options = tuple[tuple[Mapping[int, Array], ...], ...]


def choices_of(
    bound: Bound, plates: int, treatments: Sequence[Sequence[int]] | None = None
) -> tuple[Options, tuple[tuple[dict[int, int], ...], ...]]:
    """What to ask of `mixture`: options of each plate, and for each site and factor the option at each of its plates.

    `treatments`: those of each site that are wanted, and then not the ideals; none: everything.
    """
    options: list[list[Mapping[int, Array]]] = [[] for _ in range(plates)]
    known: list[dict[tuple[object, ...], int]] = [{} for _ in range(plates)]
    used = []
    for number, each in enumerate(bound.sites):
        rows = []
        for index, spec in enumerate(each.factors):
            row: dict[int, int] = {}
            rows.append(row)
            if treatments is not None and index >= 2 and index - 2 not in treatments[number]:
                continue
            for plate in each.plates:
                factors = spec.plates.get(plate, {})
                key = tuple((index, factors[index].tobytes()) for index in sorted(factors))
                if key not in known[plate]:
                    known[plate][key] = len(options[plate])
                    options[plate].append(factors)
                row[plate] = known[plate][key]
        used.append(tuple(rows))
    for listed in options:
        if not listed:
            listed.append({})
    return tuple(tuple(listed) for listed in options), tuple(used)


def belief_of(
    bound: Bound, model: Model, evidence: Evidence, posterior: Posterior, before: Posterior | None = None
) -> Belief:
    """The belief after the evidence; `posterior` is that of the same evidence. `before`: where there are several cases,
    what was believed before they were told apart.

    Configurations that are together less likely than `NEGLIGIBLE` are left out: no total moves by more than that share
    of the dearest outcome, cents at most.
    """
    options, used = choices_of(bound, len(model.plates))
    chances = (before or posterior).configurations[0]
    return belief_from(bound, used, _laid(model, evidence, options, chances).mixed, posterior)


def belief_laid(bound: Bound, model: Model, evidence: Evidence, posterior: Posterior) -> tuple[Belief, Laid]:
    """`belief_of` with what it was read from, where each fault component was also asked to be sound alone, and each
    degree that moves complications to stand at each level: all that a ranking of checks needs."""
    options, used = choices_of(bound, len(model.plates))
    asked = _with_each_degree(bound, _with_each_sound(bound, options), posterior)
    laid = _laid(model, evidence, asked, posterior.configurations[0])
    return belief_from(bound, used, laid.mixed, posterior), laid


def _laid(model: Model, evidence: Evidence, options: Options, chances: Array) -> Laid:
    kept = kept_configurations(chances, 1.0 - NEGLIGIBLE)
    small, heard = with_configurations(model, open_to(model, evidence, options), kept)
    fitting = fitting_options(options, kept, len(model.configurations))
    return Laid(model, evidence, options, kept, mixture(small, heard, fitting, [kept.astype(np.float64)]))


def _with_each_sound(bound: Bound, options: Options) -> Options:
    """The options of each plate, and its fault components sound, one at a time, where that is not asked yet."""
    every = [{option_key(option): option for option in listed} for listed in options]
    for site in bound.sites:
        for part in site.parts:
            if part.spot is not None and part.fault:
                plate, component = part.spot
                option = {component: only_sound(part)}
                every[plate].setdefault(option_key(option), option)
    return tuple(tuple(listed.values()) for listed in every)


def _with_each_degree(bound: Bound, options: Options, posterior: Posterior) -> Options:
    """The options of each plate, and those of the degrees that move complications there."""
    every = [list(listed) for listed in options]
    for site in bound.sites:
        chances = features_of(site.features, posterior)[0]
        for degree in degrees_at(site, chances, bound.fees.come_back):
            every[degree.feature.plate] += level_options(degree.feature)
    return tuple(tuple(listed) for listed in every)


def belief_from(
    bound: Bound, used: Sequence[Sequence[Mapping[int, int]]], mixed: Mixture, posterior: Posterior
) -> Belief:
    """A belief from a mixture whose only configuration choice numbers the configurations."""
    configuration = np.rint(mixed.configuration_values[0]).astype(np.int64)
    weights = mixed.weights
    taken = {plate for each in bound.sites for plate in each.plates}
    for plate, values in enumerate(mixed.values):
        if plate not in taken:
            weights = weights * values[0]
    factors = tuple(_stacked(each, rows, mixed, configuration) for each, rows in zip(bound.sites, used, strict=True))
    features = tuple(features_of(each.features, posterior) for each in bound.sites)
    return Belief(weights, configuration, factors, features, np.ones(len(posterior.log_evidence)))


def _stacked(
    site: BoundSite, rows: Sequence[Mapping[int, int]], mixed: Mixture, configuration: NDArray[np.int64]
) -> Array:
    """`[factor, case or 1, term]` of a site."""
    plain = all(spec.configurations is None for spec in site.factors)
    plate = site.plates[0] if len(site.plates) == 1 else -1
    if plain and all(plate in row for row in rows):
        places = [row[plate] for row in rows]
        if places == list(range(len(places))):  # as they stand: most sites, and these may be very many numbers
            return mixed.values[plate][: len(places)]
        return np.take(mixed.values[plate], places, axis=0)
    stacked = []
    for spec, row in zip(site.factors, rows, strict=True):
        value = np.ones((1, len(configuration)))
        if spec.configurations is not None:
            value = spec.configurations[configuration][None]
        for plate, option in row.items():
            value = value * mixed.values[plate][option]
        stacked.append(value)
    wide = max(len(value) for value in stacked)
    return np.stack([np.broadcast_to(value, (wide, value.shape[1])) for value in stacked])
