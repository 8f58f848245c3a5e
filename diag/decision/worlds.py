"""Worlds drawn from the exact posterior: what is wrong on every cylinder and of the vehicle, and how hard it blows.

The posterior is a signed mixture over terms of independent plates (`inference.mixture`). A plate's *local worlds* are
joint states of its components, with the levels of the severities that decide what can go wrong; all but the hardly
possible ones are written down (what is left out is measured). Given the configuration and what was drawn on the plates
before, the chance of each local world of the next is a sum over terms with the plain values of the plates to come; so
plates are drawn one after another, and no approximation is in it but the worlds left out. May import: numpy,
inference, basics, and `binding`, `ground`, `lighter`, `needs`, `parts`, `restriction`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import Place
from diag.decision.believing import NEGLIGIBLE
from diag.decision.binding import Bound
from diag.decision.ground import ground_of
from diag.decision.lighter import lighter
from diag.decision.needs import NetworkView
from diag.decision.parts import Key, Part, part_chances
from diag.decision.tariff import Tariff
from diag.inference import Array, Asked, Posterior, cell_values, kept_configurations

__all__ = ["LocalWorlds", "WorldTable", "Worlds", "draw_worlds", "world_table"]

RARE = 1e-6  # product of marginal chances below which a local world is left out
MOST_WORLDS = 80  # of one plate, the likeliest by that product
DENSE = 100  # numbers for each value up to which marking them is quicker than sorting the values

States = NDArray[np.int64]
Level = tuple[str, Place]  # (severity, cylinder)


class LocalWorlds(Struct, frozen=True):
    """The local worlds of one plate: `states[key][world]`, `levels[severity, cylinder][world]`, and
    `values[world, term]`, the plate's value in each term jointly with the world; `plain[term]` without it."""

    states: Mapping[Key, States]
    levels: Mapping[Level, States]
    values: Array
    plain: Array


class WorldTable(Struct, frozen=True):
    """The posterior by local worlds: weights and configuration of each term, in the numbering of the whole model.

    `weights` hold the values of plates that nobody asks after. `left_out`: chance of all worlds left out together.
    `approximate`: so many findings of the vehicle meet that some were laid onto the components one by one."""

    weights: Array
    configuration: States
    plates: tuple[LocalWorlds, ...]
    left_out: float
    approximate: bool

    def expectation(self, factors: Sequence[Array], by_configuration: Array) -> float:
        """Expected product of a factor for each plate (`[world]`) and one of the configuration; over worlds kept."""
        whole = joint = self.weights
        for plate, factor in zip(self.plates, factors, strict=True):
            joint = joint * (factor @ plate.values)
            whole = whole * plate.values.sum(axis=0)
        return float((joint * by_configuration[self.configuration]).sum() / whole.sum())


class Worlds(Struct, frozen=True):
    """`states[key][draw]`, `levels[severity, cylinder][draw]` and `configuration[draw]`."""

    states: Mapping[Key, States]
    levels: Mapping[Level, States]
    configuration: States

    @property
    def count(self) -> int:
        """How many were drawn."""
        return len(self.configuration)


def world_table(bound: Bound, network: NetworkView, posterior: Posterior, most_terms: float = np.inf) -> WorldTable:
    """Write down the local worlds of every plate that has a fault component; beyond `most_terms` a configuration
    findings of the vehicle are laid onto the components (`lighter`). Raises TooLarge where so much was renewed
    on one cylinder that its levels cannot be kept apart."""
    kept = kept_configurations(posterior.configurations[0], 1.0 - NEGLIGIBLE)
    light = lighter(network.model, network.evidence, posterior, most_terms)
    ground = ground_of(network.model, light.evidence, tuple(({},) for _ in network.model.plates), kept)
    by_plate: dict[int, list[Part]] = {}
    for part in (part for site in bound.sites for part in site.parts):
        if part.spot is not None and part.fault:
            by_plate.setdefault(part.spot[0], []).append(part)
    local = {plate: _local(parts, posterior) for plate, parts in by_plate.items()}
    levels = {plate: _levels(bound.tariff, network, parts) for plate, parts in by_plate.items()}
    asked = []
    for plate, parts in by_plate.items():
        options = [{}, *(_option(parts, world) for world in local[plate])]
        axes = tuple(axis for _, axis in levels[plate])
        spot = parts[0].spot
        assert spot is not None
        asked.append(Asked(plate, options, axes or spot[1]))
    found = cell_values(ground.model, ground.evidence, asked)
    plates = tuple(
        _plate(bound.tariff, by_plate[plate], local[plate], [name for name, _ in levels[plate]], values)
        for plate, values in zip(by_plate, found, strict=True)
    )
    weights = ground.weights
    for plate, values in enumerate(ground.values):
        if plate not in by_plate:
            weights = weights * values[0]
    left_out = _left_out(weights, plates)
    return WorldTable(weights, kept[ground.configuration], plates, left_out, light.laid_aside > 0)


def _local(parts: Sequence[Part], posterior: Posterior) -> list[tuple[int, ...]]:
    """Joint states that are not hardly possible, by the product of their marginal chances."""
    found: list[tuple[float, tuple[int, ...]]] = [(1.0, ())]
    for part in parts:
        chances = part_chances(part, posterior)[0]
        found = [
            (p * float(chance), (*states, state))
            for p, states in found
            for state, chance in enumerate(chances)
            if p * chance >= RARE
        ]
    likeliest = sorted(found, key=lambda each: -each[0])[:MOST_WORLDS]
    return [states for _, states in likeliest]


