"""Forward simulation of a model, draw by draw: a second opinion about what the model means, to hold brute force to.

May import: numpy, and the records of `diag.inference`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diag.inference import Array, Model
from tests.support.brute_force import Name, cumulative

__all__ = ["simulate"]

Integers = NDArray[np.int64]


def draw(table: Array, uniform: Array) -> Integers:
    """Level of each draw: the first whose cumulative chance in `table[draw, level]` exceeds the uniform number."""
    return np.asarray(np.sum(cumulative(table) <= uniform[:, None], axis=1), dtype=np.int64)


def simulate(model: Model, draws: int, seed: int) -> dict[Name, Integers]:
    """Draw every variable of the model `draws` times, as the docstrings of `diag.inference` tell the story."""
    random = np.random.default_rng(seed)
    configuration = random.choice(len(model.configurations), size=draws, p=model.configurations)
    found: dict[Name, Integers] = {("configuration",): configuration}
    for shared, severity in enumerate(model.shared):
        for version in range(severity.versions):
            found["shared", shared, version] = np.zeros(draws, dtype=np.int64)
    for plate_index, plate in enumerate(model.plates):
        for axis in range(len(plate.axes)):
            found["axis", plate_index, axis] = np.zeros(draws, dtype=np.int64)
        for index, component in enumerate(plate.components):
            prior = component.prior[configuration % len(component.prior)]
            state = found["component", plate_index, index] = draw(prior, random.random(draws))
            for link in component.links:
                given = draw(link.table[configuration % len(link.table), state], random.random(draws))
                for axis in link.axes:
                    found["axis", plate_index, axis] = np.maximum(found["axis", plate_index, axis], given)
        for emission in plate.emissions:
            uniform = random.random(draws)
            for version, axis in enumerate(emission.axes):
                given = draw(emission.table[found["axis", plate_index, axis]], uniform)
                name: Name = ("shared", emission.shared, version)
                found[name] = np.maximum(found[name], given)
    for shared, severity in enumerate(model.shared):
        for background in severity.backgrounds:
            uniform = random.random(draws)
            for version in range(severity.versions):
                given = draw(background[version][configuration % background.shape[1]], uniform)
                found["shared", shared, version] = np.maximum(found["shared", shared, version], given)
    return found
