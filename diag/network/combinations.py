"""The most probable joint states of everything that can be at fault, by name.

May import: knowledge_base, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference import Evidence, Model, Posterior, kept_configurations, most_probable, with_configurations
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.tables import levels_of

__all__ = ["MendedState", "NamedCombination", "named_combinations"]

NEGLIGIBLE = 1e-10  # chance, of all that is looked among, of the configurations that a search leaves out
LEAST = 1e-14  # combinations less probable than this are not looked for
Unsound = tuple[tuple[Key, int, str], ...]  # (component and place, version, state) of what is not sound


class MendedState(Struct, frozen=True):
    """A state that something was in before it was renewed or disturbed: before the `repair`-th (from 1) of the
    `repairs` that it had in this case."""

    key: Key
    state: str
    repair: int
    repairs: int


class NamedCombination(Struct, frozen=True):
    """A joint state of all components, and its probability given all that was told.

    `faults`: what is not sound now, as ((component, place), state); `mended`: what was not sound before it was renewed
    or disturbed in this case. What changed its cylinder is one thing, and stands where it is now.
    """

    faults: tuple[tuple[Key, str], ...]
    mended: tuple[MendedState, ...]
    probability: float


def named_combinations(network: CaseNetwork, posterior: Posterior, count: int) -> tuple[NamedCombination, ...]:
    """The `count` most probable combinations, most probable first.

    Inference sums over the configuration. The faults in it (a bank's circuit, debris) belong to a combination as much
    as any other, so the search is done given each joint state of theirs, likeliest first, and ends at one that is less
    probable than the last combination found. Circumstances (`fault: false`) stay summed over.
    """
    found: list[NamedCombination] = []
    for shared, among, chance in _shared_faults(network, posterior):
        if len(found) == count and chance <= found[-1].probability:
            break
        least = found[-1].probability / chance if len(found) == count else 0.0
        for combination in most_probable(*_given(network, posterior, among), count, least=max(least, LEAST)):
            local = [(*_component(network, at), state) for at, state in sorted(combination.states.items())]
            own = tuple((key, number, levels_of(network.knowledge, key[0])[state]) for key, number, state in local)
            found.append(_named(network, (*shared, *own), chance * combination.probability))
        found = sorted(found, key=lambda each: -each.probability)[:count]
    return tuple(found)


def _shared_faults(network: CaseNetwork, posterior: Posterior) -> Iterator[tuple[Unsound, NDArray[np.bool_], float]]:
    """Each joint state of the faults in the configuration: what is unsound, the configurations that have it so, and
    its probability; likeliest first."""
    configurations, components = network.layout.configurations, network.knowledge.components
    columns = [i for i, variable in enumerate(configurations.variables) if components[variable.key[0]].fault]
    states, group = np.unique(configurations.states[:, columns], axis=0, return_inverse=True)
    group = group.reshape(-1)
    chances = np.bincount(group, weights=posterior.configurations[0], minlength=len(states))
    for number in np.argsort(-chances, kind="stable"):
        named = ((configurations.variables[i], int(state)) for i, state in zip(columns, states[number], strict=True))
        unsound = tuple((known.key, known.version, known.states[state]) for known, state in named if state)
        if chances[number] > 0:
            yield unsound, group == number, float(chances[number])


def _given(network: CaseNetwork, posterior: Posterior, among: NDArray[np.bool_]) -> tuple[Model, Evidence]:
    """Model and evidence with only these configurations, the hardly possible ones of them left out too."""
    chances = np.where(among, posterior.configurations[0], 0.0)
    kept = kept_configurations(chances / chances.sum(), 1.0 - NEGLIGIBLE)
    return with_configurations(network.model, network.evidence, kept)


def _component(network: CaseNetwork, at: tuple[int, int]) -> tuple[Key, int]:
    """Which component at which place in which version stands at (plate, index)."""
    was_elsewhere = next((stay for stay, there in network.targets.elsewhere.items() if there == at), None)
    if was_elsewhere is not None:
        return was_elsewhere
    components: Mapping[Key, tuple[int, tuple[int, ...]]] = network.targets.components
    return next(
        (key, indices.index(at[1]))
        for key, (plate, indices) in components.items()
        if plate == at[0] and at[1] in indices
    )


def _named(network: CaseNetwork, unsound: Unsound, probability: float) -> NamedCombination:
    left = {
        (stay.key, stay.version) for one in network.layout.travellers for part in one.parts for stay in part.stays[:-1]
    }
    faults, mended = [], []
    for key, number, state in unsound:
        if (key, number) in left:
            continue
        now = network.current_version(key)
        if number == now:
            faults.append((key, state))
        else:
            before = [version for version in range(now) if (key, version) not in left]
            mended.append(MendedState(key, state, before.index(number) + 1, len(before)))
    return NamedCombination(tuple(faults), tuple(mended), probability)
