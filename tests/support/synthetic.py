"""Made-up models of the shape and size of a workshop's engine, for benchmarks and comparisons; no number is a fact.

May import: numpy, and the records of `diag.inference`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diag.inference import Array, Axis, Component, Emission, Evidence, Link, Model, Plate, SharedAxis, SharedSeverity

__all__ = ["COMPONENTS", "SHARED", "Layout", "local_states", "random_case", "sizes_in_words", "workshop_model"]

SEVERITIES = {"blow_by": 3, "delivery": 4, "pressure_loss": 3, "fuel_leak": 2, "overfuel": 3, "compression_loss": 2}
COMPONENTS: tuple[tuple[str, int, tuple[str, ...]], ...] = (  # name, states, local severities that it reaches
    ("seal", 3, ("blow_by",)),
    ("injector", 6, ("delivery", "pressure_loss", "overfuel")),
    ("return_pipe", 2, ("fuel_leak", "pressure_loss")),
    ("trim_code", 3, ("delivery",)),
    ("clamp", 2, ("blow_by",)),
    ("pressure_pipe", 2, ("fuel_leak", "pressure_loss")),
    ("wiring", 3, ("delivery",)),
    ("compression", 2, ("delivery", "compression_loss")),
    ("unlisted", 2, ("delivery", "blow_by")),
)
SHARED: tuple[tuple[str, int, tuple[str, ...]], ...] = (  # name, levels, local severities that contribute
    ("roughness", 3, ("delivery", "overfuel")),
    ("gas_escape", 3, ("blow_by",)),
    ("rail_build", 3, ("pressure_loss",)),
    ("fuel_outside", 2, ("fuel_leak",)),
    ("black_smoke", 2, ("overfuel",)),
    ("power_loss", 2, ("delivery",)),
    ("cold_starting", 3, ("pressure_loss", "compression_loss")),
    ("knock", 2, ("overfuel",)),
    ("white_smoke", 2, ("compression_loss",)),
    ("hot_starting", 2, ("pressure_loss",)),
    ("oil_dilution", 2, ("overfuel",)),
    ("vibration", 2, ("delivery",)),
)


@dataclass(frozen=True)
class Layout:
    """How large a model is to be: `detail` components a cylinder, `vehicle` plates of one component each."""

    cylinders: int
    shared: int = len(SHARED)
    detail: int = len(COMPONENTS)
    vehicle: int = 3
    configurations: int = 6


def workshop_model(layout: Layout, seed: int = 7) -> Model:
    """A model of that layout; the same seed gives the same numbers."""
    random = np.random.default_rng(seed)
    shared = SHARED[: layout.shared]
    cylinder = cylinder_plate(random, layout, shared)
    cylinders = tuple(Plate(f"cylinder {k + 1}", *cylinder) for k in range(layout.cylinders))
    vehicle = tuple(vehicle_plate(random, index, shared) for index in range(layout.vehicle))
    configurations = random.dirichlet(np.full(layout.configurations, 2.0))
    severities = tuple(
        SharedSeverity(name, levels, 1, (rising(random, 1, levels, 0.03)[None],)) for name, levels, _ in shared
    )
    return Model(configurations, cylinders + vehicle, severities)


def rising(random: np.random.Generator, rows: int, levels: int, floor: float = 0.0) -> Array:
    """`table[row, level]`: the first row is (nearly) certain of level 0, later rows speak louder."""
    table = np.zeros((rows, levels))
    for row in range(rows):
        loud = floor if row == 0 else 0.25 + 0.6 * row / rows
        table[row, 0] = 1.0 - loud
        table[row, 1:] = loud * random.dirichlet(np.full(levels - 1, 2.0))
    return table


def cylinder_plate(
    random: np.random.Generator, layout: Layout, shared: tuple[tuple[str, int, tuple[str, ...]], ...]
) -> tuple[tuple[Component, ...], tuple[Axis, ...], tuple[Emission, ...]]:
    """Components, axes and emissions of a cylinder (the same for each)."""
    used = COMPONENTS[: layout.detail]
    reached = [name for name in SEVERITIES if any(name in severities for _, _, severities in used)]
    components = []
    for number, (name, states, severities) in enumerate(used):
        wide = number < 2 and layout.configurations > 1  # the shared causes reach seals and injectors
        faults = random.uniform(0.005, 0.03, (layout.configurations if wide else 1, states - 1))
        prior = np.hstack([1.0 - faults.sum(axis=1, keepdims=True), faults])
        links = tuple(Link((reached.index(s),), rising(random, states, SEVERITIES[s])[None]) for s in severities)
        components.append(Component(name, prior, links))
    emissions = tuple(
        Emission(index, (reached.index(severity),), rising(random, SEVERITIES[severity], levels))
        for index, (_, levels, contributors) in enumerate(shared)
        for severity in contributors
        if severity in reached
    )
    return tuple(components), tuple(Axis(name, SEVERITIES[name]) for name in reached), emissions


def vehicle_plate(
    random: np.random.Generator, index: int, shared: tuple[tuple[str, int, tuple[str, ...]], ...]
) -> Plate:
    """One vehicle component of two or three states that contributes to some shared severities."""
    states = 2 + index % 2
    faults = random.uniform(0.01, 0.05, states - 1)
    prior = np.r_[1.0 - faults.sum(), faults][None]
    component = Component(f"vehicle {index}", prior, (Link((0,), np.eye(states)[None]),))
    emissions = tuple(
        Emission(number, (0,), rising(random, states, levels))
        for number, (_, levels, _) in enumerate(shared)
        if (number + index) % 3 == 0
    )
    return Plate(f"vehicle {index}", (component,), (Axis("state", states),), emissions)


def random_case(model: Model, seed: int, present: int, absent: int = 0) -> Evidence:
    """A case: so many shared symptoms present and absent, and a soft finding on one axis of every second plate."""
    random = np.random.default_rng(seed)
    told: list[tuple[tuple[SharedAxis, ...], Array]] = []
    for shared, severity in enumerate(model.shared[: present + absent]):
        here = np.r_[0.0, np.ones(severity.levels - 1)] if shared < present else np.eye(severity.levels)[0]
        told.append((((shared, 0),), here[None]))
    local = tuple(
        (number, (0,), random.uniform(0.1, 1.0, (1, plate.axes[0].levels)))
        for number, plate in enumerate(model.plates)
        if number % 2 == 0
    )
    return Evidence(1, {}, local, tuple(told))


def local_states(model: Model) -> int:
    """The three sizes that decide speed, second: states of the largest plate's local severities together."""
    return max(int(np.prod([axis.levels for axis in plate.axes])) for plate in model.plates)


def sizes_in_words(model: Model, evidence: Evidence) -> str:
    """The sizes beside every speed figure."""
    cylinders = sum(plate.name.startswith("cylinder") for plate in model.plates)
    present = sum(bool(np.all(likelihood[..., 0] == 0.0)) for _, likelihood in evidence.shared)
    return (
        f"{cylinders} cylinders of {len(model.plates[0].components)} components, {len(model.plates) - cylinders} other "
        f"plates, {len(model.configurations)} configurations, {local_states(model)} local states, "
        f"{present} of {len(model.shared)} shared symptoms present"
    )
