"""The network of a case under other numbers of the same knowledge, without building it all again.

What cylinders share in their readings keeps its nodes, so that everything depends smoothly on the numbers.
May import: knowledge_base, and the modules of this room below it.
"""

from __future__ import annotations

from dataclasses import replace

from diag.knowledge_base import Knowledge
from diag.network.building import _laid_out
from diag.network.casenetwork import CaseNetwork
from diag.network.chain import chain_of
from diag.network.configurations import configurations
from diag.network.likelihoods import factor_of

__all__ = ["rebuilt"]


def rebuilt(network: CaseNetwork, knowledge: Knowledge) -> CaseNetwork:
    """The same case under other numbers: everything is computed anew but the readings that share a shift.

    Numbers of those readings must not differ. `build` also places the nodes of the shift anew; this does not.
    """
    case, versions = network.case, network.layout.versions
    plain = configurations(knowledge, case, versions)
    if network.shifted is not None:
        plain = plain.with_nodes(network.shifted.log_weights)
    layout = replace(network.layout, knowledge=knowledge, configurations=plain, _tables={})
    chain = chain_of(knowledge, layout.severities, len(case.epochs))
    model, targets = _laid_out(layout, chain, network.targets.epochs)
    shifted = network.shifted.factors if network.shifted is not None else {}
    made = {
        question: factor_of(knowledge, case.engine, question, fact)
        for question, fact in network.told.items()
        if question not in shifted
    }
    factors = {
        question: shifted[question] if question in shifted else made[question].factor for question in network.told
    }
    implied = network.shifted.implied if network.shifted is not None else ()
    scale = sum(one.log_scale for one in made.values())
    return replace(
        network,
        knowledge=knowledge,
        model=model,
        evidence=targets.evidence([*factors.values(), *implied]),
        layout=layout,
        targets=targets,
        factors=factors,
        log_scale=scale + (network.shifted.log_scale if network.shifted is not None else 0.0),
    )
