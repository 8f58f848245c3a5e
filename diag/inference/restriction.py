"""A model with only some of its configurations: most joint states of shared causes are hardly possible in a case.

May import: numpy, `leaves`, `model`.
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.inference.leaves import restricted
from diag.inference.model import Array, Component, Evidence, Model, Plate, SharedSeverity

__all__ = ["kept_configurations", "with_configurations"]


HELD, MOST_HELD = 4, 4096  # models that are remembered, and configurations of one
MODELS_HELD = 16
_MODELS: list[tuple[Model, NDArray[np.intp], Model]] = []
_LATEST: list[tuple[Model, Evidence, NDArray[np.intp], tuple[Model, Evidence]]] = []


def kept_configurations(chances: Array, share: float) -> NDArray[np.intp]:
    """Indices of the likeliest configurations that together have at least `share`."""
    order = np.argsort(-chances, kind="stable")
    count = int(np.searchsorted(np.cumsum(chances[order]), share * (1 - 1e-12))) + 1
    return np.sort(order[:count])


def with_configurations(model: Model, evidence: Evidence, kept: NDArray[np.intp]) -> tuple[Model, Evidence]:
    """The model and its evidence with only some configurations, which then sum to 1. The latest are remembered, so that
    what is asked of them again meets plates that are made ready."""
    if len(kept) == len(model.configurations):
        return model, evidence
    for known, told, some, found in tuple(_LATEST):
        if known is model and told is evidence and np.array_equal(some, kept):
            return found
    found = _restricted(model, evidence, kept)
    if len(model.configurations) <= MOST_HELD:
        _LATEST.insert(0, (model, evidence, kept, found))
        del _LATEST[HELD:]
    return found


def _restricted(model: Model, evidence: Evidence, kept: NDArray[np.intp]) -> tuple[Model, Evidence]:
    told = {key: _of(likelihood, kept, 1) for key, likelihood in evidence.components.items()}
    configured = tuple((plate, axes, _of(likelihood, kept, 1)) for plate, axes, likelihood in evidence.configured)
    return _model_of(model, kept), replace(evidence, components=told, configured=configured)


def _of(array: Array, kept: NDArray[np.intp], axis: int = 0) -> Array:
    return array if array.shape[axis] == 1 else np.take(array, kept, axis=axis)


def _model_of(model: Model, kept: NDArray[np.intp]) -> Model:
    """The model with these configurations alone; the latest are remembered, whatever was told of them."""
    for known, some, found in tuple(_MODELS):
        if known is model and np.array_equal(some, kept):
            return found
    found = _with(model, kept)
    if len(model.configurations) <= MOST_HELD:
        _MODELS.insert(0, (model, kept, found))
        del _MODELS[MODELS_HELD:]
    return found


def _with(model: Model, kept: NDArray[np.intp]) -> Model:
    made: dict[int, tuple[Component, ...]] = {}  # plates that hold the same components go on holding the same
    for plate in model.plates:
        if id(plate.components) not in made:
            made[id(plate.components)] = tuple(restricted(each, kept) for each in plate.components)
    plates = tuple(Plate(plate.name, made[id(plate.components)], plate.axes, plate.emissions) for plate in model.plates)
    shared = tuple(
        SharedSeverity(each.name, each.levels, each.versions, tuple(_of(table, kept, 1) for table in each.backgrounds))
        for each in model.shared
    )
    prior = model.configurations[kept]
    return Model(prior / prior.sum(), plates, shared)