def _levels(tariff: Tariff, network: NetworkView, parts: Sequence[Part]) -> list[tuple[Level, int]]:
    """The severities that decide risks of work in this plate's cylinder, each with its axis."""
    place = parts[0].key[1]
    repairs = tariff.knowledge.repairs.values()
    named = sorted({risk.by for repair in repairs for risk in repair.risks if risk.by is not None})
    found: list[tuple[Level, int]] = []
    for name in named:
        severity = tariff.knowledge.severities.get(name)
        if severity is not None and severity.per == "cylinder" and isinstance(place, int):
            found.append(((name, place), network.severity_at(name, place)[1]))
    return found


def _option(parts: Sequence[Part], world: tuple[int, ...]) -> dict[int, Array]:
    option = {}
    for part, state in zip(parts, world, strict=True):
        assert part.spot is not None
        factor = np.zeros((1, part.states))
        factor[0, state] = 1.0
        option[part.spot[1]] = factor
    return option


def _plate(
    tariff: Tariff, parts: Sequence[Part], worlds: list[tuple[int, ...]], levels: Sequence[Level], values: Array
) -> LocalWorlds:
    """`values[option, cell, term]`, the first option being the plate as it is."""
    plain, joint = values[0].sum(axis=0), values[1:]
    if not levels:
        joint = joint.sum(axis=1, keepdims=True)
    cells = joint.shape[1]
    table = np.array(worlds, dtype=np.int64).reshape(len(worlds), len(parts))
    states = {part.key: np.repeat(table[:, column], cells) for column, part in enumerate(parts)}
    sizes = [len(tariff.knowledge.severities[name].levels) for name, _ in levels]
    at = np.unravel_index(np.arange(cells), sizes) if levels else ()
    by_level = {level: np.tile(np.asarray(each), len(worlds)) for level, each in zip(levels, at, strict=True)}
    return LocalWorlds(states, by_level, joint.reshape(-1, joint.shape[2]), plain)


def _left_out(weights: Array, plates: Sequence[LocalWorlds]) -> float:
    kept = weights
    for plate in plates:
        kept = kept * plate.values.sum(axis=0)
    return float(max(0.0, 1.0 - kept.sum()))


def draw_worlds(table: WorldTable, count: int, seed: int) -> Worlds:
    """Draw worlds; the configurations come in the numbers that their chances ask for, as near as whole numbers can."""
    random = np.random.default_rng(seed)
    whole = table.weights * np.prod([plate.plain for plate in table.plates], axis=0)
    known = np.unique(table.configuration)
    chances = np.maximum([whole[table.configuration == each].sum() for each in known], 0.0)
    edges = np.cumsum(chances) / chances.sum()
    configuration = known[np.searchsorted(edges, (np.arange(count) + random.random()) / count)]
    cells = np.zeros((len(table.plates), count), dtype=np.int64)
    for each in np.unique(configuration):
        here, terms = np.flatnonzero(configuration == each), np.flatnonzero(table.configuration == each)
        cells[:, here] = _drawn(table, terms, random.random((len(table.plates), len(here))))
    states: dict[Key, States] = {}
    levels: dict[Level, States] = {}
    for plate, cell in zip(table.plates, cells, strict=True):
        states |= {key: each[cell] for key, each in plate.states.items()}
        levels |= {key: each[cell] for key, each in plate.levels.items()}
    return Worlds(states, levels, configuration)


def _drawn(table: WorldTable, terms: NDArray[np.intp], uniform: Array) -> States:
    """`[plate, draw]`: the local world of each plate; draws that are alike so far share one row of weights."""
    after = [np.ones(len(terms))]
    for plate in reversed(table.plates):
        after.append(after[-1] * plate.plain[terms])
    after.reverse()
    rows, row = table.weights[terms][None], np.zeros(uniform.shape[1], dtype=np.int64)
    found = np.zeros(uniform.shape, dtype=np.int64)
    for number, plate in enumerate(table.plates):
        values = plate.values[:, terms]
        chances = np.maximum((rows * after[number + 1]) @ values.T, 0.0)
        edges = np.cumsum(chances, axis=1)
        edges /= edges[:, -1:]
        edges += np.arange(len(rows))[:, None]  # one after another, so that all are sought in one ascending list
        found[number] = np.maximum(np.searchsorted(edges.ravel(), uniform[number] + row) - row * len(values), 0)
        pairs, row = _numbered(row * len(values) + found[number], len(rows) * len(values))
        earlier, world = np.divmod(pairs, len(values))
        rows = rows[earlier] * values[world]
        rows = rows / np.abs(rows).max(axis=1, keepdims=True)
    return found


def _numbered(values: States, count: int) -> tuple[States, States]:
    """The different ones of values below `count`, in order, and which of them each is."""
    if count > DENSE * len(values):
        return np.unique(values, return_inverse=True)
    there = np.zeros(count, dtype=np.int64)
    there[values] = 1
    return np.flatnonzero(there), (np.cumsum(there) - 1)[values]  # quicker than sorting them
