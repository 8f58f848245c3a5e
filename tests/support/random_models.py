"""Hypothesis strategies for models and evidence that are small enough for `tests.support.brute_force`.

Hypothesis draws the structure (so that it can shrink it); the numbers come from a seed, zeros and ones among them.

May import: numpy, hypothesis, and the records of `diag.inference`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st
from numpy.typing import NDArray

from diag.inference import Array, Axis, Component, Emission, Evidence, Link, Model, Plate, SharedAxis, SharedSeverity
from tests.support.brute_force import number_of_worlds

__all__ = ["Sizes", "evidences", "models", "models_with_evidence", "random_likelihood", "random_table", "wide_models"]

MOST_WORLDS = 20_000
WIDE_AXES, WIDE_LEVELS = 7, 4  # 16,384 joint levels


@dataclass(frozen=True)
class Sizes:
    """The largest counts that the strategies draw."""

    plates: int = 3
    components: int = 3
    states: int = 3
    axes: int = 2
    levels: int = 3
    shared: int = 3
    versions: int = 3
    configurations: int = 3
    cases: int = 3


DEFAULT = Sizes()


def random_table(random: np.random.Generator, *shape: int) -> Array:
    """Rows that sum to 1; one row in six is certain of one value, one in six lacks some value."""
    table = random.dirichlet(np.full(shape[-1], 0.8), size=shape[:-1])
    kind = random.random(shape[:-1])
    certain = np.eye(shape[-1])[random.integers(shape[-1], size=shape[:-1])]
    table = np.where(kind[..., None] < 1 / 6, certain, table)
    lacking = np.where(certain == 1, 0.0, table)
    total = lacking.sum(axis=-1, keepdims=True)
    usable = (kind[..., None] > 5 / 6) & (total > 0.01)
    table = np.where(usable, lacking / np.where(total > 0, total, 1.0), table)
    result: Array = table / table.sum(axis=-1, keepdims=True)
    return result


def random_likelihood(random: np.random.Generator, *shape: int) -> Array:
    """A likelihood `[case or 1, ...]`: hard, soft, or a density that exceeds 1; never zero everywhere."""
    values = random.random(shape)
    kind = random.random()
    if kind < 0.4:
        values = (values > 0.5).astype(float)
    elif kind < 0.6:
        values = values * 37.0
    for case in values:
        if not case.any():
            case.flat[random.integers(case.size)] = 1.0
    return values


@st.composite
def models(draw: st.DrawFn, sizes: Sizes = DEFAULT) -> Model:
    """A random model; configurations of prior 0 do not occur, states of prior 0 do."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    configurations = draw(st.integers(1, sizes.configurations))
    shared = tuple(
        draw_shared(draw, random, f"shared {index}", configurations, sizes)
        for index in range(draw(st.integers(1, sizes.shared)))
    )
    plates = tuple(
        draw_plate(draw, random, f"plate {index}", configurations, sizes, shared)
        for index in range(draw(st.integers(min(2, sizes.plates), sizes.plates)))
    )
    model = Model(random.dirichlet(np.full(configurations, 2.0)), plates, shared)
    assume(number_of_worlds(model) <= MOST_WORLDS)
    return model


def draw_shared(
    draw: st.DrawFn, random: np.random.Generator, name: str, configurations: int, sizes: Sizes
) -> SharedSeverity:
    """A shared severity with up to two backgrounds."""
    levels, versions = draw(st.integers(2, sizes.levels)), draw(st.integers(1, sizes.versions))
    backgrounds = tuple(
        random_table(random, versions, draw(st.sampled_from([1, configurations])), levels)
        for _ in range(draw(st.integers(0, 2)))
    )
    return SharedSeverity(name, levels, versions, backgrounds)


