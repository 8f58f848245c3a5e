"""The bench at which one practice case is played and judged: the knowledge, the start, and what was reckoned already.

The same findings lead to the same reckoning, so everything that is dear is remembered by the case as it is known.
May import: decision, network, inference, laboratory, casebook, knowledge_base, basics, numpy, and `records`, `worlds`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diag.casebook import Case, Epoch, Work
from diag.decision import Job, Reckoning, Tariff, Vehicle, least_total, reckon
from diag.inference import infer
from diag.knowledge_base import Knowledge
from diag.laboratory import certainty_of, sets_at_sites
from diag.network import CaseNetwork, build, weigh
from diag.training.records import Practice
from diag.training.worlds import Key, World, levels_of

__all__ = ["Bench", "case_key"]

MOST_KEPT = 400  # reckonings that a bench remembers


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


@dataclass
class Bench:
    """One practice case's bench. Everything it remembers follows from the knowledge and the start."""

    knowledge: Knowledge
    start: Case
    _bare: CaseNetwork | None = field(default=None, repr=False)
    _ready: dict[object, Reckoning] = field(default_factory=dict, repr=False)
    _priced: dict[object, Reckoning] = field(default_factory=dict, repr=False)
    _least: dict[Vehicle, float] = field(default_factory=dict, repr=False)
    known: dict[object, object] = field(default_factory=dict, repr=False)

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

    def ready(self, case: Case, also: Sequence[Job] = ()) -> Reckoning:
        """A case weighed and made ready for decisions, these jobs among its treatments."""
        key = (case_key(case), frozenset(also))
        if key not in self._ready:
            weighed = weigh(self.knowledge, case)
            found = reckon(self.knowledge, case, weighed.network, weighed.posterior, sets_at_sites(tuple(also)))
            _keep(self._ready, key, found)
        return self._ready[key]

    def priced(self, case: Case, jobs: Sequence[Job]) -> Reckoning:
        """A reckoning in which these jobs are a plan, for money on a vehicle whose truth is known: the start, with the
        work done since as its history, so that what was renewed is new."""
        works = tuple(work for epoch in case.epochs for work in epoch.work)
        key = (works, frozenset(jobs), frozenset(case.open_access))
        if key not in self._priced:
            told = _with_history(replace(self.start, open_access=case.open_access), works)
            network = build(self.knowledge, told)
            _keep(self._priced, key, reckon(self.knowledge, told, network, also=sets_at_sites(tuple(jobs))))
        return self._priced[key]

    def vehicle(self, network: CaseNetwork, world: World) -> Vehicle:
        """A world as the indices of a network of this start, whatever its history."""
        return _vehicle(network, world.states, self.levels(world))

    def least(self, world: World) -> float:
        """What the best plan costs on the vehicle as it came, where its truth is known: nobody can be cheaper but by
        luck."""
        network = build(self.knowledge, self.start)
        vehicle = self.vehicle(network, world)
        if vehicle not in self._least:
            told = replace(network, evidence=certainty_of(network, vehicle))
            ready = reckon(self.knowledge, self.start, told, infer(told.model, told.evidence))
            self._least[vehicle] = least_total(ready)
        return self._least[vehicle]


def _keep(known: dict[object, Reckoning], key: object, value: Reckoning) -> None:
    if len(known) >= MOST_KEPT:
        known.pop(next(iter(known)))
    known[key] = value


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
