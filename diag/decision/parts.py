"""The components of a case as the decision sees them, and which of them must be decided together.

May import: knowledge_base, inference, basics, numpy, and `needs`, `sites`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct

from diag.basics import Place
from diag.decision.needs import NetworkView
from diag.decision.sites import Job
from diag.decision.tariff import Tariff
from diag.inference import Array, AxisByAxis, Posterior

__all__ = ["Feature", "Key", "Part", "features_of", "groups_of", "only_sound", "part_chances", "parts_of", "what_if"]

Key = tuple[str, Place]


class Part(Struct, frozen=True):
    """One component. `spot` is (plate, component), none for one of the configuration, whose state in each
    configuration `columns[configuration]` tells.

    `fresh` and `disturbed` are `[configuration or 1, state]`; `mending`: money for mending it at the return visit.
    `fresh` is beside sound shared faults: a plan that leaves one cures nothing, whatever became of the new part.
    """

    key: Key
    spot: tuple[int, int] | None
    states: int
    fault: bool
    dangerous: tuple[bool, ...]
    fresh: Array
    disturbed: Array
    mending: float
    columns: tuple[int, ...] = ()

    @property
    def upset(self) -> float:
        """The largest chance that other work upsets it, sound as it is."""
        sound = self.disturbed[0, 0] if len(self.disturbed) == 1 else self.disturbed[:, 0].min()
        return 1.0 - float(sound)


class Feature(Struct, frozen=True):
    """A block of chances of the posterior: a component's states, a local severity's levels, or the configurations.

    `name` is the id of the severity."""

    kind: Literal["component", "axis", "configuration"]
    plate: int
    index: int
    size: int
    name: str = ""


def features_of(features: Sequence[Feature], posterior: Posterior) -> Array:
    """`[case, feature]`: the blocks side by side."""
    source = {"component": posterior.components, "axis": posterior.axes}
    blocks = [
        posterior.configurations
        if feature.kind == "configuration"
        else source[feature.kind][feature.plate][feature.index]
        for feature in features
    ]
    cases = len(posterior.log_evidence)
    wide = [b if len(b) == cases else np.broadcast_to(b, (cases, b.shape[1])) for b in blocks]
    return np.concatenate(wide, axis=1)


def part_chances(part: Part, posterior: Posterior) -> Array:
    """`[case, state]`: posterior chances of a component's states."""
    if part.spot is not None:
        return posterior.components[part.spot[0]][part.spot[1]]
    return np.stack(
        [posterior.configurations[:, np.array(part.columns) == state].sum(axis=1) for state in range(part.states)],
        axis=1,
    )


class _Repeated(AxisByAxis):
    """`[axis][case, level]`: the first case of the levels of a plate, again and again; made when asked for, since those
    that no evidence speaks of cost a pass each, and few are asked for."""

    def __init__(self, levels: Sequence[Array], cases: int) -> None:
        self._levels, self._cases = levels, cases

    def __len__(self) -> int:
        return len(self._levels)

    def made(self, axis: int) -> Array:
        """The same levels in each case."""
        return np.repeat(self._levels[axis][:1], self._cases, axis=0)


WORTH_A_THOUGHT, SUPPOSED = 0.003, 0.9  # components less likely unsound are not supposed so; how sure one is then


def what_if(posterior: Posterior, parts: Sequence[Part]) -> Posterior:
    """The marginals as they are (the first case), and as they would be if one component after the other were almost
    surely unsound. Only for asking which jobs could ever pay: no joint chances are in it."""
    known = posterior
    suspects = [part for part in parts if part.fault and 1.0 - part_chances(part, known)[0, 0] > WORTH_A_THOUGHT]
    cases = 1 + len(suspects)
    components = [[np.repeat(states[:1], cases, axis=0) for states in plate] for plate in known.components]
    configurations = np.repeat(known.configurations[:1], cases, axis=0)
    for case, part in enumerate(suspects, start=1):
        if part.spot is None:  # a shared cause: the configurations in which it is unsound
            unsound = np.array(part.columns) != 0
            here = configurations[case]
            share = float(here[unsound].sum())
            here *= np.where(unsound, SUPPOSED / share, (1.0 - SUPPOSED) / (1.0 - share) if share < 1.0 else 0.0)
            continue
        states = components[part.spot[0]][part.spot[1]]
        states[case, 1:] *= SUPPOSED / states[case, 1:].sum()
        states[case, 0] = 1.0 - SUPPOSED
    axes = tuple(_Repeated(plate, cases) for plate in known.axes)
    log_evidence = np.repeat(known.log_evidence[:1], cases)
    return Posterior(
        log_evidence, configurations, tuple(tuple(plate) for plate in components), axes, known.form, known.cancellation
    )


def only_sound(part: Part) -> Array:
    """`[1, state]`: the factor that holds a component sound."""
    return np.array([[1.0, *(0.0 for _ in range(part.states - 1))]])


def parts_of(tariff: Tariff, network: NetworkView) -> dict[Key, Part]:
    """Every component at every place."""
    found = {}
    for component, known in tariff.knowledge.components.items():
        dangerous = tuple(state.dangerous for state in known.states.values())
        for place in tariff.places(known.per):
            spot = network.component_at(component, place)
            columns = () if spot is not None else tuple(network.configuration_states(component, place).tolist())
            found[component, place] = Part(
                key=(component, place),
                spot=spot,
                states=len(dangerous),
                fault=known.fault,
                dangerous=dangerous,
                fresh=network.fresh(component, place, mended=True),
                disturbed=network.disturbed(component, place),
                mending=tariff.mending_of((component, place)).money if known.fault else 0.0,
                columns=columns,
            )
    return found


def groups_of(tariff: Tariff, parts: Mapping[Key, Part], jobs: Sequence[Job]) -> list[tuple[Part, ...]]:
    """Components that must be decided together: those of one plate, those of the configuration, and those that one job
    renews (or, a job of a bank or the vehicle, disturbs). What a cylinder's job disturbs elsewhere goes with it."""
    known, shape = tariff.groups, (tuple((key, part.spot) for key, part in parts.items()), tuple(jobs))
    if shape not in known:
        known[shape] = _groups(tariff, parts, jobs)
    return [tuple(parts[key] for key in keys) for keys in known[shape]]


def _groups(tariff: Tariff, parts: Mapping[Key, Part], jobs: Sequence[Job]) -> tuple[tuple[Key, ...], ...]:
    head = {key: key for key in parts}

    def top(key: Key) -> Key:
        while head[key] != key:
            key = head[key]
        return key

    def link(keys: Iterable[Key]) -> None:
        known = [key for key in keys if key in parts]
        for key in known[1:]:
            head[top(key)] = top(known[0])

    by_plate: dict[int | None, list[Key]] = {}
    for key, part in parts.items():
        by_plate.setdefault(part.spot[0] if part.spot is not None else None, []).append(key)
    for keys in by_plate.values():
        link(keys)
    for job in jobs:
        disturbed = frozenset[Key]() if isinstance(job.place, int) else tariff.disturbed(job)
        link(sorted(tariff.renewed(job) | disturbed, key=str))
    groups: dict[Key, list[Key]] = {}
    for key in parts:
        groups.setdefault(top(key), []).append(key)
    return tuple(tuple(group) for group in groups.values())
