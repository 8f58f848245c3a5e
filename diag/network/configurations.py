"""The configuration axis: every joint state of the shared causes that reach into cylinders.

May import: knowledge_base, casebook, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.basics import Place, TooLarge
from diag.casebook import NUMBERING, Case
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.network.ages import origin_of
from diag.network.instances import Key, Versions
from diag.network.numbering import numbering_chances
from diag.network.priors import chances, misnumbered
from diag.network.tables import contribution

__all__ = ["MOST_CONFIGURATIONS", "Configurations", "Variable", "configurations", "reaching"]

MOST_CONFIGURATIONS = 200_000
FEW = 4096  # configurations up to which it is remembered which of them are alike in some variables

StateOf = Mapping[tuple[str, Place], str]


class Variable(Struct, frozen=True):
    """One version of a shared cause at one place, with the ids of its states."""

    key: Key
    version: int
    states: tuple[str, ...]


class Configurations(Struct, frozen=True):
    """All joint states with a chance: `states[configuration, variable]` and `prior[configuration]`.

    `nodes[configuration]`: the node at which a shift that all cylinders share is taken, and the numbering of the
    control unit; all 0 where there is none.
    `classes[configuration, traveller]`: what is known of each thing that changed its cylinder (see `exchanged`).
    """

    variables: tuple[Variable, ...]
    states: NDArray[np.int64]
    prior: Array
    nodes: NDArray[np.intp] = field(default_factory=lambda: np.zeros(1, dtype=np.intp))
    classes: NDArray[np.intp] = field(default_factory=lambda: np.zeros((1, 0), dtype=np.intp))

    def __len__(self) -> int:
        return len(self.prior)

    def same(self, other: Configurations) -> bool:
        """Whether both are the same to the last digit."""
        mine, theirs = ((each.states, each.prior, each.nodes, each.classes) for each in (self, other))
        return self.variables == other.variables and all(map(np.array_equal, mine, theirs))

    def only(self, kept: NDArray[np.intp]) -> Configurations:
        """Some of them, which then sum to 1."""
        prior = self.prior[kept]
        nodes, classes = self.nodes[kept], self.classes[kept]
        return replace(self, states=self.states[kept], prior=prior / prior.sum(), nodes=nodes, classes=classes)

    def with_nodes(self, log_weights: Array, numbering: NDArray[np.intp] | None = None) -> Configurations:
        """Each configuration once for each node of a shift, with the node's chance before anything was told.

        `numbering[node]`: the state of the control unit's numbering that the node belongs to; none where to all.
        Raises TooLarge.
        """
        weights = np.broadcast_to(np.exp(log_weights), (len(self), len(log_weights)))
        if numbering is not None:
            weights = np.where(self.column((NUMBERING, None), 0)[:, np.newaxis] == numbering, weights, 0.0)
        whole = self.prior[:, np.newaxis] * weights
        row, nodes = np.nonzero(whole) if numbering is not None else np.indices(whole.shape).reshape(2, -1)
        if len(row) > MOST_CONFIGURATIONS:
            raise TooLarge(
                f"the exchanges told of and the readings that all cylinders share link the cylinders in {len(row):,} "
                f"ways, and the limit is {MOST_CONFIGURATIONS:,}; leave out the readings before the exchange that tell "
                "least, or write 'numbering: confirmed' once somebody has looked it up"
            )
        prior = whole[row, nodes]
        return replace(self, states=self.states[row], prior=prior / prior.sum(), nodes=nodes, classes=self.classes[row])

    def with_classes(self, chance: Array) -> Configurations:
        """Each configuration once for each class of one more traveller that has a chance, `chance[configuration or 1,
        class]`. Raises TooLarge."""
        whole = self.prior[:, np.newaxis] * chance
        row, column = np.nonzero(whole)
        if len(row) > MOST_CONFIGURATIONS:
            raise TooLarge(
                f"the exchanges told of link the cylinders in {len(row):,} ways, and the limit is "
                f"{MOST_CONFIGURATIONS:,}; leave out the exchange that tells least"
            )
        prior = whole[row, column]
        classes = np.column_stack([self.classes[row], column]).astype(np.intp)
        return replace(self, states=self.states[row], prior=prior / prior.sum(), nodes=self.nodes[row], classes=classes)

    def column(self, key: Key, version: int) -> NDArray[np.int64]:
        """The state of one version of a shared cause in each configuration."""
        index = next(i for i, known in enumerate(self.variables) if (known.key, known.version) == (key, version))
        return np.asarray(self.states[:, index])

    def standing(self, epoch: int, versions: Mapping[Key, Versions], causes: Collection[str]) -> list[int]:
        """Which variables are the versions, in an epoch, of shared causes of these ids."""
        return [
            index
            for index, variable in enumerate(self.variables)
            if variable.key[0] in causes and versions[variable.key].by_epoch[epoch] == variable.version
        ]

    def kinds(self, variables: Sequence[int]) -> tuple[tuple[tuple[int, ...], ...], NDArray[np.intp]]:
        """The joint states of some variables, and `[configuration]`: which of them stands in each."""
        if not variables:
            return ((),), np.zeros(len(self), dtype=np.intp)
        states = np.ascontiguousarray(self.states[:, list(variables)])
        return _kinds(states) if len(states) > FEW else _known_kinds(states.tobytes(), states.shape)

    def state_of(self, configuration: int, epoch: int, versions: Mapping[Key, Versions]) -> StateOf:
        """The state of each shared cause in an epoch, under one configuration."""
        return {
            variable.key: variable.states[self.states[configuration, index]]
            for index, variable in enumerate(self.variables)
            if versions[variable.key].by_epoch[epoch] == variable.version
        }


def _kinds(states: NDArray[np.int64]) -> tuple[tuple[tuple[int, ...], ...], NDArray[np.intp]]:
    kinds, kind_of = np.unique(states, axis=0, return_inverse=True)
    return tuple(tuple(kind) for kind in kinds.tolist()), kind_of.reshape(-1)


@lru_cache(maxsize=64)  # asked for with every component, and for every draw of all numbers
def _known_kinds(states: bytes, shape: tuple[int, ...]) -> tuple[tuple[tuple[int, ...], ...], NDArray[np.intp]]:
    return _kinds(np.frombuffer(states, dtype=np.int64).reshape(shape))


def reaching(knowledge: Knowledge, versions: Mapping[Key, Versions]) -> tuple[Key, ...]:
    """The shared causes that reach into cylinders, at their places."""
    return tuple(key for key in versions if knowledge.components[key[0]].reaches_cylinders)


def configurations(knowledge: Knowledge, case: Case, versions: Mapping[Key, Versions]) -> Configurations:
    """All joint states of the reaching shared causes, in all their versions, that have a chance.

    Shared causes may depend (`given`) on ones written before them.
    """
    keys = reaching(knowledge, versions)
    variables = tuple(
        Variable(key, number, tuple(knowledge.components[key[0]].states))
        for key in keys
        for number in range(len(versions[key]))
    )
    rows: list[tuple[tuple[int, ...], float]] = [((), 1.0)]
    for variable in variables:
        chances_of = _chances_given(knowledge, case, versions, variables, variable)
        rows = [
            ((*row, state), weight * chance)
            for row, weight in rows
            for state, chance in enumerate(chances_of(row))
            if weight * chance > 0
        ]
    states = np.array([row for row, _ in rows], dtype=np.int64).reshape(len(rows), len(variables))
    prior = np.array([weight for _, weight in rows])
    nodes, classes = np.zeros(len(prior), dtype=np.intp), np.zeros((len(prior), 0), dtype=np.intp)
    return Configurations(variables, states, prior / prior.sum(), nodes, classes)


def _chances_given(
    knowledge: Knowledge,
    case: Case,
    versions: Mapping[Key, Versions],
    variables: tuple[Variable, ...],
    variable: Variable,
) -> Callable[[tuple[int, ...]], tuple[float, ...]]:
    """Chances of the states of the next variable, given the row of those before it."""
    (component_id, place), version = variable.key, versions[variable.key].versions[variable.version]
    if component_id == NUMBERING:
        moves = _moves_work(knowledge, case, versions, variable.states)
        always = numbering_chances(knowledge, case, moves)
        return lambda row: always
    if version.touch == "disturbed":  # what was unsound stays so, what was sound may suffer
        before, whole = variables.index(variable) - 1, range(len(variable.states))
        named = knowledge.components[component_id].disturbed
        loose = tuple(contribution(named, variable.states, f"'disturbed' of '{component_id}'").tolist())
        return lambda row: tuple(float(state == row[before]) for state in whole) if row[before] else loose
    origin = origin_of(knowledge, case, component_id, place, version)

    def given(row: tuple[int, ...]) -> tuple[float, ...]:
        known = {
            earlier.key: earlier.states[state]
            for earlier, state in zip(variables, row, strict=False)
            if versions[earlier.key].by_epoch[version.since] == earlier.version
        }
        return chances(knowledge, case.engine, component_id, place, origin, known)

    return given


def _moves_work(
    knowledge: Knowledge, case: Case, versions: Mapping[Key, Versions], states: Sequence[str]
) -> list[bool]:
    """`[state]`: whether any code was written that has landed on another cylinder if they are numbered so."""
    cause = knowledge.components[NUMBERING]
    written = [
        (place, origin_of(knowledge, case, component_id, place, version).works)
        for (component_id, place), known in versions.items()
        if NUMBERING in knowledge.components[component_id].given
        for version in known.versions
    ]
    return [any(misnumbered(place, works, cause, state, case.engine) for place, works in written) for state in states]
