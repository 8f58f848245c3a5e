"""Lighter evidence for the ranking of checks, where many findings of the whole vehicle meet.

Every such finding multiplies the terms of the posterior. Where they are too many, the most telling findings stay as
they are, and the others are laid onto the components one by one: the likelihood of each component's states (and of the
configurations) is changed until every marginal is again what it is under all the evidence. What is lost is how the
findings laid aside tie cylinders together; the ranking says so. Repairs are decided on the whole evidence, always.
This is iterative proportional fitting (Deming & Stephan 1940) of the marginals. May import: inference, numpy.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.inference import Array, Evidence, Model, Posterior, differenced, infer

__all__ = ["Light", "lighter", "most_terms", "terms_of"]

MOST_TERMS = 800  # a configuration, over the number of cylinders, before findings of the vehicle are laid aside
ROUNDS, CLOSE = 2, 0.01  # of fitting, and the difference of marginals at which it is good enough
FLOOR = 1e-12  # marginals below which nothing is fitted


class Light(Struct, frozen=True):
    """Evidence for a ranking. `laid_aside`: how many groups of findings of the vehicle lie on the components; `off`:
    the largest difference that is left between a marginal and what it is under all the evidence."""

    evidence: Evidence
    laid_aside: int
    off: float


def most_terms(cylinders: int) -> int:
    """Terms a configuration up to which a ranking takes all evidence as it is."""
    return MOST_TERMS // cylinders


def terms_of(evidence: Evidence) -> float:
    """Terms a configuration of evidence of one case."""
    return float(np.prod([float(_terms_in(likelihood)) for _, likelihood in evidence.shared]))


def lighter(model: Model, evidence: Evidence, posterior: Posterior, most: float) -> Light:
    """The evidence with at most about `most` terms a configuration; as it is where it has no more.

    `posterior` is that of all the evidence, which is of one case.
    """
    if terms_of(evidence) <= most:
        return Light(evidence, 0, 0.0)
    counts = [_terms_in(likelihood) for _, likelihood in evidence.shared]
    telling = [
        _telling(likelihood) / np.log(max(count, 2))
        for (_, likelihood), count in zip(evidence.shared, counts, strict=True)
    ]
    kept: list[int] = []
    held = 1
    for number in sorted(range(len(counts)), key=lambda each: (counts[each] > 1, -telling[each])):
        if held * counts[number] <= most:
            kept.append(number)
            held *= counts[number]
    light = replace(evidence, shared=tuple(evidence.shared[number] for number in sorted(kept)))
    best = Light(light, len(counts) - len(kept), np.inf)
    for rounds_left in reversed(range(ROUNDS + 1)):
        now = infer(model, light, unseen=False)  # only components and configurations are compared
        off = _off(posterior, now)
        if off < best.off:
            best = replace(best, evidence=light, off=off)
        if rounds_left and off > CLOSE:
            light = replace(light, components=_fitted(model, light, posterior, now))
        else:
            break
    return best


def _terms_in(likelihood: Array) -> int:
    """How many terms a likelihood `[1, level, ...]` over shared maxima has: its differenced cells that are not 0."""
    return int(np.count_nonzero(np.any(differenced(likelihood) != 0.0, axis=0)))


def _telling(likelihood: Array) -> float:
    """How much a finding tells: the logarithm of its largest over its least likelihood."""
    least = float(likelihood[likelihood > 0].min())
    return float(np.log(likelihood.max() / least)) if float(likelihood.min()) > 0 else np.inf


def _ratio(wanted: Array, now: Array) -> Array:
    fine = (now > FLOOR) & (wanted > FLOOR)
    return np.where(fine, wanted / np.where(fine, now, 1.0), 1.0)


def _fitted(model: Model, light: Evidence, wanted: Posterior, now: Posterior) -> dict[tuple[int, int], Array]:
    """Likelihoods of components, each multiplied by what its marginal lacks; the configurations' on the first
    component of one state."""
    components = dict(light.components)
    spare: tuple[int, int] | None = None
    for number, plate in enumerate(model.plates):
        for index, component in enumerate(plate.components):
            key = (number, index)
            if component.prior.shape[1] == 1:
                spare = key if spare is None else spare
                continue
            ratio = _ratio(wanted.components[number][index], now.components[number][index])[:, None, :]
            components[key] = components[key] * ratio if key in components else ratio
    if spare is not None:
        ratio = _ratio(wanted.configurations, now.configurations)[:, :, None]
        components[spare] = components[spare] * ratio if spare in components else ratio
    return components


def _off(wanted: Posterior, now: Posterior) -> float:
    pairs = zip(wanted.components, now.components, strict=True)
    return max(float(np.abs(a - b).max()) for mine, theirs in pairs for a, b in zip(mine, theirs, strict=True))
