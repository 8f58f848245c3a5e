"""The posterior laid out for the ranking of checks: what one more answer about one hidden thing would do to it.

Configurations that are all together less likely than a stated share are left out, and everything else is exact. For
each plate and each option of it (as it is; its seal sound; cured by a treatment; one component sound) the values by
term are kept, and again jointly with each cell of each hidden thing. Cells of the vehicle are asked as likelihoods of 2
in the cell and 1 elsewhere, less the plain case: so none is impossible, and no digits are lost. May import: inference,
numpy, and `answers`, `restriction` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, reduce

import numpy as np
from msgspec import Struct, structs
from numpy.typing import NDArray

from diag.decision.answers import Hidden
from diag.decision.restriction import Laid, Options, fitting_options, open_to
from diag.inference import (
    Array,
    Asked,
    AskedSums,
    Evidence,
    Mixture,
    Model,
    cell_sums,
    cell_values,
    mixture,
    mixtures,
    with_configurations,
)

__all__ = [
    "Cells",
    "Ground",
    "cells_of",
    "ground_of",
    "sums_of",
]


AT_ONCE = 1 << 18  # numbers up to which one large product is quicker than many small ones


@dataclass(frozen=True)
class Ground:
    """`weights[term]`, `configuration[term]` (index among those kept), `values[plate][option, term]`.

    The sum over terms of weights x product over plates of option 0 is 1.
    """

    model: Model
    evidence: Evidence
    options: Options
    kept: NDArray[np.intp]
    weights: Array
    configuration: NDArray[np.int64]
    values: tuple[Array, ...]
    _sound: dict[tuple[tuple[int, int], ...], Array] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    def sound_products(self, seals: Sequence[tuple[int, int]]) -> Array:
        """`[which are sound, term]` of some (plate, option 'sound'), counted in binary, the first seal first. Many ask
        for the same."""
        key = tuple(seals)
        if key not in self._sound:
            product = np.ones((1, len(self.weights)))
            for plate, option in key:
                sound = self.values[plate][option]
                pair = np.stack([self.values[plate][0] - sound, sound])
                product = (product[:, None] * pair[None]).reshape(-1, product.shape[1])
            self._sound[key] = product
        return self._sound[key]

    @cached_property
    def stretches(self) -> tuple[slice | NDArray[np.intp], ...]:
        """Where the terms of each kept configuration stand: a stretch, if they are side by side."""
        found: list[slice | NDArray[np.intp]] = []
        for index in range(len(self.kept)):
            here = np.flatnonzero(self.configuration == index)
            beside = len(here) > 0 and int(here[-1] - here[0]) == len(here) - 1
            found.append(slice(int(here[0]), int(here[-1]) + 1) if beside else here)
        return tuple(found)

    @cached_property
    def together(self) -> Array:
        """`[plate, option, term]`: the values of all plates, ones where a plate has no such option."""
        most = max(len(values) for values in self.values)
        result = np.ones((len(self.values), most, len(self.weights)))
        for plate, values in enumerate(self.values):
            result[plate, : len(values)] = values
        return result

    def product(self, options: NDArray[np.intp], but: int | None = None) -> Array:
        """`[choice, term]`: the product over all plates (but one) of the values with the options chosen,
        `options[choice, plate]`."""
        plates = np.array([plate for plate in range(len(self.values)) if plate != but], dtype=np.intp)
        if options.size * len(self.weights) <= AT_ONCE:
            return np.asarray(self.together[plates, options[:, plates]].prod(axis=1))
        chosen = ([self.values[plate][row[plate]] for plate in plates.tolist()] for row in options)
        return np.stack([reduce(np.multiply, each) for each in chosen])


class Cells(Struct, frozen=True):
    """What hearing about one hidden thing changes.

    Of a plate: `values[option, cell, term]` of that plate jointly with each cell. Otherwise (`plate` none): one option
    with the weights jointly with each cell, in the terms of a ground that things of the vehicle share: nothing at the
    terms of the others.
    """

    hidden: Hidden
    ground: Ground
    plate: int | None
    values: Array


def ground_of(
    model: Model, evidence: Evidence, options: Options, kept: NDArray[np.intp], laid: Laid | None = None
) -> Ground:
    """Lay out the posterior with only some configurations; `laid`: how it lies with more of them, which is read where
    it holds all that is asked."""
    small, heard = with_configurations(model, open_to(model, evidence, options), kept)
    fitting = fitting_options(options, kept, len(model.configurations))
    known = laid.narrowed(model, evidence, options, kept) if laid is not None else None
    if known is not None:
        weights, values = known
        configuration = np.repeat(np.arange(len(kept)), len(weights) // len(kept))
        return Ground(small, heard, fitting, kept, weights, configuration, values)
    mixed = mixture(small, heard, fitting, [np.arange(len(kept), dtype=np.float64)])
    return _ground(small, heard, fitting, kept, mixed)


def _ground(model: Model, evidence: Evidence, options: Options, kept: NDArray[np.intp], mixed: Mixture) -> Ground:
    configuration = np.rint(mixed.configuration_values[0]).astype(np.int64)
    return Ground(
        model, evidence, options, kept, mixed.weights[0], configuration, tuple(values[:, 0] for values in mixed.values)
    )


def cells_of(ground: Ground, hidden: Sequence[Hidden], wanted: Mapping[int, Sequence[int]]) -> dict[Hidden, Cells]:
    """The posterior jointly with every cell of some hidden things; `wanted[plate]`: the options that matter there (the
    values of others are 0)."""
    within = [thing for thing in hidden if thing.plate is not None]
    found = cells_of_vehicle(ground, [thing for thing in hidden if thing.plate is None], wanted)
    asked = []
    for thing in within:
        assert thing.plate is not None
        options = [ground.options[thing.plate][option] for option in wanted[thing.plate]]
        asked.append(Asked(thing.plate, options, _thing(thing)))
    values = cell_values(ground.model, ground.evidence, asked)
    for thing, each, some in zip(within, asked, values, strict=True):
        scattered = _scattered(ground, each.plate, wanted[each.plate], some)
        found[thing] = Cells(thing, ground, each.plate, scattered)
    return found


def _thing(hidden: Hidden) -> int | tuple[int, ...]:
    return hidden.local[0] if hidden.kind == "component" else hidden.local


def sums_of(
    ground: Ground, hidden: Sequence[Hidden], rows: Mapping[int, tuple[Sequence[int], Array]]
) -> dict[Hidden, Array]:
    """`[row, cell]` for hidden things of plates: the sum over terms of each row's gradient and the plate's values with
    the row's option, jointly with each cell; `rows[plate]` is (option of each row, gradient `[row, term]`)."""
    by_plate: dict[int, list[Hidden]] = {}
    several: list[Hidden] = []
    for thing in hidden:
        assert thing.plate is not None
        if len(thing.local) > 1:
            several.append(thing)
        else:
            by_plate.setdefault(thing.plate, []).append(thing)
    found: dict[Hidden, Array] = {}
    asked = []
    for plate, things in by_plate.items():
        numbers, gradient = rows[plate]
        options = [ground.options[plate][option] for option in numbers]
        places = [thing.local[0] if thing.kind == "component" else (thing.local[0],) for thing in things]
        asked.append(AskedSums(plate, options, gradient, places))
    for things, sums in zip(by_plate.values(), cell_sums(ground.model, ground.evidence, asked), strict=True):
        found |= dict(zip(things, sums, strict=True))
    wanted = {plate: sorted(set(numbers)) for plate, (numbers, _) in rows.items()}
    for thing, cells in cells_of(ground, several, wanted).items():
        assert thing.plate is not None
        numbers, gradient = rows[thing.plate]
        found[thing] = np.einsum("fct,ft->fc", cells.values[list(numbers)], gradient)
    return found


