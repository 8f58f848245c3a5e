"""One simulated case run to its end under a policy, and what perfect information would have cost.

May import: decision, network, casebook, knowledge_base, inference, basics, numpy.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from diag.basics import ImpossibleEvidence, TooLarge, UsageError
from diag.casebook import Answer, Case, Measured
from diag.decision import Job, Reckoning, Tariff, Vehicle, least_total, realised, reckon
from diag.inference import Evidence, infer
from diag.knowledge_base import Knowledge
from diag.laboratory.policies import items_of
from diag.laboratory.session import CheckStep, Policy, RepairStep, Step, asked_in, told_key, with_found
from diag.laboratory.vehicles import Drawn
from diag.network import CaseNetwork, build

__all__ = ["CaseRun", "Workshop", "certainty_of", "sets_at_sites"]

MOST_TOGETHER = 8  # shared jobs of a plan up to which every subset may be the work at one site
MOST_CHECKS = 60  # after so many a policy has to repair


@dataclass(frozen=True)
class CaseRun:
    """One case under one policy, in the currency: `checks` done and their cost, `repair` and everything after it, and
    `least`: what the best plan costs on this vehicle where its truth is known. `expected`: what the policy expected the
    repair to come to, none where it does not reckon. `returns`: chance of a return visit with something not mended;
    `wrong`: jobs with parts done though everything that they renew was sound; `stuck`: the answers were impossible or
    too many for the policy's numbers, and it repaired on what it knew before."""

    policy: str
    start: str
    number: int
    checks: int
    check_cost: float
    repair: float
    returns: float
    wrong: int
    least: float
    expected: float | None
    stuck: bool

    @property
    def total(self) -> float:
        """Checks, repair and what comes after it."""
        return self.check_cost + self.repair


@dataclass
class Workshop:
    """Runs cases of one start. `belief`: the numbers that policies know, `truth`: those that vehicles are drawn from
    and that decide what becomes of a repair. Remembers every decision: the same findings lead to the same step."""

    belief: Knowledge
    truth: Knowledge
    start: Case
    _steps: dict[object, Step] = field(default_factory=dict, repr=False)
    _priced: dict[object, Reckoning] = field(default_factory=dict, repr=False)
    _least: dict[Vehicle, float] = field(default_factory=dict, repr=False)
    _network: CaseNetwork | None = field(default=None, repr=False)

    def run(self, drawn: Drawn, policy: Policy) -> CaseRun:
        """One case from the complaint to its end."""
        case, spent, checks, stuck = self.start, 0.0, 0, False
        last: RepairStep | None = None
        while True:
            try:
                step = self._step(policy, case, spent)
            except (ImpossibleEvidence, TooLarge):
                step, stuck = last or RepairStep(()), True
            if isinstance(step, RepairStep) or checks >= MOST_CHECKS:
                break
            case = with_found(case, self._answers(drawn, step, case), step.opens)
            spent, checks = spent + step.cost, checks + 1
        repair = step if isinstance(step, RepairStep) else RepairStep(())
        found = realised(self._ready(repair.jobs, case), repair.jobs, drawn.vehicle, repair.later)
        if found is None:
            raise UsageError(f"'{policy.name}' chose jobs that are no plan: {repair.jobs}")
        return CaseRun(
            policy.name,
            self.start.title,
            drawn.number,
            checks,
            spent,
            found.total,
            found.returns,
            sum(self._wrong(drawn, job) for job in repair.jobs),
            self.least(drawn.vehicle),
            repair.expected,
            stuck,
        )

    def _step(self, policy: Policy, case: Case, spent: float) -> Step:
        key = (policy.name, told_key(case), round(spent, 6))
        if key not in self._steps:
            self._steps[key] = policy.step(self.belief, case, spent)
        return self._steps[key]

    def _answers(self, drawn: Drawn, step: CheckStep, case: Case) -> list[Answer | Measured]:
        known = asked_in(case)
        asked = items_of(self.belief, Tariff(self.belief, case.engine), step.check, step.place)
        answers = (drawn.answer(*each) for each in asked if each not in known)
        return [each for each in answers if each is not None]

    def _ready(self, jobs: tuple[Job, ...], case: Case) -> Reckoning:
        """A reckoning with the true numbers in which these jobs are a plan; only money is read from it."""
        key = (frozenset(jobs), frozenset(case.open_access))
        if key not in self._priced:
            told = replace(self.start, open_access=case.open_access)
            network = self._of_truth()
            self._priced[key] = reckon(self.truth, told, network, also=sets_at_sites(jobs))
        return self._priced[key]

    def _of_truth(self) -> CaseNetwork:
        if self._network is None:
            self._network = build(self.truth, self.start)
        return self._network

    def _wrong(self, drawn: Drawn, job: Job) -> bool:
        tariff = Tariff(self.truth, self.start.engine)
        if not self.truth.repairs[job.repair].parts:
            return False
        faults = [key for key in tariff.renewed(job) if self.truth.components[key[0]].fault]
        return bool(faults) and all(drawn.levels[key] == 0 for key in faults)

    def least(self, vehicle: Vehicle) -> float:
        """Cost of the best plan on a vehicle of which everything is known: no policy can be cheaper on average."""
        if vehicle not in self._least:
            network = self._of_truth()
            told = replace(network, evidence=certainty_of(network, vehicle))
            self._least[vehicle] = least_total(reckon(self.truth, self.start, told, infer(told.model, told.evidence)))
        return self._least[vehicle]


def sets_at_sites(jobs: tuple[Job, ...]) -> list[tuple[Job, ...]]:
    """The sets of jobs that may make up one site of a plan: a cylinder's together; of the vehicle's and the banks' any,
    since they may lie at one site or at several."""
    mine = tuple(job for job in jobs if isinstance(job.place, int))
    shared = [job for job in jobs if not isinstance(job.place, int)]
    found = [mine] if mine else []
    most = len(shared) if len(shared) <= MOST_TOGETHER else 3
    return [*found, *(some for count in range(1, most + 1) for some in combinations(shared, count))]


def certainty_of(network: CaseNetwork, vehicle: Vehicle) -> Evidence:
    """Evidence that tells everything about a vehicle."""
    model = network.model
    components = {
        (plate, index): np.eye(component.prior.shape[1])[[vehicle.components[plate][index]]][None]
        for plate, each in enumerate(model.plates)
        for index, component in enumerate(each.components)
        if component.prior.shape[1] > 1 and plate < len(model.plates) - 1
    }
    here = np.zeros((1, len(model.configurations), 2))
    here[0, vehicle.configuration] = 1.0
    components[len(model.plates) - 1, 0] = here
    axes = tuple(
        (plate, (axis,), np.eye(known.levels)[[vehicle.axes[plate][axis]]])
        for plate, each in enumerate(model.plates)
        for axis, known in enumerate(each.axes)
    )
    return Evidence(1, components, axes)
