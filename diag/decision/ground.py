"""The posterior laid out for the ranking of checks: what one more answer about one hidden thing would do to it.

Configurations that are all together less likely than a stated share are left out, and everything else is exact. For
each plate and each option of it (as it is; its seal sound; cured by a treatment; one component sound) the values by
term are kept, and again jointly with each cell of each hidden thing. Cells are asked as likelihoods of 2 in the cell
and 1 elsewhere, less the plain case: so none is impossible, and no digits are lost. May import: inference, numpy, and
`answers`, `binding`, `sites` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diag.decision.answers import Hidden
from diag.inference import Array, Evidence, Link, Mixture, Model, Plate, SharedSeverity, mixture

__all__ = [
    "Cells",
    "Ground",
    "Options",
    "cells_of",
    "cells_of_plates",
    "cells_of_vehicle",
    "ground_of",
    "kept_configurations",
]

SMALL = 3  # hidden things up to which a plate shares a batch with others
Options = Sequence[Sequence[Mapping[int, Array]]]


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


@dataclass(frozen=True)
class Cells:
    """What hearing about one hidden thing changes.

    Of a plate: `values[option, cell, term]` of that plate jointly with each cell. Otherwise (`plate` none): one option
    with the weights jointly with each cell, in the terms of a ground of its own.
    """

    hidden: Hidden
    ground: Ground
    plate: int | None
    values: Array


def kept_configurations(chances: Array, share: float) -> NDArray[np.intp]:
    """Indices of the likeliest configurations that together have at least `share`."""
    order = np.argsort(-chances, kind="stable")
    count = int(np.searchsorted(np.cumsum(chances[order]), share * (1 - 1e-12))) + 1
    return np.sort(order[:count])


def ground_of(model: Model, evidence: Evidence, options: Options, kept: NDArray[np.intp]) -> Ground:
    """Lay out the posterior with only some configurations."""
    small, heard = _with_configurations(model, evidence, kept)
    fitting = [
        [{index: factor if len(factor) == 1 else factor[kept] for index, factor in option.items()} for option in listed]
        for listed in options
    ]
    mixed = mixture(small, heard, fitting, [np.arange(len(kept), dtype=np.float64)])
    return _ground(small, heard, fitting, kept, mixed)


def _ground(model: Model, evidence: Evidence, options: Options, kept: NDArray[np.intp], mixed: Mixture) -> Ground:
    configuration = np.rint(mixed.configuration_values[0]).astype(np.int64)
    return Ground(
        model, evidence, options, kept, mixed.weights[0], configuration, tuple(values[:, 0] for values in mixed.values)
    )


def _with_configurations(model: Model, evidence: Evidence, kept: NDArray[np.intp]) -> tuple[Model, Evidence]:
    """The model and its evidence with only some configurations, which then sum to 1."""
    if len(kept) == len(model.configurations):
        return model, evidence

    def of(array: Array, axis: int = 0) -> Array:
        return array if array.shape[axis] == 1 else np.take(array, kept, axis=axis)

    plates = tuple(
        Plate(
            plate.name,
            tuple(
                replace(each, prior=of(each.prior), links=tuple(Link(link.axes, of(link.table)) for link in each.links))
                for each in plate.components
            ),
            plate.axes,
            plate.emissions,
        )
        for plate in model.plates
    )
    shared = tuple(
        SharedSeverity(each.name, each.levels, each.versions, tuple(of(table, 1) for table in each.backgrounds))
        for each in model.shared
    )
    prior = model.configurations[kept]
    told = {key: of(likelihood, 1) for key, likelihood in evidence.components.items()}
    return Model(prior / prior.sum(), plates, shared), replace(evidence, components=told)


def cells_of(ground: Ground, hidden: Sequence[Hidden], wanted: Mapping[int, Sequence[int]]) -> dict[Hidden, Cells]:
    """The posterior jointly with every cell of some hidden things; `wanted[plate]`: the options that matter there (the
    values of others are 0)."""
    found: dict[Hidden, Cells] = {}
    by_plate: dict[int, list[Hidden]] = {}
    for thing in hidden:
        if thing.plate is not None:
            by_plate.setdefault(thing.plate, []).append(thing)
        else:
            found[thing] = cells_of_vehicle(ground, thing, wanted)
    small = [plate for plate, things in by_plate.items() if len(things) <= SMALL]
    for plates in ([plate] for plate in by_plate if plate not in small):
        found |= cells_of_plates(ground, {plate: by_plate[plate] for plate in plates}, wanted)
    if small:
        found |= cells_of_plates(ground, {plate: by_plate[plate] for plate in small}, wanted)
    return found


def cells_of_plates(
    ground: Ground, things: Mapping[int, Sequence[Hidden]], wanted: Mapping[int, Sequence[int]]
) -> dict[Hidden, Cells]:
    """Values of some plates, for their wanted options, jointly with every cell of their hidden things, one at a time.

    The first case of the batch is plain, each other one counts one cell double, and the difference is the cell's; the
    last cell of a thing is what the others leave.
    """
    listed = [thing for plate in things for thing in things[plate]]
    starts = np.cumsum([1, *(thing.cells - 1 for thing in listed)])
    told: dict[Hidden, Array] = {}
    for thing, start in zip(listed, starts, strict=False):
        table = told.setdefault(thing, np.ones((int(starts[-1]), thing.cells)))
        named = np.arange(thing.cells - 1)
        table[start + named, named] = 2.0
    evidence = _heard_too(ground.evidence, told, int(starts[-1]))
    plain: list[Mapping[int, Array]] = [{}]
    options = [
        [each[option] for option in wanted[plate]] if plate in things else plain
        for plate, each in enumerate(ground.options)
    ]
    mixed = mixture(ground.model, evidence, options)
    found = {}
    for thing, start in zip(listed, starts, strict=False):
        plate = thing.plate if thing.plate is not None else 0
        values = mixed.values[plate]
        block = values[:, start : start + thing.cells - 1] - values[:, :1]
        last = values[:, :1] - block.sum(axis=1, keepdims=True)
        whole = _scattered(ground, plate, wanted[plate], np.concatenate([block, last], axis=1))
        found[thing] = Cells(thing, ground, plate, whole)
    return found


def _scattered(ground: Ground, plate: int, wanted: Sequence[int], some: Array) -> Array:
    """Values of the wanted options at their places among all."""
    values = np.zeros((len(ground.options[plate]), *some.shape[1:]))
    values[list(wanted)] = some
    return values


def cells_of_vehicle(ground: Ground, hidden: Hidden, wanted: Mapping[int, Sequence[int]]) -> Cells:
    """The posterior jointly with every cell of a hidden thing of the vehicle or of the configuration.

    Degrees of the vehicle that nothing was told of bring terms of their own, so the ground is laid out again.
    """
    if hidden.kind == "configuration":
        cells = np.searchsorted(ground.kept, np.arange(hidden.cells))
        here = np.array([int(np.isin(cell, ground.kept)) for cell in range(hidden.cells)])
        chosen = (ground.configuration[None] == cells[:, None]) * here[:, None]
        return Cells(hidden, ground, None, (chosen * ground.weights)[None])
    table = np.concatenate([np.ones((1, hidden.cells)), 1.0 + np.eye(hidden.cells)])
    evidence = _heard_too(ground.evidence, {hidden: table}, len(table))
    numbers = np.arange(len(ground.kept), dtype=np.float64)
    options = [[listed[each] for each in wanted[plate]] for plate, listed in enumerate(ground.options)]
    mixed = mixture(ground.model, evidence, options, [numbers])
    laid = _ground(ground.model, evidence, ground.options, ground.kept, mixed)
    values = tuple(_scattered(laid, plate, wanted[plate], some) for plate, some in enumerate(laid.values))
    laid = replace(laid, values=values)
    relative = np.exp(mixed.log_evidence - mixed.log_evidence[0])[:, None]
    joint = mixed.weights * relative
    return Cells(hidden, laid, None, (joint[1:] - joint[:1])[None])


def _heard_too(evidence: Evidence, told: Mapping[Hidden, Array], cases: int) -> Evidence:
    """Evidence with further likelihoods `[case, cell]` about hidden things."""
    components, axes, shared = dict(evidence.components), list(evidence.axes), list(evidence.shared)
    for thing, table in told.items():
        shaped = table.reshape(cases, *thing.sizes)
        if thing.kind == "component" and thing.plate is not None:
            key = (thing.plate, thing.local[0])
            known = components.get(key)
            components[key] = shaped[:, None] if known is None else known * shaped[:, None]
        elif thing.kind == "axes" and thing.plate is not None:
            same = next((n for n, known in enumerate(axes) if known[:2] == (thing.plate, thing.local)), None)
            if same is None:
                axes.append((thing.plate, thing.local, shaped))
            else:
                axes[same] = (thing.plate, thing.local, axes[same][2] * shaped)
        else:
            shared.append((thing.shared, shaped))
    return Evidence(cases, components, tuple(axes), tuple(shared))
