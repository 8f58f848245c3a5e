"""A model (one version of everything) and its evidence as an ordinary Bayesian network, for pgmpy and for pyAgrum.

Noisy maxima are decomposed into chains of pairwise maxima (Heckerman & Breese 1996). A likelihood becomes a node of two
values below the variables that it speaks of, observed at its first value: so a likelihood over several variables at
once, or one that depends on the configuration, needs nothing special from the reference.

May import: numpy, pgmpy and pyagrum (both only where used), and the records of `diag.inference`.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np

from diag.inference import Array, Evidence, Model

if TYPE_CHECKING:
    import pyagrum
    from pgmpy.models import DiscreteBayesianNetwork

__all__ = [
    "Network",
    "Node",
    "axis_name",
    "component_name",
    "pgmpy_marginals",
    "pgmpy_network",
    "pyagrum_marginals",
    "pyagrum_module",
    "pyagrum_network",
    "reference_network",
    "shared_name",
]

CONFIGURATION = "configuration"


@dataclass(frozen=True)
class Node:
    """A variable of the network: `table[parent, ..., state]`, rows sum to 1."""

    name: str
    parents: tuple[str, ...]
    table: Array

    @property
    def states(self) -> int:
        """How many values it has."""
        return int(self.table.shape[-1])


@dataclass(frozen=True)
class Network:
    """Nodes, parents first; `observed` are the evidence nodes, each seen at value 0.

    `log_scale`: P(observed) times exp(log_scale) is the probability of the evidence, as the likelihoods were divided
    by their largest value.
    """

    nodes: tuple[Node, ...]
    observed: tuple[str, ...]
    log_scale: float


def component_name(plate: int, component: int) -> str:
    """Name of a component's node."""
    return f"component_{plate}_{component}"


def axis_name(plate: int, axis: int) -> str:
    """Name of a local severity's node."""
    return f"axis_{plate}_{axis}"


def shared_name(shared: int) -> str:
    """Name of a shared severity's node."""
    return f"shared_{shared}"


def maximum_table(left: int, right: int) -> Array:
    """`table[left level, right level, level]`: certain of the larger of two levels."""
    table = np.zeros((left, right, max(left, right)))
    for low in range(left):
        for high in range(right):
            table[low, high, max(low, high)] = 1.0
    return table


def maximum_chain(name: str, levels: int, sources: Sequence[str]) -> list[Node]:
    """Nodes that take the maximum of sources of equal levels, two at a time; the last is called `name`."""
    if not sources:
        return [Node(name, (), np.eye(levels)[0])]
    if len(sources) == 1:
        return [Node(name, (sources[0],), np.eye(levels))]
    nodes, before = [], sources[0]
    for index, source in enumerate(sources[1:]):
        here = name if index == len(sources) - 2 else f"{name}_up_to_{index}"
        nodes.append(Node(here, (before, source), maximum_table(levels, levels)))
        before = here
    return nodes


def under_configuration(name: str, parents: tuple[str, ...], table: Array) -> Node:
    """A node whose `table[configuration or 1, ...]` makes the configuration a parent only where it matters."""
    if len(table) == 1:
        return Node(name, parents, table[0])
    return Node(name, (CONFIGURATION, *parents), table)


def plate_nodes(model: Model, plate_index: int) -> tuple[list[Node], dict[int, list[str]]]:
    """A plate's nodes, and by shared severity the names of what the plate contributes to it."""
    plate, nodes = model.plates[plate_index], []
    received: dict[int, list[str]] = {axis: [] for axis in range(len(plate.axes))}
    for index, component in enumerate(plate.components):
        name = component_name(plate_index, index)
        nodes.append(under_configuration(name, (), component.prior))
        for number, link in enumerate(component.links):
            given = f"link_{plate_index}_{index}_{number}"
            nodes.append(under_configuration(given, (name,), link.table))
            for axis in link.axes:
                received[axis].append(given)
    for axis, sources in received.items():
        nodes += maximum_chain(axis_name(plate_index, axis), plate.axes[axis].levels, sources)
    contributions: dict[int, list[str]] = {}
    for number, emission in enumerate(plate.emissions):
        (axis,) = emission.axes  # one version only
        given = f"emission_{plate_index}_{number}"
        nodes.append(Node(given, (axis_name(plate_index, axis),), emission.table))
        contributions.setdefault(emission.shared, []).append(given)
    return nodes, contributions


def shared_nodes(model: Model, shared: int, contributions: list[str]) -> list[Node]:
    """The nodes of one shared severity, its backgrounds included."""
    severity = model.shared[shared]
    nodes, sources = [], list(contributions)
    for number, background in enumerate(severity.backgrounds):
        sources.append(f"background_{shared}_{number}")
        nodes.append(under_configuration(sources[-1], (), background[0]))
    return nodes + maximum_chain(shared_name(shared), severity.levels, sources)


