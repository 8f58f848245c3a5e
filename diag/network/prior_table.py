"""Which figure of the knowledge each chance of a component comes from, for many cases that differ only in age.

The same chances as in `priors`, taken apart: a state's chance is `base` (its ordinary chance, or what a shared cause
gives) plus what the life brings, or `other` (a fresh or disturbed table) where that is larger. May import:
knowledge_base, casebook, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import NUMBERING
from diag.inference import Array
from diag.knowledge_base import Component, Figure
from diag.network.ages import Origin
from diag.network.instances import Key
from diag.network.plates import Layout
from diag.network.priors import life_now, misnumbered, reaching_places

__all__ = ["FigurePath", "PriorTable", "prior_table"]

FigurePath = tuple[str, ...]
"""Where a figure stands in the knowledge: kind, id, field, ..."""


class _Taken(Struct, frozen=True):
    """A figure and where it stands."""

    path: FigurePath
    value: float


class PriorTable(Struct, frozen=True):
    """The prior of one version of a component in several cases, taken apart.

    `kinds[configuration]`: which row holds there. `base`, `other`: `[kind, state]`; `base_paths`, `other_paths`:
    `[kind][state]`, none where nothing is said. `share[state]` of the failed ones, by `share_paths[state]`.
    `hazard[case, kind]`: the cumulated hazard of the stretch in which a failure stays unnoticed, 0 without a life.
    `by_shape[case, kind]`: its derivative by the logarithm of the life's `shape` (1 without a life).
    `used[case]` by the life's clock, `scale_factor[kind]` what the shared causes make of its scale.
    """

    key: Key
    kinds: NDArray[np.intp]
    base: Array
    base_paths: tuple[tuple[FigurePath | None, ...], ...]
    other: Array
    other_paths: tuple[tuple[FigurePath | None, ...], ...]
    share: Array
    share_paths: tuple[FigurePath | None, ...]
    hazard: Array
    by_shape: Array
    shape: float
    used: Array
    scale_factor: Array

    @property
    def from_life(self) -> Array:
        """`[case, kind, state]`: what the life brings."""
        return np.asarray(-np.expm1(-self.hazard)[:, :, np.newaxis] * self.share)

    @property
    def values(self) -> Array:
        """`[case, kind, state]`; rows sum to 1."""
        unsound = np.maximum(self.base + self.from_life, self.other)
        unsound[:, :, 0] = 0.0
        unsound /= np.maximum(unsound.sum(axis=2, keepdims=True), 1.0)  # the larger of two tables: see `priors`
        unsound[:, :, 0] = np.maximum(1.0 - unsound.sum(axis=2), 0.0)
        return np.asarray(unsound)

    def by_configuration(self) -> Array:
        """`[case, configuration or 1, state]`."""
        values = self.values
        return values if values.shape[1] == 1 else np.take(values, self.kinds, axis=1)


def prior_table(layout: Layout, key: Key, version: int, origin: Origin, used: Array) -> PriorTable:
    """The prior of one version, of this origin but for its age, which is `used[case, clock]` (kilometres, years)."""
    component, known = layout.knowledge.components[key[0]], layout.versions[key].versions[version]
    causes = {*component.given, *(component.life.scale_under if component.life else ())}
    configurations = layout.configurations
    relevant = configurations.standing(known.since, layout.versions, causes)
    shown = configurations.states[:, relevant]
    rows, kinds = np.unique(shown, axis=0, return_inverse=True)
    variables = [configurations.variables[index] for index in relevant]
    parts = []
    for row in rows:
        state_of = {one.key: one.states[state] for one, state in zip(variables, row, strict=True)}
        parts.append(_parts(layout, key, component, origin, state_of))
    states = tuple(component.states)
    base = [[part[0].get(state) for state in states] for part in parts]
    other = [[part[1].get(state) for state in states] for part in parts]
    life = None if "renewed" in origin.touches or _barred(component, origin) else component.life
    share = [life.fails_as[state].value if life and state in life.fails_as else 0.0 for state in states]
    stretch = used[:, 0 if life is None or life.clock == "distance" else 1]
    hazard, factor = np.zeros((len(used), len(rows))), np.array([part[2] for part in parts])
    by_shape, shape = np.zeros_like(hazard), 1.0
    if life is not None:
        scale, shape = life.scale.value * factor, life.shape.value
        before = np.maximum(stretch - life.unnoticed.value, 0.0)
        hazard = (stretch[:, None] / scale) ** shape - (before[:, None] / scale) ** shape
        by_shape = _by_shape(stretch[:, None] / scale, shape) - _by_shape(before[:, None] / scale, shape)
    return PriorTable(
        key,
        kinds.reshape(-1).astype(np.intp),
        np.array([[one.value if one else 0.0 for one in row] for row in base]),
        tuple(tuple(one.path if one else None for one in row) for row in base),
        np.array([[one.value if one else 0.0 for one in row] for row in other]),
        tuple(tuple(one.path if one else None for one in row) for row in other),
        np.array(share),
        tuple(
            ("components", key[0], "life", "fails_as", state) if number else None
            for state, number in _named(states, share)
        ),
        hazard,
        by_shape,
        shape,
        stretch,
        factor,
    )


def _by_shape(share: Array, shape: float) -> Array:
    """Derivative of share^shape by log(shape); 0 at the start of a life."""
    powers = share**shape
    return np.asarray(shape * powers * np.log(np.where(share > 0, share, 1.0)))


def _named(states: tuple[str, ...], share: list[float]) -> list[tuple[str, float]]:
    return list(zip(states, share, strict=True))


def _barred(component: Component, origin: Origin) -> bool:
    return bool(component.only_after) and origin.works.isdisjoint(component.only_after)


def _parts(
    layout: Layout, key: Key, component: Component, origin: Origin, state_of: Mapping[tuple[str, Place], str]
) -> tuple[dict[str, _Taken], dict[str, _Taken], float]:
    """Base and other figures by state, and the factor on the scale of the life (see `PriorTable`)."""
    if _barred(component, origin):
        return {}, {}, 1.0
    knowledge, engine = layout.knowledge, layout.case.engine
    given = _given(layout, key, component, origin, state_of)
    base = _table(component.chance, ("components", key[0], "chance")) | given
    other: dict[str, _Taken] = {}
    if "renewed" in origin.touches:
        base = {}
        _raise(other, _table(component.fresh, ("components", key[0], "fresh")))
        _raise(other, given)
    if "disturbed" in origin.touches:
        _raise(other, _table(component.disturbed, ("components", key[0], "disturbed")))
    factor = 1.0
    if component.life is not None:
        now = life_now(component.life, origin.used, key[1], state_of, knowledge, engine)
        factor = now.scale / component.life.scale.value
    return base, other, factor


def _table(figures: Mapping[str, Figure], path: FigurePath) -> dict[str, _Taken]:
    return {state: _Taken((*path, state), figure.value) for state, figure in figures.items()}


def _raise(known: dict[str, _Taken], more: Mapping[str, _Taken]) -> None:
    """The largest stands, the first of equal ones."""
    for state, taken in more.items():
        if state not in known or taken.value > known[state].value:
            known[state] = taken


def _given(
    layout: Layout, key: Key, component: Component, origin: Origin, state_of: Mapping[tuple[str, Place], str]
) -> dict[str, _Taken]:
    found: dict[str, _Taken] = {}
    knowledge, engine = layout.knowledge, layout.case.engine
    for cause_id, by_state in component.given.items():
        cause = knowledge.components[cause_id]
        for reach in reaching_places(cause, key[1], engine):
            state = state_of[cause_id, reach]
            written = origin.touches and misnumbered(key[1], origin.works, cause, state, engine)
            if cause_id == NUMBERING and not written:
                continue
            _raise(found, _table(by_state.get(state, {}), ("components", key[0], "given", cause_id, state)))
    return found
