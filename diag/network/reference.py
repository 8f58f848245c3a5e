"""The reference network in pgmpy: for exact answers to compare with, export, and sampling.

pgmpy is imported only inside the functions that need it, since that takes more than a second. Three habits of pgmpy
that are minded here: its tables have the state first and the first parent cycling slowest; two virtual evidences on one
variable are not multiplied but the last wins, so they are multiplied before; impossible evidence is not an error.
May import: knowledge_base, casebook, evidence, inference, basics, numpy, pgmpy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from diag.basics import write_whole
from diag.casebook import ABSENT, NUMBERING, PRESENT, Case, Measured
from diag.evidence import answer_ratio, reading_likelihood
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.network.building import build
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.likelihoods import condition_of
from diag.network.numbering import is_numbered, log_shares
from diag.network.questions import Question, shown, told_in
from diag.network.reference_nodes import ReferenceNode, node_name, reference_arrays
from diag.network.shifted import is_shifted
from diag.network.tables import levels_of

if TYPE_CHECKING:
    from pgmpy.models import DiscreteBayesianNetwork

__all__ = [
    "ReferenceEvidence",
    "export_bif",
    "export_xmlbif",
    "pgmpy_network",
    "reference_evidence",
    "reference_network",
    "sample",
]


class ReferenceEvidence(Struct, frozen=True):
    """The first epoch's evidence: hard findings by leaf, and likelihoods `[state]` of other variables.

    `leaves` are the questions that need a leaf in the network. `nodes`: further variables that the evidence needs, for
    readings whose cylinders share an unknown shift: the shift, its states being the same quadrature nodes as in the
    plates, and below it and each cylinder's level one variable that is seen in its first state.
    """

    leaves: tuple[Question, ...]
    hard: Mapping[str, str]
    virtual: Mapping[str, Array]
    nodes: tuple[ReferenceNode, ...] = ()


def reference_network(knowledge: Knowledge, case: Case) -> DiscreteBayesianNetwork:
    """The whole knowledge for the case's engine, age and history as a pgmpy network, before any finding."""
    return pgmpy_network(reference_arrays(knowledge, case))


def pgmpy_network(nodes: Sequence[ReferenceNode]) -> DiscreteBayesianNetwork:
    """Nodes as a pgmpy network, checked by pgmpy itself."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.models import DiscreteBayesianNetwork

    states = {node.name: node.states for node in nodes}
    network = DiscreteBayesianNetwork()
    network.add_nodes_from(states)
    network.add_edges_from((parent, node.name) for node in nodes for parent in node.parents)
    for node in nodes:
        columns = node.table.reshape(-1, len(node.states)).T
        named = {name: list(states[name]) for name in (node.name, *node.parents)}
        sizes = [len(states[parent]) for parent in node.parents]
        cpd = TabularCPD(node.name, len(node.states), columns, list(node.parents) or None, sizes or None, named)
        network.add_cpds(cpd)
    network.check_model()
    return network


def reference_evidence(knowledge: Knowledge, case: Case) -> ReferenceEvidence:
    """What was told in the first epoch, for a query of the reference; soft answers and readings as likelihoods."""
    hard: dict[str, str] = {}
    virtual: dict[str, Array] = {}
    leaves: list[Question] = []
    measured: dict[Key, list[Measured]] = {}
    network = build(knowledge, replace(case, epochs=case.epochs[:1]))
    numbered = network.numbered is not None
    for question, told in told_in(case).items():
        condition = condition_of(knowledge, question.item, question.condition)
        leaf = Question(question.item, question.place, condition)
        name = node_name(question.item, question.place, condition)
        for each in (item.what for item in told if item.epoch == 0):
            if isinstance(each, Measured) and is_shifted(knowledge, case.engine, question):
                continue
            if numbered and is_numbered(knowledge, question):
                continue
            if isinstance(each, Measured):
                measured.setdefault((question.item, question.place), []).append(each)
            elif each.answer in (PRESENT, ABSENT):
                hard[name] = each.answer
                leaves.append(leaf)
            elif (ratio := answer_ratio(each, knowledge)) is not None:
                virtual[name] = virtual.get(name, np.ones(2)) * np.array([1.0, ratio]) / max(1.0, ratio)
                leaves.append(leaf)
    for (item, place), values in measured.items():
        parent = node_name(shown(knowledge, item), place)
        levels = levels_of(knowledge, shown(knowledge, item))
        likelihood = reading_likelihood(knowledge.readings[item], case.engine, values, levels).scaled
        virtual[parent] = virtual.get(parent, np.ones(len(levels))) * likelihood
    nodes = _shift_nodes(network)
    hard |= {node.name: node.states[0] for node in nodes if node.name.startswith("shown_")}
    return ReferenceEvidence(tuple(dict.fromkeys(leaves)), hard, virtual, nodes)


def _shift_nodes(network: CaseNetwork) -> tuple[ReferenceNode, ...]:
    """The shift of the first epoch's readings and the numbering of the cylinders, and what was shown of each cylinder.

    The nodes of both are one variable. Where the numbering is not known it hangs on the state of `code_numbering`.
    """
    found, numbered = network.shifted, network.numbered
    if found is None and numbered is None:
        return ()
    implied = found.implied if found is not None else ()
    factors = [part for factor in (*network.factors.values(), *implied) for part in factor.whole if part.by_node]
    log_weights = numbered.log_weights if numbered is not None else found.log_weights if found is not None else ()
    chances, parents = np.exp(log_weights), tuple[str, ...]()
    states = tuple(f"node_{number + 1}" for number in range(len(chances)))
    if numbered is not None:
        count, (_, of_state) = len(network.knowledge.components[NUMBERING].states), log_shares(numbered.numbers)
        rows = np.where(of_state[numbered.of_node] == np.arange(count)[:, np.newaxis], chances, 0.0)
        empty = rows.sum(axis=1) == 0  # a state without a chance
        rows[empty, 0] = 1.0
        chances, parents = rows, (node_name(NUMBERING),)
    nodes = [ReferenceNode("shift", states, parents, chances / chances.sum(axis=-1, keepdims=True))]
    for number, factor in enumerate(factors):
        table = np.stack([factor.likelihood[0], 1.0 - factor.likelihood[0]], axis=-1)
        shown_by = ("shift", node_name(*factor.key))
        nodes.append(ReferenceNode(f"shown_{number + 1}", ("as_read", "otherwise"), shown_by, table))
    return tuple(nodes)


def export_bif(network: DiscreteBayesianNetwork, path: Path | str, overwrite: bool = False) -> None:
    """Write a network in the BIF format, whole or not at all. Raises UsageError where the file exists."""
    from pgmpy.readwrite import BIFWriter

    write_whole(path, str(BIFWriter(network)), overwrite)


def export_xmlbif(network: DiscreteBayesianNetwork, path: Path | str, overwrite: bool = False) -> None:
    """Write a network in the XMLBIF format, whole or not at all. Raises UsageError where the file exists."""
    from pgmpy.readwrite import XMLBIFWriter

    write_whole(path, str(XMLBIFWriter(network)), overwrite)


def sample(network: DiscreteBayesianNetwork, count: int, seed: int) -> tuple[dict[str, str], ...]:
    """Draw vehicles from the network by pgmpy: the state of every variable by name, one dictionary a draw."""
    drawn = network.simulate(n_samples=count, seed=seed, show_progress=False)
    return tuple({str(name): str(state) for name, state in row.items()} for row in drawn.to_dict("records"))
