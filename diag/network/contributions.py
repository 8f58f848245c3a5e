"""Which table of a model is what cause's contribution to which severity: for counting how often each was used.

May import: knowledge_base, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.inference import Array, Component
from diag.knowledge_base import Knowledge
from diag.network.casenetwork import CaseNetwork
from diag.network.chain import Chain
from diag.network.instances import Key
from diag.network.plates import direct_causes
from diag.network.prior_table import FigurePath
from diag.network.tables import levels_of
from diag.network.targets import Factor

__all__ = ["ChainRow", "Contribution", "Contributions", "chain_rows", "contributions_of"]


class Contribution(Struct, frozen=True):
    """What `cause` gives to `severity`; a cause of '' is the background. `fell[history]`: where the table's rows are
    histories of a component that work disturbed, the state by which each of them gives (0: by none)."""

    severity: str
    cause: str
    fell: tuple[int, ...] = ()

    def paths(self, knowledge: Knowledge) -> Iterator[tuple[int, int, FigurePath]]:
        """Row (state or level of the cause), level, and the path of each figure that the knowledge states."""
        severity = knowledge.severities[self.severity]
        if not self.cause:
            for name in severity.background:
                yield 0, severity.levels.index(name), ("severities", self.severity, "background", name)
            return
        rows = levels_of(knowledge, self.cause)
        for state, given in severity.causes[self.cause].items():
            for name in given:
                path = ("severities", self.severity, "causes", self.cause, state, name)
                yield rows.index(state), severity.levels.index(name), path


class Contributions(Struct, frozen=True):
    """By plate, component and link; by plate and emission; by shared severity and background, with the variable of the
    configuration that gives it. What exchanges moved is left out: it gives by where it has been."""

    links: Mapping[tuple[int, int, int], Contribution]
    emissions: Mapping[tuple[int, int], Contribution]
    backgrounds: Mapping[tuple[int, int], tuple[Contribution, Key | None]]


def contributions_of(network: CaseNetwork) -> Contributions:
    """Of a network's model."""
    knowledge, targets, model = network.knowledge, network.targets, network.model
    key_at = {(plate, axis): key for key, (plate, axes) in targets.axes.items() for axis in axes}
    travelled = {stay.key for each in network.layout.travellers for part in each.parts for stay in part.stays}
    links: dict[tuple[int, int, int], Contribution] = {}
    for key, (plate, indices) in targets.components.items():
        components = model.plates[plate].components
        histories: dict[int, list[Component]] = {}  # the versions from one renewal to the next, in their order
        for index in indices if key not in travelled else ():
            base = components[index].base
            histories.setdefault(index if base is None else base, []).append(components[index])
        for index, versions in histories.items():
            known = components[index].links
            for number, link in enumerate(known):
                severity = key_at[plate, link.axes[0]][0]
                if severity in knowledge.severities and key[0] in knowledge.severities[severity].causes:
                    fell = _fell(versions, number * len(versions) // len(known))
                    links[plate, index, number] = Contribution(severity, key[0], fell)
    shared = {node.shared: name for name, node in targets.chain.nodes.items()}
    emissions = {
        (plate, number): Contribution(shared[emission.shared], key_at[plate, emission.axes[0]][0])
        for plate, known in enumerate(model.plates)
        for number, emission in enumerate(known.emissions)
    }
    return Contributions(links, emissions, _backgrounds(network))


def _fell(versions: Sequence[Component], place: int) -> tuple[int, ...]:
    """The state into which each history fell at one of its versions; empty where there is only one version."""
    if len(versions) == 1:
        return ()
    before = versions[place - 1].seen if place else (0,) * len(versions[0].seen)
    return tuple(0 if was else now for was, now in zip(before, versions[place].seen, strict=True))


def _backgrounds(network: CaseNetwork) -> dict[tuple[int, int], tuple[Contribution, Key | None]]:
    knowledge = network.knowledge
    found: dict[tuple[int, int], tuple[Contribution, Key | None]] = {}
    for name, node in network.targets.chain.nodes.items():
        given: list[tuple[Contribution, Key | None]] = []
        if knowledge.severities[name].background:
            given.append((Contribution(name, ""), None))
        for cause in direct_causes(knowledge, network.case, name, None):
            component = knowledge.components.get(cause[0])
            if component is not None and component.reaches_cylinders:
                given.append((Contribution(name, cause[0]), cause))
        found |= {(node.shared, number): each for number, each in enumerate(given)}
    return found


class ChainRow(Struct, frozen=True):
    """One level of one vehicle severity that gives to another: `chances[level]`; evidence that the cause is at this
    level; and for each level given, what was told as if the row gave that level for certain."""

    contribution: Contribution
    row: int
    chances: Array
    at_level: tuple[object, ...]
    for_certain: tuple[tuple[object, ...], ...]


def chain_rows(network: CaseNetwork, factors: list[Factor], cases: int) -> list[ChainRow]:
    """The rows by which vehicle severities that were told of, or cause such, give to each other: of severities of one
    version. The chance of what was told is linear in a row, so these tell how often it was used, and for what."""
    nodes, found = network.targets.chain.nodes, list[ChainRow]()
    reached: set[str] = set()
    for name, node in reversed(list(nodes.items())):
        if name in reached or any(factor.key[0] == name for factor in factors):
            reached |= {name, *node.causes}
    for name, node in nodes.items():
        for cause, table in node.causes.items() if name in reached else ():
            if len(set(node.standing)) > 1 or len(set(nodes[cause].standing)) > 1:
                continue
            for row in range(1, len(table)):
                level = Factor((cause, None), (0,), np.eye(len(table))[[row]])
                at_level = network.targets.evidence([*factors, level], cases).shared
                certain = []
                for given in range(table.shape[1]):
                    changed = table.copy()
                    changed[row] = np.eye(table.shape[1])[given]
                    other = Chain({**nodes, name: replace(node, causes={**node.causes, cause: changed})})
                    certain.append(replace(network.targets, chain=other).evidence(factors, cases).shared)
                found.append(ChainRow(Contribution(name, cause), row, table[row], at_level, tuple(certain)))
    return found
