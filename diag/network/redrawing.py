"""The network of a case under other numbers of the same knowledge, without building it all again.

What cylinders share in their readings keeps its nodes, so that everything depends smoothly on the numbers.
May import: knowledge_base, and the modules of this room below it.
"""

from __future__ import annotations

from dataclasses import replace

from diag.knowledge_base import Knowledge
from diag.network.building import _laid_out, _with_nodes
from diag.network.casenetwork import CaseNetwork
from diag.network.chain import chain_of
from diag.network.configurations import configurations
from diag.network.journeys import with_travellers
from diag.network.numbered import factor_of_told

__all__ = ["rebuilt"]


def rebuilt(network: CaseNetwork, knowledge: Knowledge) -> CaseNetwork:
    """The same case under other numbers: everything is computed anew but the readings that share a shift.

    Numbers of those readings must not differ. `build` also places the nodes of the shift anew; this does not.
    """
    case, versions = network.case, network.layout.versions
    plain = configurations(knowledge, case, versions)
    layout = replace(
        network.layout,
        knowledge=knowledge,
        configurations=plain,
        travellers=(),
        fresh_tables={},
        disturbed_tables={},
        _tables={},
    )
    layout = with_travellers(layout, network.heard)
    layout = replace(layout, configurations=_with_nodes(layout.configurations, network.shifted, network.numbered))
    chain = chain_of(knowledge, layout.severities, len(case.epochs))
    model, targets = _laid_out(layout, chain, network.targets.epochs)
    shifted = network.shifted.factors if network.shifted is not None else {}
    made = {
        question: factor_of_told(knowledge, case, question, items, targets, network.numbered, network.items)
        for question, items in network.items.items()
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
