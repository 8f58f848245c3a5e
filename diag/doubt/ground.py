"""A case made ready to be doubted: its network, its decision, and the works that are set against one another.

May import: network, decision, inference, casebook, knowledge_base, basics, numpy, and `numbers` of this room.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from msgspec import structs
from numpy.typing import NDArray

from diag.basics import DiagError, Place
from diag.casebook import Case
from diag.decision import (
    Job,
    PlanOption,
    Reckoning,
    RepairDecision,
    decide_repair,
    likely_configurations,
    reckon,
    reckon_on,
    reckon_on_each,
)
from diag.doubt.numbers import Number, drawn_numbers
from diag.inference import Posterior
from diag.knowledge_base import Knowledge, with_values
from diag.network import CaseNetwork, build, component_states, rebuilt

__all__ = ["Ground", "Work", "ground_of", "money_alone", "suspects_of", "work_of"]

Path = tuple[int | str, ...]
Key = tuple[str, Place]

LEFT_OUT = 1e-5  # chance of all configurations together that are left out of every curve
LEFT_OUT_ROUGHLY = 1e-3  # the same, of every draw: a total moves by so much of the dearest outcome at most
SUSPECT = 0.05  # chance from which a component's own numbers are looked at
MONEY_ALONE = ("prices", "repairs")  # kinds of entries that no posterior depends on


@dataclass(frozen=True)
class Work:
    """Work that is set against other work: its jobs, and the title of the option that it was read from."""

    jobs: tuple[Job, ...]
    title: str
    name: str

    @property
    def key(self) -> frozenset[Job]:
        """What makes two works the same."""
        return frozenset(self.jobs)


def work_of(option: PlanOption) -> Work:
    """The work of an option."""
    return Work(option.jobs, option.title, option.name)


@dataclass(frozen=True)
class Ground:
    """A case as it stands: `kept` are the configurations on which curves are
    reckoned, `roughly` the fewer ones on which many draws are."""

    knowledge: Knowledge
    case: Case
    network: CaseNetwork
    posterior: Posterior
    ready: Reckoning
    decision: RepairDecision
    kept: NDArray[np.intp]
    roughly: NDArray[np.intp]

    @property
    def best(self) -> Work:
        """What is advised."""
        return work_of(self.decision.best)

    @property
    def works(self) -> tuple[Work, ...]:
        """All options that are not barred, cheapest first."""
        return tuple(work_of(option) for option in self.decision.options if not option.barred)

    def under(
        self,
        values: Mapping[Path, float],
        also: Sequence[Sequence[Job]] = (),
        roughly: bool = False,
        alone: bool = False,
    ) -> Reckoning:
        """The case reckoned anew with other numbers; `alone`: only to price `also`."""
        changed, kept = with_values(self.knowledge, values), self.roughly if roughly else self.kept
        return reckon_on(self.ready, rebuilt(self.network, changed), changed, kept, also, alone)

    def under_each(
        self, values: Sequence[Mapping[Path, float]], also: Sequence[Sequence[Job]]
    ) -> list[Reckoning | None]:
        """The case reckoned anew with each of several sets of numbers, on the fewer configurations; none where one is
        to be reckoned by itself (`under`)."""
        return list(self.one_by_one(values, also))

    def one_by_one(
        self, values: Sequence[Mapping[Path, float]], also: Sequence[Sequence[Job]]
    ) -> Iterator[Reckoning | None]:
        """`under_each`, each reckoning given away before the next is laid out."""
        others: list[tuple[CaseNetwork, Knowledge] | None] = []
        for each in values:
            changed = with_values(self.knowledge, each)
            try:
                others.append((rebuilt(self.network, changed), changed))
            except DiagError:
                others.append(None)
        known = [each for each in others if each is not None]
        found = iter(reckon_on_each(self.ready, known, self.roughly, also) if known else ())
        for other in others:
            yield None if other is None else next(found)

    @cached_property
    def called(self) -> dict[frozenset[Job], Work]:
        """Every option of the case as it is, barred ones too, by its jobs: so that the same work bears one name, also
        where another number makes something else the likeliest."""
        return {work.key: work for work in map(work_of, reversed(self.decision.options))}

    @cached_property
    def numbers(self) -> tuple[Number, ...]:
        """Every number that the advice can rest on."""
        return drawn_numbers(self.network)

    @cached_property
    def priced(self) -> Reckoning:
        """The case as it is, with all works among its treatments."""
        return self.as_it_is([work.jobs for work in self.works])

    def as_it_is(self, also: Sequence[Sequence[Job]]) -> Reckoning:
        """The case reckoned with its own numbers, so that these sets of jobs can be priced."""
        return reckon_on(self.ready, self.network, self.knowledge, self.kept, also)

    def supposing(
        self,
        component: tuple[str, str | int | None],
        chance: float,
        also: Sequence[Sequence[Job]],
        alone: bool = False,
    ) -> Reckoning:
        """The case reckoned as if a component were unsound with that chance, all else given its state as it is
        (Jeffrey's rule)."""
        plate, index = self.network.targets.components[component][0], self._index(component)
        now = self.posterior.components[plate][index][0]
        weight = np.where(np.arange(len(now)) == 0, (1.0 - chance) / now[0], chance / max(1.0 - now[0], 1e-300))
        told = dict(self.network.evidence.components)
        likelihood = weight[None, None, :]
        told[plate, index] = told[plate, index] * likelihood if (plate, index) in told else likelihood
        evidence = structs.replace(self.network.evidence, components=told)
        supposed = replace(self.network, evidence=evidence)
        return reckon_on(self.ready, supposed, self.knowledge, self.kept, also, alone)

    def _index(self, component: Key) -> int:
        spot = self.network.component_at(*component)
        assert spot is not None, "only components of a plate are supposed"
        return spot[1]


def money_alone(path: Path) -> bool:
    """Whether a number bears on money and time alone, so that no chance depends on it."""
    return path[0] in MONEY_ALONE and path[-1] != "km_per_year"


def ground_of(knowledge: Knowledge, case: Case, left_out: float = LEFT_OUT) -> Ground:
    """Weigh and decide a case, and keep what its doubt needs."""
    network = build(knowledge, case)
    ready = reckon(knowledge, case, network)
    decision = decide_repair(ready)
    kept, roughly = (likely_configurations(ready.posterior, each) for each in (left_out, LEFT_OUT_ROUGHLY))
    return Ground(knowledge, case, network, ready.posterior, ready, decision, kept, roughly)


def suspects_of(ground: Ground, least: float = SUSPECT) -> tuple[str, ...]:
    """Ids of the components that are likely enough unsound at some place, the likeliest first."""
    highest: dict[str, float] = {}
    for (component, _), chances in component_states(ground.network, ground.posterior).items():
        unsound = float(chances[1:].sum())
        if ground.knowledge.components[component].fault and unsound >= least:
            highest[component] = max(unsound, highest.get(component, 0.0))
    return tuple(sorted(highest, key=lambda each: -highest[each]))
