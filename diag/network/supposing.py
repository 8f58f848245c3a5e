"""What is believed after any part of what was told, with something supposed besides: many parts at once.

What a plate holds in many cases is worked out together, so that this is several times quicker than one posterior after
the other. May import: inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import ImpossibleEvidence
from diag.inference import Array, Posterior, has_many_configurations, infer, log_evidence
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.subsets import Claim, Parts, ToldStep

__all__ = ["Supposed", "log_joint", "supposed"]

AT_ONCE = 1 << 10  # cases by configurations: with more together the plates no longer stay near the processor
TERMS_AT_ONCE = 1 << 17  # cases by configurations by terms; many terms gain nothing from being together


class Supposed(Struct, frozen=True):
    """`log_joint[part, claim]`: logarithm of the probability of a claim together with a part of what was told, minus
    infinity where that is impossible. `states[key][part, claim, state]`: of every component as it stands now, given
    both; zeros where they are impossible. `error[part, claim]` bounds the error of these."""

    log_joint: Array
    states: Mapping[Key, Array]
    error: Array


def supposed(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_], claims: Sequence[Claim] = ({},)
) -> Supposed:
    """What is believed after the parts `told[part, step]`, under each claim (`{}`: nothing supposed). Raises
    TooLarge."""
    count = len(claims)
    cases, claimed = np.repeat(np.arange(len(told)), count), list(claims) * len(told)
    parts = Parts(network, steps, told)
    log_evidence, error = np.full(len(cases), -np.inf), np.zeros(len(cases))
    states = {
        key: np.zeros((len(cases), len(network.knowledge.components[key[0]].states))) for key in network.layout.versions
    }
    at_once = _cases_at_once(network)
    for first in range(0, len(cases), at_once):
        chosen = np.arange(first, min(first + at_once, len(cases)))
        chosen, found = _possible(network, parts, cases, claimed, chosen)
        if found is None:
            continue
        log_evidence[chosen], error[chosen] = found.log_evidence, found.cancellation
        for key, table in states.items():
            table[chosen] = _states(network, found, key)
    shape = (len(told), count)
    by_part = {key: table.reshape(*shape, -1) for key, table in states.items()}
    return Supposed(log_evidence.reshape(shape), by_part, error.reshape(shape))


def log_joint(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_], claims: Sequence[Claim]
) -> Array:
    """`[part, claim]`: the logarithms alone, in half the time, on the scale of `supposed`. A claim is evidence of its
    own, so that the relative precision is that of the engine however rare it is. Raises TooLarge."""
    cases, claimed = np.repeat(np.arange(len(told)), len(claims)), list(claims) * len(told)
    parts = Parts(network, steps, told)
    found = np.empty(len(cases))
    at_once = len(claims) if has_many_configurations(network.model) else _cases_at_once(network)
    for first in range(0, len(cases), at_once):
        window = slice(first, first + at_once)
        found[window] = log_evidence(network.model, parts.evidence(cases[window], claimed[window]))
    return found.reshape(len(told), len(claims))


def _cases_at_once(network: CaseNetwork) -> int:
    configurations = len(network.model.configurations)
    terms = int(math.prod(size for _, table in network.evidence.shared for size in table.shape[1:]))
    at_once: int = min(AT_ONCE // configurations, TERMS_AT_ONCE // (configurations * terms))
    return max(1, at_once)


def _possible(
    network: CaseNetwork,
    parts: Parts,
    cases: NDArray[np.intp],
    claims: Sequence[Claim],
    chosen: NDArray[np.intp],
) -> tuple[NDArray[np.intp], Posterior | None]:
    """Those of the chosen cases that can be, and their posterior; none where none can."""
    while len(chosen):
        evidence = parts.evidence(cases[chosen], [claims[case] for case in chosen])
        try:
            return chosen, infer(network.model, evidence, unseen=False)
        except ImpossibleEvidence as error:
            chosen = np.delete(chosen, error.cases)
    return chosen, None


def _states(network: CaseNetwork, posterior: Posterior, key: Key) -> Array:
    """`[case, state]` of a component as it stands now."""
    at = network.component_at(*key)
    if at is not None:
        return posterior.components[at[0]][at[1]]
    count = len(network.knowledge.components[key[0]].states)
    return np.asarray(posterior.configurations @ np.eye(count)[network.configuration_states(*key)])