def draw_plate(
    draw: st.DrawFn,
    random: np.random.Generator,
    name: str,
    configurations: int,
    sizes: Sizes,
    shared: tuple[SharedSeverity, ...],
) -> Plate:
    """A plate whose axes are versions of one severity or different severities, and whose emissions pick among them. To
    some plates configurations look alike."""
    alike = random.integers(configurations, size=configurations) if draw(st.booleans()) else np.arange(configurations)
    levels = [draw(st.integers(2, sizes.levels)) for _ in range(draw(st.integers(1, sizes.axes)))]
    if draw(st.booleans()):
        levels = [levels[0]] * len(levels)
    components = tuple(
        draw_component(draw, random, f"component {index}", alike, sizes, levels)
        for index in range(draw(st.integers(1, sizes.components)))
    )
    axes = tuple(Axis(f"axis {index}", count) for index, count in enumerate(levels))
    emissions = tuple(
        emission
        for index, severity in enumerate(shared)
        for emission in draw_emissions(draw, random, index, severity, levels)
    )
    return Plate(name, components, axes, emissions)


def draw_component(
    draw: st.DrawFn, random: np.random.Generator, name: str, alike: NDArray[np.int64], sizes: Sizes, levels: list[int]
) -> Component:
    """A component with up to two links; one state only is a background of its plate. `alike[configuration]`: the
    configuration that it looks like to the plate."""
    rows = st.sampled_from([np.zeros(1, dtype=np.int64), alike])
    states = draw(st.integers(1, sizes.states))
    prior = random_table(random, len(alike), states)[draw(rows)]
    links = []
    for _ in range(draw(st.integers(0, 2))):
        count = draw(st.sampled_from(sorted(set(levels))))
        reached = [axis for axis, levels_there in enumerate(levels) if levels_there == count]
        axes = draw(st.lists(st.sampled_from(reached), min_size=1, unique=True))
        table = random_table(random, len(alike), states, count)[draw(rows)]
        links.append(Link(tuple(sorted(axes)), table))
    return Component(name, prior, tuple(links))


def look_alike(plate: Plate, configurations: int) -> NDArray[np.int64]:
    """`[configuration]`: the first configuration that looks the same to all components of a plate."""
    arrays = [each.prior for each in plate.components] + [
        link.table for each in plate.components for link in each.links
    ]
    wide = [np.broadcast_to(array, (configurations, *array.shape[1:])).reshape(configurations, -1) for array in arrays]
    _, first, which = np.unique(np.hstack(wide), axis=0, return_index=True, return_inverse=True)
    return np.asarray(first[which.reshape(-1)], dtype=np.int64)


def draw_emissions(
    draw: st.DrawFn, random: np.random.Generator, index: int, severity: SharedSeverity, levels: list[int]
) -> list[Emission]:
    """No, one or two emissions of one plate to one shared severity, over axes of equal levels."""
    emissions = []
    for _ in range(draw(st.sampled_from([0, 1, 1, 1, 2]))):
        count = draw(st.sampled_from(sorted(set(levels))))
        reached = [axis for axis, levels_there in enumerate(levels) if levels_there == count]
        axes = tuple(draw(st.sampled_from(reached)) for _ in range(severity.versions))
        emissions.append(Emission(index, axes, random_table(random, count, severity.levels)))
    return emissions