def _all_scattered(ground: Ground, wanted: Mapping[int, Sequence[int]], values: Sequence[Array]) -> tuple[Array, ...]:
    """`_scattered` of all plates; plates that share an array go on sharing one."""
    done: dict[tuple[int, int, tuple[int, ...]], Array] = {}
    result = []
    for plate, some in enumerate(values):
        count, places = len(ground.options[plate]), tuple(wanted[plate])
        key = (id(some), count, places)
        if key not in done:
            done[key] = some if places == tuple(range(count)) else _scattered(ground, plate, places, some)
        result.append(done[key])
    return tuple(result)


def _scattered(ground: Ground, plate: int, wanted: Sequence[int], some: Array) -> Array:
    """Values of the wanted options at their places among all."""
    values = np.zeros((len(ground.options[plate]), *some.shape[1:]))
    values[list(wanted)] = some
    return values


def cells_of_vehicle(
    ground: Ground, hidden: Sequence[Hidden], wanted: Mapping[int, Sequence[int]]
) -> dict[Hidden, Cells]:
    """The posterior jointly with every cell of hidden things of the vehicle or of the configuration.

    Degrees of the vehicle that nothing was told of bring terms of their own, so the ground is laid out again.
    """
    found = {thing: _cells_of_configuration(ground, thing) for thing in hidden if thing.kind == "configuration"}
    things = [thing for thing in hidden if thing.kind != "configuration"]
    if not things:
        return found
    tables = (np.concatenate([np.ones((1, thing.cells)), 1.0 + np.eye(thing.cells)]) for thing in things)
    evidence = [_heard_too(ground.evidence, thing, table) for thing, table in zip(things, tables, strict=True)]
    numbers = np.arange(len(ground.kept), dtype=np.float64)
    options = [[listed[each] for each in wanted[plate]] for plate, listed in enumerate(ground.options)]
    left = iter(things)
    for mixed in mixtures(ground.model, evidence, options, [numbers]):
        configuration = np.rint(mixed.configuration_values[0]).astype(np.int64)
        values = _all_scattered(ground, wanted, [each[:, 0] for each in mixed.values])
        laid = replace(ground, weights=mixed.weights[0][0], configuration=configuration, values=values)
        for weights, logs in zip(mixed.weights, mixed.log_evidence, strict=True):
            joint = weights * np.exp(logs - logs[0])[:, None]
            thing = next(left)
            found[thing] = Cells(thing, laid, None, (joint[1:] - joint[:1])[None])
    return found


def _cells_of_configuration(ground: Ground, hidden: Hidden) -> Cells:
    chosen = hidden.cell_of(ground.kept)[ground.configuration] == np.arange(hidden.cells)[:, None]
    return Cells(hidden, ground, None, (chosen * ground.weights)[None])


def _heard_too(evidence: Evidence, thing: Hidden, table: Array) -> Evidence:
    """Evidence with further likelihoods `[case, cell]` about a hidden thing of the vehicle."""
    shaped = table.reshape(len(table), *thing.sizes)
    return structs.replace(evidence, cases=len(table), shared=(*evidence.shared, (thing.shared, shaped)))