def evidence_nodes(evidence: Evidence, case: int) -> tuple[list[Node], float]:
    """A node of two values for every likelihood, and the logarithm of what they were divided by."""
    likelihoods: list[tuple[tuple[str, ...], Array]] = []
    for (plate, component), likelihood in evidence.components.items():
        values = likelihood[case % len(likelihood)]
        parents: tuple[str, ...] = (component_name(plate, component),)
        likelihoods.append((parents, values[0]) if len(values) == 1 else ((CONFIGURATION, *parents), values))
    for plate, axes, likelihood in evidence.axes:
        likelihoods.append((tuple(axis_name(plate, axis) for axis in axes), likelihood[case % len(likelihood)]))
    for plate, axes, likelihood in evidence.configured:
        names = (CONFIGURATION, *(axis_name(plate, axis) for axis in axes))
        likelihoods.append((names, likelihood[case % len(likelihood)]))
    for shared_axes, likelihood in evidence.shared:
        likelihoods.append(
            (tuple(shared_name(shared) for shared, _ in shared_axes), likelihood[case % len(likelihood)])
        )
    nodes, log_scale = [], 0.0
    for number, (parents, values) in enumerate(likelihoods):
        scaled = values / values.max()
        log_scale += float(np.log(values.max()))
        nodes.append(Node(f"evidence_{number}", parents, np.stack([scaled, 1.0 - scaled], axis=-1)))
    return nodes, log_scale


def reference_network(model: Model, evidence: Evidence, case: int = 0) -> Network:
    """The model and one case of its evidence as a network; everything must have one version only."""
    if any(severity.versions != 1 for severity in model.shared):
        raise ValueError("comonotone contributions over versions have no plain network: use brute force")
    nodes = [Node(CONFIGURATION, (), model.configurations)]
    contributions: dict[int, list[str]] = {shared: [] for shared in range(len(model.shared))}
    for plate in range(len(model.plates)):
        own, given = plate_nodes(model, plate)
        nodes += own
        for shared, names in given.items():
            contributions[shared] += names
    for shared in range(len(model.shared)):
        nodes += shared_nodes(model, shared, contributions[shared])
    observed, log_scale = evidence_nodes(evidence, case)
    return Network(tuple(nodes + observed), tuple(node.name for node in observed), log_scale)


def pgmpy_network(network: Network) -> DiscreteBayesianNetwork:
    """The network in pgmpy, its own check passed. In a TabularCPD the last parent's state varies fastest."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # pgmpy's own, about its other modules, on first import
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.models import DiscreteBayesianNetwork

    states = {node.name: node.states for node in network.nodes}
    built = DiscreteBayesianNetwork()
    built.add_nodes_from(states)
    built.add_edges_from((parent, node.name) for node in network.nodes for parent in node.parents)
    for node in network.nodes:
        columns = node.table.reshape(-1, node.states).T
        parents = list(node.parents)
        built.add_cpds(TabularCPD(node.name, node.states, columns, parents, [states[parent] for parent in parents]))
    if not built.check_model():
        raise ValueError("pgmpy's own check of the network fails")
    return built


def pgmpy_marginals(network: Network, names: Iterable[str]) -> dict[str, Array]:
    """Posterior of each named node by pgmpy's variable elimination, one query each."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # as above
        from pgmpy.inference import VariableElimination

    engine = VariableElimination(pgmpy_network(network))
    seen = dict.fromkeys(network.observed, 0)
    return {name: np.asarray(engine.query([name], evidence=seen, show_progress=False).values) for name in names}


def pyagrum_module() -> ModuleType:
    """pyAgrum, imported without the warnings that its generated wrapper gives on first import."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        return import_module("pyagrum")


def pyagrum_network(network: Network) -> pyagrum.BayesNet:
    """The network in pyAgrum, filled from arrays; its tables name their axes, which are put in that order."""
    gum = pyagrum_module()
    built: pyagrum.BayesNet = gum.BayesNet("reference")
    for node in network.nodes:
        built.add(gum.RangeVariable(node.name, node.name, 0, node.states - 1))
    for node in network.nodes:
        for parent in node.parents:
            built.addArc(parent, node.name)
        order = [(*node.parents, node.name).index(name) for name in reversed(built.cpt(node.name).names)]
        built.cpt(node.name).fillWith(np.transpose(node.table, order).ravel().tolist())
    return built


def pyagrum_marginals(network: Network, names: Iterable[str]) -> tuple[float, dict[str, Array]]:
    """Log probability of the evidence, and the posterior of each named node, by pyAgrum's lazy propagation."""
    pyagrum = pyagrum_module()
    engine = pyagrum.LazyPropagation(pyagrum_network(network))
    engine.setEvidence(dict.fromkeys(network.observed, 0))
    wanted = list(names)
    engine.setTargets(set(wanted))
    engine.makeInference()
    log_probability = float(np.log(engine.evidenceProbability())) + network.log_scale
    return log_probability, {name: engine.posterior(name).toarray() for name in wanted}
