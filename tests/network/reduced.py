"""Parts of the shipped knowledge that general-purpose engines can still carry, and those engines behind one function.

May import: numpy, pgmpy and pyagrum (both only where used), `diag.knowledge_base`, `diag.network`.
"""

from __future__ import annotations

import warnings
from collections.abc import Collection, Iterable, Sequence
from importlib import import_module

import numpy as np

from diag.inference import Array
from diag.knowledge_base import Engine, Knowledge
from diag.network import ReferenceEvidence, ReferenceNode, pgmpy_network

__all__ = ["ancestors", "pgmpy_marginals", "pyagrum_marginals", "reduced", "small_bank"]


def reduced(knowledge: Knowledge, components: Collection[str], severities: Collection[str]) -> Knowledge:
    """The knowledge with some components and severities only, and the findings that show them."""
    kept = {*components, *severities}
    return knowledge.model_copy(
        update={
            "components": {
                name: one.model_copy(
                    update={"given": {cause: table for cause, table in one.given.items() if cause in kept}}
                )
                for name, one in knowledge.components.items()
                if name in kept
            },
            "severities": {
                name: one.model_copy(
                    update={"causes": {cause: table for cause, table in one.causes.items() if cause in kept}}
                )
                for name, one in knowledge.severities.items()
                if name in kept
            },
            "findings": {name: one for name, one in knowledge.findings.items() if one.shows in kept},
            "readings": {name: one for name, one in knowledge.readings.items() if one.shows in kept},
        }
    )


def small_bank(engine: Engine, cylinders: int) -> Engine:
    """An engine with its first cylinders only, split over its banks as they come."""
    wanted = range(1, cylinders + 1)
    banks = {letter: tuple(n for n in numbers if n in wanted) for letter, numbers in engine.banks.items()}
    order = tuple(n for n in engine.firing_order if n in wanted)
    return engine.model_copy(update={"banks": banks, "firing_order": order})


def ancestors(nodes: Sequence[ReferenceNode], wanted: Iterable[str]) -> tuple[ReferenceNode, ...]:
    """The variables that `wanted` ones depend on, and those; all others are barren and change nothing."""
    by_name, kept, open_ = {node.name: node for node in nodes}, set[str](), list(wanted)
    while open_:
        name = open_.pop()
        if name not in kept:
            kept.add(name)
            open_ += by_name[name].parents
    return tuple(node for node in nodes if node.name in kept)


def pyagrum_marginals(
    nodes: Sequence[ReferenceNode], evidence: ReferenceEvidence, wanted: Collection[str]
) -> tuple[dict[str, Array], float]:
    """Marginals of the wanted variables and the probability of the evidence, by pyAgrum's lazy propagation.

    Tables are given as arrays: read from a file pyAgrum keeps 32 bits only. Its arrays are indexed in the reverse order
    of a table's names.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its extension module warns when it is loaded
        pyagrum = import_module("pyagrum")

    network = pyagrum.BayesNet()
    for node in nodes:
        network.add(pyagrum.LabelizedVariable(node.name, node.name, list(node.states)))
    for node in nodes:
        for parent in node.parents:
            network.addArc(parent, node.name)
    for node in nodes:
        table, own = network.cpt(node.name), [*node.parents, node.name]
        order = [own.index(name) for name in reversed(list(table.names))]
        table[:] = np.ascontiguousarray(np.transpose(node.table, order))
    engine = pyagrum.LazyPropagation(network)
    engine.setEvidence({**evidence.hard, **{name: list(values) for name, values in evidence.virtual.items()}})
    engine.setTargets(set(wanted) - set(evidence.hard))
    engine.makeInference()
    found = {name: np.asarray(engine.posterior(name).toarray()) for name in wanted}
    return found, float(engine.evidenceProbability())


def pgmpy_marginals(
    nodes: Sequence[ReferenceNode], evidence: ReferenceEvidence, wanted: Collection[str]
) -> dict[str, Array]:
    """Marginals of the wanted variables by pgmpy's variable elimination; virtual evidence as pgmpy takes it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pgmpy and what it imports warn about themselves
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.inference import VariableElimination

        network = pgmpy_network(nodes)
        states = {node.name: list(node.states) for node in nodes}
        virtual = [
            TabularCPD(name, len(values), (values / values.sum())[:, np.newaxis], state_names={name: states[name]})
            for name, values in evidence.virtual.items()
        ]
        found = {}
        for name in wanted:
            engine = VariableElimination(network)  # a new one each time: virtual evidence leaves nodes behind
            factor = engine.query([name], dict(evidence.hard), virtual or None, show_progress=False)
            by_state = dict(zip(factor.state_names[name], factor.values, strict=True))
            found[name] = np.array([by_state[state] for state in states[name]])
    return found
