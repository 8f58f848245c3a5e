"""What a workshop works out about a case at one moment, once for all policies that come by the same findings.

May import: decision, network, casebook, knowledge_base, inference, basics, and `glances`, `session` of this room.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Generic, TypeVar

from diag.basics import Place
from diag.casebook import Case
from diag.decision import Advice, Reckoning, Tariff, advise, reckon, tariff_of
from diag.inference import infer
from diag.knowledge_base import Knowledge
from diag.laboratory.glances import Glances, Known
from diag.laboratory.session import told_key
from diag.network import build

__all__ = ["Desk"]

HELD = 24  # moments that are remembered in full: a belief takes megabytes
ADVICE_HELD = 4096

Thing = TypeVar("Thing")
Key = tuple[str, Place]


class _Latest(Generic[Thing]):
    """The latest things, by key."""

    def __init__(self, most: int) -> None:
        self.most, self.held = most, OrderedDict[object, Thing]()

    def get(self, key: object) -> Thing | None:
        if key in self.held:
            self.held.move_to_end(key)
        return self.held.get(key)

    def put(self, key: object, thing: Thing) -> Thing:
        self.held[key] = thing
        if len(self.held) > self.most:
            self.held.popitem(last=False)
        return thing


@dataclass
class Desk:
    """The numbers that policies know, and what was worked out with them for cases of one start."""

    knowledge: Knowledge
    _known: _Latest[Known] = field(default_factory=lambda: _Latest[Known](HELD), repr=False)
    _advice: _Latest[Advice] = field(default_factory=lambda: _Latest[Advice](ADVICE_HELD), repr=False)
    _prices: dict[object, Reckoning] = field(default_factory=dict, repr=False)
    _glances: Glances | None = field(default=None, repr=False)
    _causes: dict[tuple[str, Place], frozenset[Key]] = field(default_factory=dict, repr=False)

    def known(self, case: Case) -> Known:
        """The case weighed. Raises ImpossibleEvidence and TooLarge."""
        key = told_key(case)
        found = self._known.get(key)
        if found is None:
            network = build(self.knowledge, case)
            found = self._known.put(key, Known(network, infer(network.model, network.evidence)))
        return found

    def look(self, cases: Sequence[Case]) -> None:
        """Weigh moments of several cases together, for `glanced`."""
        self._glances = self._glances or Glances(self.knowledge)
        self._glances.look(cases)

    def glanced(self, case: Case) -> Known:
        """As `known`, but for rounding, where moments were looked at together; then of severities only those are known
        that were told of or that the risks of checks hang on."""
        found = self._glances.at(case) if self._glances is not None else None
        return found or self.known(case)

    def advice(self, case: Case, ahead: bool) -> Advice:
        """The advice; with `ahead`, pairs of checks were looked at. A ranking with pairs serves for both."""
        key = told_key(case)
        found = self._advice.get((key, True)) or (None if ahead else self._advice.get((key, False)))
        if found is None:
            known = self.known(case)
            found = advise(self.knowledge, case, known.network, known.posterior, ahead=ahead, best_alone=True)
            self._advice.put((key, ahead), found)
        return found

    def tariff(self, case: Case) -> Tariff:
        """What work costs on this engine."""
        return tariff_of(self.knowledge, case.engine)

    def prices(self, case: Case) -> Reckoning:
        """What a check costs needs the prices and what is known now, not a decision: reckoned once for each start."""
        known, key = self.glanced(case), (case.engine_id, case.distance_km, case.age_years)
        if key not in self._prices:
            whole = self.known(case)
            self._prices[key] = reckon(self.knowledge, case, whole.network, whole.posterior, foreseen=False)
        return replace(self._prices[key], case=case, network=known.network, posterior=known.posterior)

    def causes(self, case: Case, item: str, place: Place) -> frozenset[Key]:
        """Components, at their places, that may be behind an item."""
        if (item, place) not in self._causes:
            self._causes[item, place] = _causes(self.knowledge, self.tariff(case), item, place)
        return self._causes[item, place]


def _causes(knowledge: Knowledge, tariff: Tariff, item: str, place: Place) -> frozenset[Key]:
    entry = knowledge.findings.get(item) or knowledge.readings[item]
    found: set[Key] = set()
    waiting: list[Key] = [(entry.shows, place)]
    while waiting:
        name, where = waiting.pop()
        if name in knowledge.components:
            found.add((name, where))
            continue
        for cause in knowledge.severities[name].causes:
            per = (knowledge.components.get(cause) or knowledge.severities[cause]).per
            if per == "cylinder":
                waiting += [(cause, c) for c in tariff.engine.cylinders if where in (None, c)]
            elif per == "bank":
                waiting += [(cause, bank) for bank in tariff.banks_of(where)]
            else:
                waiting.append((cause, None))
    return frozenset(found)
