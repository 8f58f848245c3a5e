"""The bench at which one practice case is played and judged: the knowledge, the start, and what was reckoned already.

The same findings lead to the same reckoning, so everything that is dear is remembered by the case as it is known.
May import: decision, network, inference, laboratory, casebook, knowledge_base, basics, numpy, and `records`, `worlds`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np

from diag.basics import ImpossibleEvidence
from diag.casebook import Case, Epoch, Work
from diag.decision import Job, Reckoning, Tariff, Vehicle, reckon
from diag.inference import infer
from diag.knowledge_base import Knowledge
from diag.laboratory import Desk, Known, least_of, sets_at_sites
from diag.network import CaseNetwork, build, weigh
from diag.training.records import Practice
from diag.training.worlds import Key, World, levels_of

__all__ = ["Bench", "case_key"]

MOST_KEPT = (
    8  # reckonings and beliefs that a bench remembers: each may take tens of megabytes, and hundreds in hard cases
)


def case_key(case: Case) -> tuple[object, ...]:
    """Equal for cases of one start in which the same was done, found and opened, in whatever order it was found."""
    epochs = tuple(
        (
            each.work,
            frozenset(each.answers),
            tuple(sorted(each.measured, key=lambda m: (m.item, str(m.place), str(m.condition), m.value))),
        )
        for each in case.epochs
    )
    return epochs, frozenset(case.open_access), frozenset(case.cannot)


Thing = TypeVar("Thing")


@dataclass
class Bench:
    """One practice case's bench. Everything it remembers follows from the knowledge and the start."""

    knowledge: Knowledge
    start: Case
    _bare: CaseNetwork | None = field(default=None, repr=False)
    _believed: OrderedDict[object, Known] = field(default_factory=OrderedDict, repr=False)
    _ready: OrderedDict[object, Reckoning] = field(default_factory=OrderedDict, repr=False)
    _priced: OrderedDict[object, Reckoning] = field(default_factory=OrderedDict, repr=False)
    _least: dict[Vehicle, float] = field(default_factory=dict, repr=False)
    known: dict[object, object] = field(default_factory=dict, repr=False)
    _desks: dict[object, Desk] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, knowledge: Knowledge, practice: Practice) -> Bench:
        """The bench of a practice case."""
        return cls(knowledge, practice.start)

    @property
    def tariff(self) -> Tariff:
        """Prices and times of this engine."""
        return Tariff(self.knowledge, self.start.engine)

    @property
    def currency(self) -> str:
        """Of all money."""
        return self.knowledge.prices.currency

    def bare(self) -> CaseNetwork:
        """The network of the start with nothing told: that from which its vehicles are drawn."""
        if self._bare is None:
            self._bare = build(self.knowledge, replace(self.start, epochs=(Epoch(),), open_access=()))
        return self._bare

    def levels(self, world: World) -> dict[Key, int]:
        """State and level of everything on a vehicle."""
        return levels_of(self.bare(), world)

    def desk(self, case: Case) -> Desk:
        """What rules of thumb work out; one for each history of work, since a desk tells cases of one start apart by
        what was found last."""
        key = (case.epochs[:-1], case.epochs[-1].work, case.cannot)
        return self._desks.setdefault(key, _Desk(self))

    def believed(self, case: Case) -> Known:
        """A case weighed. Raises ImpossibleEvidence, which names the findings, and TooLarge."""
        key = case_key(case)
        found = _kept(self._believed, key)
        if found is None:
            network = build(self.knowledge, case)
            try:
                found = Known(network, infer(network.model, network.evidence))
            except ImpossibleEvidence:
                weigh(self.knowledge, case)  # says which findings contradict each other
                raise
            _keep(self._believed, key, found)
        return found

    def ready(self, case: Case, also: Sequence[Job] = ()) -> Reckoning:
        """A case weighed and made ready for decisions, these jobs among its treatments."""
        key = (case_key(case), frozenset(also))
        found = _kept(self._ready, key)
        if found is None:
            known = self.believed(case)
            found = reckon(self.knowledge, case, known.network, known.posterior, sets_at_sites(tuple(also)))
            _keep(self._ready, key, found)
        return found

    def priced(self, case: Case, jobs: Sequence[Job]) -> Reckoning:
        """A reckoning in which these jobs are a plan, for money on a vehicle whose truth is known: the start, with the
        work done since as its history, so that what was renewed is new."""
        works = tuple(work for epoch in case.epochs for work in epoch.work)
        key = (works, frozenset(jobs), frozenset(case.open_access))
        found = _kept(self._priced, key)
        if found is None:
            told = _with_history(replace(self.start, open_access=case.open_access), works)
            network = build(self.knowledge, told)
            found = reckon(self.knowledge, told, network, also=sets_at_sites(tuple(jobs)))
            _keep(self._priced, key, found)
        return found

    def vehicle(self, network: CaseNetwork, world: World) -> Vehicle:
        """A world as the indices of a network of this start, whatever its history."""
        return _vehicle(network, world.states, self.levels(world))

    def least(self, world: World) -> float:
        """What the best plan costs on the vehicle as it came, where its truth is known: nobody can be cheaper but by
        luck."""
        network = build(self.knowledge, self.start)
        vehicle = self.vehicle(network, world)
        if vehicle not in self._least:
            self._least[vehicle] = least_of(self.knowledge, self.start, network, vehicle)
        return self._least[vehicle]


class _Desk(Desk):
    """A desk at which rules of thumb believe what the bench has worked out already."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench.knowledge)
        self._bench = bench

    def known(self, case: Case) -> Known:
        """The case weighed."""
        return self._bench.believed(case)


def _kept(known: OrderedDict[object, Thing], key: object) -> Thing | None:
    if key in known:
        known.move_to_end(key)
    return known.get(key)


def _keep(known: OrderedDict[object, Thing], key: object, value: Thing) -> None:
    known[key] = value
    if len(known) > MOST_KEPT:
        known.popitem(last=False)


def _with_history(start: Case, works: Sequence[Work]) -> Case:
    done = tuple(replace(work, km_ago=0.0, months_ago=0.0, helped=None) for work in works)
    return replace(start, history=(*start.history, *done))


def _vehicle(network: CaseNetwork, states: Mapping[Key, int], levels: Mapping[Key, int]) -> Vehicle:
    model, targets = network.model, network.targets
    fits = np.ones(len(model.configurations), dtype=np.bool_)
    for key in network.layout.versions:
        if key not in targets.components:
            fits &= network.configuration_states(*key) == states.get(key, 0)
    components = [[0] * len(plate.components) for plate in model.plates]
    axes = [[0] * len(plate.axes) for plate in model.plates]
    for key, (plate, at) in targets.components.items():
        components[plate][at[-1]] = states[key]
    for key, (plate, at) in targets.axes.items():
        axes[plate][at[-1]] = levels[key]
    return Vehicle(int(np.flatnonzero(fits)[0]), tuple(map(tuple, components)), tuple(map(tuple, axes)))
