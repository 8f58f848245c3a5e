"""Answers that are still to come: how likely each is, and the evidence once it is heard.

May import: basics, inference, and the modules of this room below it.
"""

from __future__ import annotations

from msgspec import Struct

from diag.basics import Place
from diag.inference import Evidence
from diag.network.casenetwork import CaseNetwork
from diag.network.marginals import multiplied, relative_probabilities, some_cases

__all__ = ["Foreseen", "foreseen"]


class Foreseen(Struct, frozen=True):
    """One possible answer to a question: its name, its chance now, and all evidence of the case with it."""

    outcome: str
    chance: float
    evidence: Evidence


def foreseen(
    network: CaseNetwork, item: str, place: Place, condition: str | None = None, least: float = 0.0
) -> tuple[Foreseen, ...]:
    """Every answer that a finding or reading could still bring, of at least the chance `least`; none where it is known
    already or has no effect. Readings come in the few bins of `CaseNetwork.outcomes`."""
    outlook = network.outcomes(item, place, condition)
    if outlook is None:
        return ()
    evidence = multiplied(network.evidence, outlook.evidence)
    weights = relative_probabilities(network, evidence, len(outlook.names))
    chances = weights / weights.sum()
    return tuple(
        Foreseen(name, float(chance), some_cases(evidence, [number]))
        for number, (name, chance) in enumerate(zip(outlook.names, chances, strict=True))
        if chance > 0 and chance >= least
    )
