"""The nodes of the configuration axis under several numberings of the control unit, and the factors laid on them.

Under each numbering what was told lies at other cylinders, and a shift that the cylinders share has nodes of its own.
How many it needs depends on how likely the numbering is: what it misses counts by that. May import: knowledge_base,
casebook, evidence, inference, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.casebook import Answer, Case, Measured
from diag.evidence import CLOSE, CLOSE_APART
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.network.configurations import Configurations
from diag.network.instances import Key
from diag.network.likelihoods import LogFactor, before, factor_of, key_of
from diag.network.numbering import Numbering, is_numbered, log_shares, real_question, told_under
from diag.network.questions import Question, Told, by_version, paused_in
from diag.network.shifted import Belief, Memory, Shifted, is_shifted, shifted
from diag.network.targets import Factor, Targets

__all__ = ["NumberedNodes", "factor_in", "factor_of_told", "one_node_each", "refuse_under_all", "shifted_under"]

SHARES = (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05)  # of the room, that one numbering may take
FEW = (2, 5)  # nodes of a shift under a numbering that hardly matters, and under one that matters a little


class NumberedNodes(Struct, frozen=True):
    """`numbers`: the numberings; `of_node[node]`: which of them a node belongs to; `log_weights[node]`: logarithm of
    the node's chance given the state of its numbering."""

    numbers: tuple[Numbering, ...]
    of_node: NDArray[np.intp]
    log_weights: Array

    def laid_on(self, configurations: Configurations) -> Configurations:
        """The configurations with these nodes."""
        _, states = log_shares(self.numbers)
        return configurations.with_nodes(self.log_weights, states[self.of_node])

    def chances(self, configurations: Configurations, posterior: Array) -> Array:
        """`[numbering]`, from the chances of all configurations."""
        here = self.of_node[configurations.nodes]
        return np.bincount(here, weights=posterior, minlength=len(self.numbers)).astype(np.float64)


def one_node_each(numbers: tuple[Numbering, ...]) -> NumberedNodes | None:
    """The nodes where no shift is known; none where there is nothing to choose between."""
    return NumberedNodes(numbers, np.arange(len(numbers)), log_shares(numbers)[0]) if numbers else None


def factor_of_told(
    knowledge: Knowledge,
    case: Case,
    question: Question,
    items: tuple[Told, ...],
    targets: Targets,
    nodes: NumberedNodes | None,
    told: Mapping[Question, tuple[Told, ...]],
) -> LogFactor:
    """What was told of one question, at the cylinder to which it belongs under each numbering. `told`: all that was
    told in the case, of which the same finding under other conditions counts, where one luck lasts over them."""
    earlier = before(knowledge, question, told)

    def at(real: Question) -> LogFactor:
        standing = targets.standing(key_of(knowledge, real))
        told = by_version(knowledge, case, real, items, standing, refuse=False)
        given = {
            other: by_version(knowledge, case, other, some, standing, refuse=False) for other, some in earlier.items()
        }
        return factor_of(knowledge, case.engine, real, told, paused_in(case, standing), given)

    return factor_in(knowledge, question, nodes, at)


def factor_in(
    knowledge: Knowledge, question: Question, nodes: NumberedNodes | None, at: Callable[[Question], LogFactor]
) -> LogFactor:
    """A question's factor from that `at` each cylinder; a question that no numbering moves stays where it is."""
    if nodes is None or not is_numbered(knowledge, question):
        return at(question)
    by_number = [real_question(question, each) for each in nodes.numbers]
    made = {real: at(real) for real in dict.fromkeys(by_number)}
    top = max(one.log_scale for one in made.values())
    parts = []
    for real, one in made.items():
        here = np.array([each == real for each in by_number])[nodes.of_node]
        likelihood = one.factor.likelihood * np.exp(one.log_scale - top)
        parts.append(_where(here, Factor(one.factor.key, one.factor.versions, likelihood[:, np.newaxis], by_node=True)))
    note = next((one.note for one in made.values() if one.note), "")
    return LogFactor(replace(parts[0], parts=tuple(parts[1:])), top, note)


def _where(here: NDArray[np.bool_], factor: Factor) -> Factor:
    """A factor by node `[case, node or 1, level ...]` at some nodes, 1 at the others."""
    shape = (1, len(here), *(1 for _ in factor.versions))
    return replace(factor, likelihood=np.where(here.reshape(shape), factor.likelihood, 1.0))


def refuse_under_all(
    knowledge: Knowledge,
    case: Case,
    question: Question,
    items: tuple[Told, ...],
    targets: Targets,
    numbers: Sequence[Numbering],
) -> Mapping[int, tuple[Answer | Measured, ...]]:
    """What was told by version. Raises CaseError where one version was answered both present and absent, whatever
    cylinder the question belongs to."""
    standing = targets.standing(key_of(knowledge, question))
    if not numbers or not is_numbered(knowledge, question):
        return by_version(knowledge, case, question, items, standing)
    places = {targets.standing(key_of(knowledge, real_question(question, each))) for each in numbers}
    if not any(_agree(knowledge, case, question, items, each) for each in places):
        by_version(knowledge, case, question, items, standing)
    return by_version(knowledge, case, question, items, standing, refuse=False)


