"""Vehicle severities that cause each other, turned into evidence on what inference knows: their direct maxima.

Let x_i be the noisy maximum of what cylinders, other components and the background contribute to the vehicle severity
i (inference holds these), and y_i its level once the vehicle severities before it are counted in:

    y_i = max(x_i, c_ji(y_j) for each vehicle severity j among its causes)          (Henrion 1989; Díez 1993)

with c_ji(y) a contribution drawn from the table of j for i. Evidence is about the y. Given all x, what it says is

    L(x) = sum over y of product_i P(y_i | x_i, y_j ...) l_i(y_i)

which is exact, and is all that inference needs. With several versions w of a severity, the contributions along one
link persist: one uniform variable serves all versions of c_ji (they are comonotone), so that

    P(y_i[w] <= a[w] for all w | x, y) = product_w [x_i[w] <= a[w]] * product_j min_w F_ji(a[w] | y_j[w])

with F_ji the cumulated table; differences along each a[w] give the probabilities. May import: knowledge_base,
inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import prod

import numpy as np
from msgspec import Struct

from diag.basics import TooLarge
from diag.inference import Array, SharedAxis
from diag.knowledge_base import Knowledge
from diag.network.instances import Key, numbered
from diag.network.tables import cause_table

__all__ = ["Chain", "ChainNode", "SeverityEvidence", "chain_of"]

MOST_ENTRIES = 4_000_000
AT_ONCE = 4096  # products that are summed as they stand
_CASE = 51  # the label of the case axis; labels below it are levels


class ChainNode(Struct, frozen=True):
    """One vehicle severity: which version of its direct maximum, and of its level, stands in each epoch.

    `causes[severity]` is the table `[its level, this level]` of each vehicle severity that causes it.
    """

    severity: str
    shared: int
    levels: int
    direct: tuple[int, ...]
    standing: tuple[int, ...]
    causes: Mapping[str, Array]


class SeverityEvidence(Struct, frozen=True):
    """What is known of one vehicle severity: `likelihood[case or 1, level of each of versions ...]`."""

    severity: str
    versions: tuple[int, ...]
    likelihood: Array


def chain_of(knowledge: Knowledge, severities: Mapping[Key, tuple[int, ...]], epochs: int) -> Chain:
    """The vehicle severities in the order of the knowledge; `severities` holds the version of each x by epoch."""
    nodes: dict[str, ChainNode] = {}
    for severity_id, severity in knowledge.severities.items():
        if severity.per != "vehicle":
            continue
        causes = {cause: cause_table(knowledge, severity_id, cause) for cause in severity.causes if cause in nodes}
        direct = severities[severity_id, None]
        standing = numbered([direct, *(nodes[cause].standing for cause in causes)], epochs)
        nodes[severity_id] = ChainNode(severity_id, len(nodes), len(severity.levels), direct, standing, causes)
    return Chain(nodes)


@dataclass(frozen=True)
class Chain:
    """All vehicle severities, in an order in which causes come first."""

    nodes: Mapping[str, ChainNode]
    _tables: dict[tuple[str, tuple[int, ...]], Array] = field(default_factory=dict, compare=False, repr=False)

    def effective(self, told: Sequence[SeverityEvidence]) -> tuple[tuple[tuple[SharedAxis, ...], Array], ...]:
        """Likelihoods `[case or 1, level ...]` over direct maxima which say the same as `told` does.

        Severities that are not linked come apart; links that lead to nothing told drop out.
        """
        if not told:
            return ()
        needed = self._needed(told)
        return tuple(self._group(group, needed, told) for group in self._groups(needed))

    def added(self, told: Sequence[SeverityEvidence], *new: SeverityEvidence) -> tuple[tuple[SharedAxis, ...], Array]:
        """What `new` adds to what was told: a likelihood `[case, level ...]` over direct maxima. Several have the same
        cases, and speak of severities that are linked.

        It is P(new | direct maxima, told), so chances that sum to 1 over the cases do so here, too; 0 where what was
        told is impossible.
        """
        needed = self._needed([*told, *new])
        group = next(group for group in self._groups(needed) if new[0].severity in group)
        near = [item for item in told if item.severity in group]
        axes, joint = self._group(group, needed, [*near, *new])
        alone = np.ones_like(joint[:1])
        for named, likelihood in self.effective(near):
            places = [1 + axes.index(axis) for axis in named]
            order = np.argsort(places)
            shape = [1] * joint.ndim
            for place in places:
                shape[place] = joint.shape[place]
            alone = alone * np.transpose(likelihood, (0, *(1 + order))).reshape(shape)
        return axes, np.divide(joint, alone, out=np.zeros_like(joint), where=alone > 0)

    def _needed(self, told: Sequence[SeverityEvidence]) -> dict[str, tuple[int, ...]]:
        """Versions of each severity that evidence reaches: those told of, and the causes of those."""
        wanted: dict[str, set[int]] = {name: set() for name in self.nodes}
        for item in told:
            wanted[item.severity].update(item.versions)
        for node in reversed(list(self.nodes.values())):
            for cause in node.causes:
                pairs = zip(node.standing, self.nodes[cause].standing, strict=True)
                wanted[cause].update(theirs for mine, theirs in pairs if mine in wanted[node.severity])
        return {name: tuple(sorted(versions)) for name, versions in wanted.items() if versions}

    def _groups(self, needed: Mapping[str, tuple[int, ...]]) -> list[list[str]]:
        """Needed severities that are linked to one another, each group in the order of the chain."""
        group_of = {name: {name} for name in needed}
        for name in needed:
            for cause in self.nodes[name].causes:
                merged = group_of[name] | group_of[cause]
                for member in merged:
                    group_of[member] = merged
        distinct = {min(group): group for group in group_of.values()}
        return [[name for name in needed if name in group] for group in distinct.values()]

    def _group(
        self, group: Sequence[str], needed: Mapping[str, tuple[int, ...]], told: Sequence[SeverityEvidence]
    ) -> tuple[tuple[SharedAxis, ...], Array]:
        """One group's likelihood over its direct maxima: every y summed out."""
        labels = _Labels()
        operands: list[object] = []
        lengths: dict[int, int] = {}
        axes: dict[SharedAxis, int] = {}
        for name in group:
            node, versions = self.nodes[name], needed[name]
            direct = self._direct(node, versions)
            inner = [labels.of((name, "x", version)) for version in direct]
            axes |= {(node.shared, version): label for version, label in zip(direct, inner, strict=True)}
            for cause in node.causes:
                inner += [labels.of((cause, "y", version)) for version in self._heard(node, cause, versions)]
            inner += [labels.of((name, "y", version)) for version in versions]
            table = self._table(node, versions)
            operands += [table, inner]
            lengths.update(zip(inner, table.shape, strict=True))
        batched = False
        for item in told:
            if item.severity in group:
                inner = [labels.of((item.severity, "y", version)) for version in item.versions]
                wide = item.likelihood.shape[0] > 1
                batched = batched or wide
                lengths[_CASE] = len(item.likelihood)
                operands += [item.likelihood if wide else item.likelihood[0], [_CASE, *inner] if wide else inner]
        sizes = prod(self.nodes[name].levels ** len(self._direct(self.nodes[name], needed[name])) for name in group)
        if sizes > MOST_ENTRIES:
            raise TooLarge(
                f"the findings link {', '.join(group)} in {sizes:,} combinations; the limit is {MOST_ENTRIES:,}. "
                "Answer fewer questions about earlier stages of the case"
            )
        out = [_CASE, *axes.values()] if batched else list(axes.values())
        order = "greedy" if prod(lengths.values()) > AT_ONCE else False  # to look for an order costs more than few sums
        result: Array = np.einsum(*operands, out, optimize=order)  # type: ignore[call-overload]
        return tuple(axes), result if batched else result[np.newaxis]

    def _direct(self, node: ChainNode, versions: tuple[int, ...]) -> tuple[int, ...]:
        """Versions of a node's direct maximum which its given versions rest on."""
        return tuple(dict.fromkeys(node.direct[node.standing.index(version)] for version in versions))

    def _heard(self, node: ChainNode, cause: str, versions: tuple[int, ...]) -> tuple[int, ...]:
        """Versions of a cause which a node's given versions hear."""
        standing = self.nodes[cause].standing
        return tuple(dict.fromkeys(standing[node.standing.index(version)] for version in versions))

    def _table(self, node: ChainNode, versions: tuple[int, ...]) -> Array:
        """P(y | x, y of the causes): axes are the direct versions, the heard versions of each cause, `versions`."""
        known = self._tables.get((node.severity, versions))
        if known is None:
            known = self._tables[node.severity, versions] = self._make_table(node, versions)
        return known

    def _make_table(self, node: ChainNode, versions: tuple[int, ...]) -> Array:
        direct = self._direct(node, versions)
        heard = [(cause, version) for cause in node.causes for version in self._heard(node, cause, versions)]
        sizes = [node.levels] * len(direct) + [self.nodes[cause].levels for cause, _ in heard]
        sizes += [node.levels] * len(versions)
        if prod(sizes) > MOST_ENTRIES:
            raise TooLarge(
                f"{len(versions)} versions of '{node.severity}' make a table of {prod(sizes):,} entries; the limit is "
                f"{MOST_ENTRIES:,}. Answer fewer questions about earlier stages of the case"
            )
        below = np.ones(sizes)
        steps = np.tri(node.levels).T  # [x, a]: whether x <= a
        for place, version in enumerate(versions):
            epoch, out = node.standing.index(version), len(direct) + len(heard) + place
            below = below * _spread(steps, (direct.index(node.direct[epoch]), out), len(sizes))
        for cause, table in node.causes.items():
            cumulated, standing = np.cumsum(table, axis=1), self.nodes[cause].standing
            cumulated[:, -1] = 1.0
            persisting = np.ones([1] * len(sizes))
            for place, version in enumerate(versions):
                heard_at = len(direct) + heard.index((cause, standing[node.standing.index(version)]))
                out = len(direct) + len(heard) + place
                persisting = np.minimum(persisting, _spread(cumulated, (heard_at, out), len(sizes)))
            below = below * persisting
        for axis in range(len(direct) + len(heard), len(sizes)):
            below = np.diff(below, axis=axis, prepend=0.0)
        return np.maximum(below, 0.0)


class _Labels:
    """Numbers for the axes of a contraction."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str, int], int] = {}

    def of(self, name: tuple[str, str, int]) -> int:
        label = self._known.setdefault(name, len(self._known))
        if label >= _CASE:
            raise TooLarge("the findings link too many versions of the vehicle's severities; answer fewer of them")
        return label


def _spread(matrix: Array, axes: tuple[int, int], dimensions: int) -> Array:
    """A matrix laid along two of many dimensions; the first of `axes` must come before the second."""
    shape = [1] * dimensions
    shape[axes[0]], shape[axes[1]] = matrix.shape
    return matrix.reshape(shape)