@st.composite
def evidences(draw: st.DrawFn, model: Model, sizes: Sizes = DEFAULT) -> Evidence:
    """A random batch of evidence about a model: hard and soft, on components, local axes and shared axes."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    cases = draw(st.integers(1, sizes.cases))
    case_counts = st.sampled_from([1, cases])
    components: dict[tuple[int, int], Array] = {}
    local: list[tuple[int, tuple[int, ...], Array]] = []
    configured: list[tuple[int, tuple[int, ...], Array]] = []
    for plate_index, plate in enumerate(model.plates):
        for index in draw(st.lists(st.sampled_from(range(len(plate.components))), max_size=2, unique=True)):
            states = plate.components[index].prior.shape[1]
            configurations = draw(st.sampled_from([1, len(model.configurations)]))
            likelihood = random_likelihood(random, draw(case_counts), configurations, states)
            if configurations > 1 and draw(st.booleans()):
                likelihood = likelihood[:, look_alike(plate, configurations)]
            components[plate_index, index] = likelihood
        for _ in range(draw(st.integers(0, 2))):
            axes = tuple(draw(st.lists(st.sampled_from(range(len(plate.axes))), min_size=1, unique=True)))
            shape = [plate.axes[axis].levels for axis in axes]
            local.append((plate_index, axes, random_likelihood(random, draw(case_counts), *shape)))
        if draw(st.sampled_from([False, False, True])):
            axes = tuple(draw(st.lists(st.sampled_from(range(len(plate.axes))), min_size=1, max_size=2, unique=True)))
            shape = [len(model.configurations), *(plate.axes[axis].levels for axis in axes)]
            told = random_likelihood(random, draw(case_counts), *shape)
            if draw(st.booleans()):  # likelier that the plate cannot tell some of them apart
                told = told[:, look_alike(plate, len(model.configurations))]
            configured.append((plate_index, axes, told))
    every = [(index, version) for index, severity in enumerate(model.shared) for version in range(severity.versions)]
    shared: list[tuple[tuple[SharedAxis, ...], Array]] = []
    for _ in range(draw(st.integers(0, 3))):
        named = tuple(draw(st.lists(st.sampled_from(every), min_size=1, max_size=3, unique=True)))
        shape = [model.shared[index].levels for index, _ in named]
        shared.append((named, random_likelihood(random, draw(case_counts), *shape)))
    return Evidence(cases, components, tuple(local), tuple(shared), tuple(configured))


@st.composite
def models_with_evidence(draw: st.DrawFn, sizes: Sizes = DEFAULT) -> tuple[Model, Evidence]:
    """A random model and random evidence about it (which may be impossible)."""
    model = draw(models(sizes))
    return model, draw(evidences(model, sizes))


@st.composite
def wide_models(draw: st.DrawFn) -> Model:
    """A model with a plate of 16,384 joint local levels of which few can occur, so that brute force can still do it.

    Every link of that plate is certain of a level for each state; every one of its axes speaks in some shared severity.
    """
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    configurations = draw(st.integers(1, 2))
    sizes = Sizes(components=2, states=2, versions=2)
    shared = tuple(draw_shared(draw, random, f"shared {index}", configurations, sizes) for index in range(2))
    components = []
    for index in range(3):
        states = draw(st.integers(2, 3))
        reached = draw(st.lists(st.sampled_from(range(WIDE_AXES)), min_size=2, max_size=4, unique=True))
        rows = [np.eye(WIDE_LEVELS)[[0, *random.integers(WIDE_LEVELS, size=states - 1)]][None] for _ in range(2)]
        links = (Link(tuple(sorted(reached[:2])), rows[0]), *(Link((axis,), rows[1]) for axis in reached[2:]))
        prior = random_table(random, draw(st.sampled_from([1, configurations])), states)
        components.append(Component(f"component {index}", prior, links))
    emissions = []
    for axis in range(WIDE_AXES):
        index = draw(st.integers(0, len(shared) - 1))
        later = tuple(int(other) for other in random.integers(WIDE_AXES, size=shared[index].versions - 1))
        emissions.append(Emission(index, (axis, *later), random_table(random, WIDE_LEVELS, shared[index].levels)))
    axes = tuple(Axis(f"axis {axis}", WIDE_LEVELS) for axis in range(WIDE_AXES))
    wide = Plate("wide", tuple(components), axes, tuple(emissions))
    narrow = draw_plate(draw, random, "narrow", configurations, Sizes(components=1, states=2, axes=1, levels=2), shared)
    return Model(random.dirichlet(np.full(configurations, 2.0)), (wide, narrow), shared)