def _agree(
    knowledge: Knowledge, case: Case, question: Question, items: tuple[Told, ...], standing: tuple[int, ...]
) -> bool:
    told = by_version(knowledge, case, question, items, standing, refuse=False)
    words = ({each.answer for each in what if isinstance(each, Answer)} for what in told.values())
    return not any({"present", "absent"} <= each for each in words)


# ---- readings that share a shift -----------------------------------------------------------------------------------


def shifted_under(
    knowledge: Knowledge,
    case: Case,
    told: Mapping[Question, tuple[Told, ...]],
    standing: Callable[[Key], tuple[int, ...]],
    belief: Belief,
    scale: int,
    nodes: NumberedNodes | None,
    states: Array,
    room: int,
) -> tuple[Shifted | None, NumberedNodes | None]:
    """The shifts of a case under all its numberings, and the nodes then. `states[state]`: chance of each state of the
    numbering before the readings; `room`: so many nodes at most, for a case that exchanges make large."""
    mine = {question: items for question, items in told.items() if is_shifted(knowledge, case.engine, question)}
    if nodes is None or not mine:
        return shifted(knowledge, case, told, standing, belief, scale, room=max(room, 2)), nodes
    made: dict[tuple[frozenset[tuple[Question, Question]], int, int], Shifted] = {}
    memory = Memory()

    def under(number: Numbering, most: int, room: int) -> Shifted:
        moved = [(real_question(each, number) if is_numbered(knowledge, each) else each, each) for each in mine]
        name = frozenset(moved), most, room
        if name not in made:
            lies = told_under(knowledge, mine, number)
            found = shifted(knowledge, case, lies, standing, belief, scale, most, memory, room)
            assert found is not None
            made[name] = found
        return made[name]

    for share in SHARES:  # several numberings may matter, and their nodes are beside each other
        found, chance = _as_needed(nodes.numbers, states, max(int(share * room), 2), under)
        if sum(len(each.log_weights) for each in found) <= room:
            break
    return _merged(knowledge, nodes.numbers, found, list(mine), chance)


def _as_needed(
    numbers: tuple[Numbering, ...], states: Array, room: int, under: Callable[[Numbering, int, int], Shifted]
) -> tuple[list[Shifted], Array]:
    """The shifts under each numbering, with as many nodes as it matters; and the chance of each by what it misses."""
    found = [under(each, FEW[0], room) for each in numbers]
    chance = np.ones(len(numbers))
    for most in (*(few for few in FEW[1:] if few < room), room):
        logs = np.array([each.log_likely for each in found]) + log_shares(numbers)[0]
        with np.errstate(divide="ignore"):
            logs += np.log(states[[each.state for each in numbers]])
        chance = np.exp(logs - np.logaddexp.reduce(logs))
        found = [
            under(number, most, room) if p * one.error > CLOSE or p * one.apart > CLOSE_APART else one
            for number, one, p in zip(numbers, found, chance, strict=True)
        ]
    return found, chance


def _merged(
    knowledge: Knowledge, numbers: tuple[Numbering, ...], found: Sequence[Shifted], told: Sequence[Question],
    chance: Array,
) -> tuple[Shifted, NumberedNodes]:  # fmt: skip
    """All numberings side by side; their different scales are one more factor by node."""
    of_node = np.repeat(np.arange(len(numbers)), [len(each.log_weights) for each in found])
    shares, _ = log_shares(numbers)
    log_weights = np.concatenate([each.log_weights for each in found]) + shares[of_node]
    top = max(each.log_scale for each in found)
    factors = {}
    for question in told:
        moved = is_numbered(knowledge, question)
        places = [real_question(question, each) if moved else question for each in numbers]
        mine = [(number, one.factors[place]) for number, (one, place) in enumerate(zip(found, places, strict=True))]
        parts = _side_by_side(of_node, mine)
        factors[question] = replace(parts[0], parts=tuple(parts[1:]))
    implied = _side_by_side(of_node, [(number, each) for number, one in enumerate(found) for each in one.implied])
    first = next(iter(factors.values()))
    scales = np.exp(np.array([each.log_scale for each in found]) - top)[of_node]
    shape = (1, len(of_node), *(1 for _ in first.versions))
    scaled = np.broadcast_to(scales.reshape(shape), first.likelihood.shape)
    merged = replace(
        found[0],
        log_weights=log_weights,
        log_scale=top,
        factors=factors,
        implied=(*implied, Factor(first.key, first.versions, scaled, by_node=True)),
        error=float(chance @ np.array([each.error for each in found])),
        apart=float(chance @ np.array([each.apart for each in found])),
        notes=tuple(dict.fromkeys(note for each in found for note in each.notes)),
    )
    return merged, NumberedNodes(numbers, of_node, log_weights)


def _side_by_side(of_node: NDArray[np.intp], factors: Sequence[tuple[int, Factor]]) -> list[Factor]:
    """Factors of several numberings, those of one cylinder as one: each at its numbering's nodes, 1 at the others."""
    found: dict[tuple[Key, tuple[int, ...]], Array] = {}
    for number, factor in factors:
        name = factor.key, factor.versions
        sizes = factor.likelihood.shape[2:]
        whole = found.setdefault(name, np.ones((1, len(of_node), *sizes)))
        whole[0, of_node == number] *= factor.likelihood[0]
    return [Factor(key, versions, whole, by_node=True) for (key, versions), whole in found.items()]
