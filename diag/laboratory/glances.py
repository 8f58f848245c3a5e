"""Many moments weighed at once for what rules of thumb look at: chances of faults, and what a check's risks hang on.

Moments at which the same was asked are cases of one batch on the network of their start, which is quicker than one
after the other. How a batch is made up changes chances by rounding alone (the tests hold it to 1e-9), and rules of
thumb do not look that closely. May import: network, casebook, knowledge_base, inference, basics, numpy, and `session`
of this room.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diag.basics import ImpossibleEvidence, TooLarge
from diag.casebook import Case
from diag.inference import Evidence, Posterior, infer
from diag.knowledge_base import Knowledge
from diag.laboratory.session import told_key
from diag.network import Alike, CaseNetwork, Factor, Likelihoods, alike, shaped_evidence, sort_of, told_of

__all__ = ["Glances", "Known"]

AT_ONCE = 1 << 10  # moments by configurations: with more together the plates no longer stay near the processor
TERMS_AT_ONCE = 1 << 18  # moments by configurations by terms; many terms gain little from being together
CLOSE = 1e-7  # bound of the relative error up to which nothing has to be carried; what comes of it is far below


@dataclass(frozen=True)
class Known:
    """What is believed at one moment of a case."""

    network: CaseNetwork
    posterior: Posterior


@dataclass
class _Start:
    """One start with nothing told: its network, and likelihoods that were worked out on it."""

    group: Alike
    made: Likelihoods
    silent: tuple[Factor, ...]  # say nothing, on the severities that the risks of checks hang on


@dataclass
class Glances:
    """Moments weighed together. Of a posterior only components, configurations and those severities are known that were
    told of or that the risks of checks hang on; all others are not a number."""

    knowledge: Knowledge
    _starts: dict[object, _Start] = field(default_factory=dict, repr=False)
    _seen: dict[object, Known] = field(default_factory=dict, repr=False)

    def look(self, cases: Sequence[Case]) -> None:
        """Weigh these together, and forget those before. What is impossible, too large, or of no sort (see `sort_of`)
        is left to be weighed by itself."""
        self._seen.clear()
        sorts: dict[object, dict[object, Case]] = {}
        for case in cases:
            sort = sort_of(self.knowledge, case)
            if sort is not None:
                sorts.setdefault((sort, _start_key(case)), {}).setdefault(_moment(case), case)
        for some in sorts.values():
            self._weigh(list(some.values()))

    def at(self, case: Case) -> Known | None:
        """What was seen of a case; none where it was not weighed."""
        return self._seen.get(_moment(case))

    def _weigh(self, cases: Sequence[Case]) -> None:
        start = self._start_of(cases[0])
        for some in _parts(start.group.network, cases, self._terms(start, cases[0])):
            chosen, posterior = self._possible(start, some)
            for row, case in enumerate(chosen):
                assert posterior is not None
                self._seen[_moment(case)] = Known(start.group.network, _row(posterior, row))

    def _possible(self, start: _Start, cases: Sequence[Case]) -> tuple[list[Case], Posterior | None]:
        """Those of the cases that can be, and their posterior."""
        chosen = list(cases)
        while chosen:
            told = [told_of(self.knowledge, case, start.group.network).questions for case in chosen]
            evidence, _ = shaped_evidence(start.group, {}, told, start.silent, start.made)
            try:
                return chosen, _inferred(start.group.network, evidence)
            except ImpossibleEvidence as error:
                chosen = [case for row, case in enumerate(chosen) if row not in error.cases]
            except TooLarge:
                break
        return [], None

    def _terms(self, start: _Start, case: Case) -> int:
        told = told_of(self.knowledge, case, start.group.network).questions
        evidence, _ = shaped_evidence(start.group, {}, [told], (), start.made)
        return math.prod(size for _, table in evidence.shared for size in table.shape[1:])

    def _start_of(self, case: Case) -> _Start:
        key = _start_key(case)
        if key not in self._starts:
            group = alike(self.knowledge, [replace(case, open_access=())])
            self._starts[key] = _Start(group, Likelihoods(group.network), tuple(_silent(group.network)))
        return self._starts[key]


def _start_key(case: Case) -> object:
    return case.engine_id, case.distance_km, case.age_years, case.numbering


def _moment(case: Case) -> object:
    """Equal for cases of one start of which the same is believed, whatever is open."""
    return _start_key(case), told_key(case)[:2]


def _inferred(network: CaseNetwork, evidence: Evidence) -> Posterior:
    found = infer(network.model, evidence, "subtracting", unseen=False)
    return found if found.cancellation <= CLOSE else infer(network.model, evidence, unseen=False)


def _silent(network: CaseNetwork) -> Iterator[Factor]:
    """Factors that say nothing, on every cylinder's severity that a risk of a check hangs on."""
    knowledge = network.knowledge
    named = dict.fromkeys(risk.by for check in knowledge.checks.values() for risk in check.risks if risk.by is not None)
    for name in named:
        severity = knowledge.severities.get(name)
        if severity is not None and severity.per == "cylinder":
            for cylinder in network.case.engine.cylinders:
                key = (name, cylinder)
                yield Factor(key, (network.current_version(key),), np.ones((1, len(severity.levels))))


def _parts(network: CaseNetwork, cases: Sequence[Case], terms: int) -> Iterator[Sequence[Case]]:
    """As many at a time as gain by it."""
    configurations = len(network.model.configurations)
    at_once = max(1, min(AT_ONCE // configurations, TERMS_AT_ONCE // (configurations * terms)))
    for first in range(0, len(cases), at_once):
        yield cases[first : first + at_once]


def _row(posterior: Posterior, row: int) -> Posterior:
    """One case of a batch."""
    here = slice(row, row + 1)
    return replace(
        posterior,
        log_evidence=posterior.log_evidence[here],
        configurations=posterior.configurations[here],
        components=tuple(tuple(each[here] for each in plate) for plate in posterior.components),
        axes=tuple(tuple(each[here] for each in plate) for plate in posterior.axes),
        views={},
    )
