"""Worlds drawn forwards under conditions: what must be at fault, what must be sound, what the customer tells.

What is asked of components is met exactly: configurations are weighed by how likely they make it, and each component
then draws from the states that are left. What is told is met by drawing until it is so. Without any wish, worlds come
with exactly the chances that the model gives them after the complaint.
May import: network, inference, casebook, knowledge_base, basics, numpy, and `worlds`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.basics import UsageError
from diag.casebook import PRESENT, Answer
from diag.inference import Array, Component
from diag.network import CaseNetwork
from diag.training.worlds import Key, World, chances_of, noise_slots

__all__ = ["Allowed", "draw_world"]

FIRST, BATCH, MOST = 500, 8_000, 1_500_000  # worlds drawn at once, first and then, and at most

Allowed = Mapping[Key, Sequence[int]]
"""By component the states that it may have; any where it is not named."""
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class _Batch:
    """Many worlds: `states[key][draw]`, `levels[key][draw]` of severities, `noise[slot, draw]`."""

    states: Mapping[Key, Integers]
    levels: Mapping[Key, Integers]
    noise: Array


def draw_world(network: CaseNetwork, allowed: Allowed, told: Sequence[Answer], seed: int) -> World:
    """One world in which the components are as allowed and everything told is true. `network`: of the bare start.

    Raises UsageError where that is impossible, or too rare to be found.
    """
    random = np.random.default_rng([seed, 1])
    weights = _weights(network, allowed)
    tried, count = 0, FIRST
    while tried < MOST:
        batch = _forwards(network, allowed, weights, random, count)
        fine, uniforms = _showing(network, batch, told, random)
        found = np.flatnonzero(fine)
        if len(found):
            one = int(found[0])
            pinned = {(each.item, each.place, each.condition): float(uniform[one]) for each, uniform in uniforms}
            states = {key: int(column[one]) for key, column in batch.states.items()}
            return World(seed, states, tuple(float(u) for u in batch.noise[:, one]), {}, pinned)
        tried, count = tried + count, BATCH
    raise UsageError(
        f"none of {tried:,} vehicles drawn with these faults shows this complaint; choose another complaint or fault"
    )


def _weights(network: CaseNetwork, allowed: Allowed) -> Array:
    """`[configuration]`: its chance, given what components must be like."""
    model = network.model
    weights = model.configurations.copy()
    for key, states in allowed.items():
        if key in network.targets.components:
            plate, index = network.targets.components[key]
            prior = model.plates[plate].components[index[0]].prior
            weights = weights * prior[:, list(states)].sum(axis=1)
        elif key in network.layout.versions:
            weights = weights * np.isin(network.configuration_states(*key), list(states))
        else:
            raise UsageError(f"this engine has no '{key[0]}' there")
    if not weights.sum() > 0:
        raise UsageError("these faults cannot be together on this vehicle; choose others")
    return np.asarray(weights / weights.sum())


def _forwards(
    network: CaseNetwork, allowed: Allowed, weights: Array, random: np.random.Generator, draws: int
) -> _Batch:
    model = network.model
    configuration = random.choice(len(weights), size=draws, p=weights).astype(np.int64)
    noise = random.random((noise_slots(network), draws))
    slots = iter(noise)
    keys = {(plate, index[0]): key for key, (plate, index) in network.targets.components.items()}
    states: dict[Key, Integers] = {
        key: network.configuration_states(*key)[configuration]
        for key in network.layout.versions
        if key not in network.targets.components
    }
    levels: dict[Key, Integers] = {}
    shared = [np.zeros(draws, dtype=np.int64) for _ in model.shared]
    for number, plate in enumerate(model.plates):
        axes = [np.zeros(draws, dtype=np.int64) for _ in plate.axes]
        for index, component in enumerate(plate.components):
            key = keys.get((number, index))
            prior = _prior(component, allowed.get(key) if key is not None else None)
            state = _drawn(prior[configuration % len(prior)], random.random(draws))
            if key is not None:
                states[key] = state
            for link in component.links:
                given = _drawn(link.table[configuration % len(link.table), state], next(slots))
                for axis in link.axes:
                    axes[axis] = np.maximum(axes[axis], given)
        for emission in plate.emissions:
            given = _drawn(emission.table[axes[emission.axes[0]]], next(slots))
            shared[emission.shared] = np.maximum(shared[emission.shared], given)
        levels |= {key: axes[at[0]] for key, (where, at) in network.targets.axes.items() if where == number}
    for number, severity in enumerate(model.shared):
        for background in severity.backgrounds:
            given = _drawn(background[0][configuration % background.shape[1]], next(slots))
            shared[number] = np.maximum(shared[number], given)
    return _Batch(states, levels | _chained(network, shared, slots), noise)


def _prior(component: Component, allowed: Sequence[int] | None) -> Array:
    """`[configuration or 1, state]`: the prior among the states that are left."""
    prior = component.prior
    if allowed is not None:
        kept = np.zeros_like(prior)
        kept[:, list(allowed)] = prior[:, list(allowed)]
        total = kept.sum(axis=1, keepdims=True)
        prior = np.divide(kept, total, out=np.zeros_like(kept), where=total > 0)
    return np.asarray(prior)


def _chained(network: CaseNetwork, shared: Sequence[Integers], slots: Iterator[Array]) -> dict[Key, Integers]:
    found: dict[str, Integers] = {}
    for name, node in network.targets.chain.nodes.items():
        level = shared[node.shared]
        for cause, table in node.causes.items():
            level = np.maximum(level, _drawn(table[found[cause]], next(slots)))
        found[name] = level
    return {(name, None): level for name, level in found.items()}


def _drawn(table: Array, uniform: Array) -> Integers:
    """The first level whose cumulated chance in `table[draw, level]` exceeds the uniform number."""
    return np.asarray((np.cumsum(table[:, :-1], axis=1) <= uniform[:, None]).sum(axis=1), dtype=np.int64)


def _showing(
    network: CaseNetwork, batch: _Batch, told: Sequence[Answer], random: np.random.Generator
) -> tuple[NDArray[np.bool_], list[tuple[Answer, Array]]]:
    """Which worlds answer as was told, and the numbers behind the answers."""
    draws = int(batch.noise.shape[1])
    fine = np.ones(draws, dtype=np.bool_)
    uniforms: list[tuple[Answer, Array]] = []
    common: dict[Key, tuple[NDArray[np.bool_], Array]] = {}
    for each in told:
        finding = network.knowledge.findings[each.item]
        by_level = chances_of(network.knowledge, finding, each.condition)
        key = (finding.shows, each.place)
        column = batch.levels[key] if key in batch.levels else batch.states[key]
        uniform = random.random(draws)
        if finding.lasting.value:
            at = (each.item, each.place)
            if at not in common:
                common[at] = random.random(draws) < finding.lasting.value, random.random(draws)
            uniform = np.where(common[at][0], common[at][1], uniform)
        present = uniform < by_level[column]
        fine &= present if each.answer == PRESENT else ~present
        uniforms.append((each, uniform))
    return fine, uniforms
