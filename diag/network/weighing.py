"""A case weighed: its network, the posterior, and everything by name.

May import: knowledge_base, casebook, inference, basics.
"""

from __future__ import annotations

from functools import cached_property

from msgspec import Struct

from diag.basics import ImpossibleEvidence
from diag.casebook import Case
from diag.inference import Posterior, infer
from diag.knowledge_base import Knowledge
from diag.network.building import build
from diag.network.casenetwork import CaseNetwork
from diag.network.combinations import NamedCombination, named_combinations
from diag.network.marginals import fault_chances, severity_chances
from diag.network.questions import Question, question_name
from diag.network.views import FaultChance, LevelChance

__all__ = ["Weighed", "culprits", "weigh"]


class Weighed(Struct, frozen=True, dict=True):
    """What a case comes to.

    `faults`: every unsound state as it stands now, likeliest first. `combinations`: the most probable joint states,
    where asked for. `log_evidence`: natural logarithm of the probability (density,
    where there are readings) of all that was told.
    """

    network: CaseNetwork
    posterior: Posterior
    faults: tuple[FaultChance, ...]
    combinations: tuple[NamedCombination, ...]
    log_evidence: float

    @cached_property
    def severities(self) -> tuple[LevelChance, ...]:
        """The severities of the cylinders; worked out when first asked for."""
        return severity_chances(self.network, self.posterior)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, and what has no effect, in sentences for people."""
        return self.network.notes


def weigh(knowledge: Knowledge, case: Case, combinations: int = 0) -> Weighed:
    """Weigh a case exactly. `combinations`: how many of the most probable joint states to name.

    Raises ImpossibleEvidence with the names of the findings without which the rest would be possible.
    """
    network = build(knowledge, case)
    try:
        posterior = infer(network.model, network.evidence)
    except ImpossibleEvidence:
        names = [question_name(knowledge, question) for question in culprits(network)]
        raise ImpossibleEvidence(findings=names) from None
    return Weighed(
        network=network,
        posterior=posterior,
        faults=fault_chances(network, posterior),
        combinations=named_combinations(network, posterior, combinations) if combinations else (),
        log_evidence=float(posterior.log_evidence[0]) + network.log_scale,
    )


def culprits(network: CaseNetwork) -> tuple[Question, ...]:
    """The questions without any one of which the rest is possible; where there is none, all that are needed to make
    it impossible, found by leaving them out one after the other as long as it stays so."""
    alone = tuple(question for question in network.factors if not _impossible(network, {question}))
    if alone:
        return alone
    left_out: set[Question] = set()
    for question in network.factors:
        if _impossible(network, {*left_out, question}):
            left_out.add(question)
    return tuple(question for question in network.factors if question not in left_out)


def _impossible(network: CaseNetwork, left_out: set[Question]) -> bool:
    try:
        infer(network.model, network.without(left_out))
    except ImpossibleEvidence:
        return True
    return False
