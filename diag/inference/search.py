"""The most probable combinations of faults, by best-first search with bounds that hold.

A node decides the states of whole plates; the probability of the decided part, exactly, bounds every completion. Only
local combinations whose own probability reaches the threshold can be part of a combination that reaches it, so the
others are left out; if too few combinations reach the threshold it is lowered. It is guessed from the product of the
likeliest states; where much was renewed the states before and after go together, and that product is far too low.
May import: numpy and the modules of this room below it.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from itertools import count as counter

import numpy as np
from msgspec import Struct

from diag.basics import UsageError
from diag.inference.engine import PlateView, Posterior, has_many_configurations, infer
from diag.inference.mixture import Mixture, mixture
from diag.inference.model import Array, Evidence, Model, Plate
from diag.inference.restriction import kept_configurations, with_configurations

__all__ = ["Combination", "most_probable"]

State = tuple[tuple[int, int], ...]  # (component, state) of the unsound components of a plate
LEAST = 1e-14  # combinations less probable than this are not looked for
TELLS, FIRST = 0.002, 0.02  # a first guess that is lower tells nothing, and this is begun with: what lies low is dear
STEP = 10.0  # by which the threshold falls where too few are found
SPARED = 0.01  # of the threshold: chance of all configurations that are not looked at to tell what reaches it
FEW_PARTS = 24  # parts of joint states that may stand side by side before the unlikely ones are sorted out


class Combination(Struct, frozen=True):
    """One joint state of all components: those not named are sound. `probability` is given the evidence."""

    states: Mapping[tuple[int, int], int]
    probability: float


def most_probable(
    model: Model, evidence: Evidence, count: int, posterior: Posterior | None = None, least: float = LEAST
) -> tuple[Combination, ...]:
    """The `count` most probable joint states of all components of all plates, most probable first; none that is less
    probable than `least`.

    The configuration is summed over. Evidence must hold one case; `posterior` is its answer where it is known already.
    Raises ImpossibleEvidence.
    """
    if evidence.cases != 1:
        raise UsageError("the most probable combinations are asked for one case at a time")
    known = posterior if posterior is not None and posterior.views else infer(model, evidence)
    marginals = [[array[0] for array in plate] for plate in known.components]
    threshold = float(np.prod([array.max() for plate in marginals for array in plate])) / 30.0
    threshold = max(threshold if threshold >= TELLS else FIRST, least)
    counts = [_variable_states(plate) for plate in model.plates]
    while True:
        views, spared = _views(model, evidence, known, threshold)
        options = [
            _worthwhile(views[plate], counts[plate], marginals[plate], threshold, spared)
            for plate in range(len(model.plates))
        ]
        choices = [
            [*(_indicators(dict(state), counts[plate]) for state in states), {}] for plate, states in enumerate(options)
        ]
        order = sorted(range(len(options)), key=lambda plate: -len(options[plate]))
        found = _best_first(mixture(model, evidence, choices), options, order, threshold, count)
        if len(found) == count or threshold <= least:
            return found
        threshold = max(threshold / STEP, least)


def _views(
    model: Model, evidence: Evidence, known: Posterior, threshold: float
) -> tuple[Mapping[int, PlateView], float]:
    """Views of the plates that tell which joint states reach the threshold, and how much less than is so they may say:
    of many configurations only those that may matter to it are looked at, as every joint state costs a pass."""
    if not has_many_configurations(model):
        return known.views, 0.0
    spared = threshold * SPARED
    kept = kept_configurations(known.configurations[0], 1.0 - spared)
    return infer(*with_configurations(model, evidence, kept)).views, spared


def _variable_states(plate: Plate) -> list[int]:
    """Number of states of each component; 1 for a base, whose views say it all."""
    bases = {component.base for component in plate.components}
    return [1 if index in bases else component.prior.shape[1] for index, component in enumerate(plate.components)]


def _worthwhile(
    view: PlateView, counts: list[int], marginals: list[Array], threshold: float, spared: float
) -> list[State]:
    """The joint states of one plate whose own probability reaches the threshold, grown component by component; a few
    more where the view may say too little by what is `spared`.

    A part of a joint state is at least as probable as the whole, so a part below the threshold need not grow. While
    one component alone may be in several states, its marginal has said already which of them reach it.
    """

    def reaching(partial: list[dict[int, int]]) -> list[dict[int, int]]:
        options = [{index: np.eye(counts[index])[[value]] for index, value in state.items()} for state in partial]
        chances = view.chance(options)[0]
        return [state for state, chance in zip(partial, chances, strict=True) if chance + spared >= threshold]

    together = _Together(view, counts, marginals, threshold - spared)
    partial: list[dict[int, int]] = [{}]
    varied = 0
    for component, size in enumerate(counts):
        likely = [value for value in range(size) if marginals[component][value] >= threshold]
        if size == 1:
            continue
        partial = [
            {**state, component: value} for state in partial for value in likely if together(state, component, value)
        ]
        if not partial:
            return []
        varied += len(likely) > 1
        if varied > 1 and len(likely) > 1 and len(partial) > FEW_PARTS:
            partial = reaching(partial)
    partial = reaching(partial) if varied > 1 and partial else partial
    return [tuple((component, value) for component, value in state.items() if value) for state in partial]


class _Together:
    """Whether a further state of a component may reach the threshold together with each unsound one of a joint state:
    what all three have is at most what two have. Where a plate is met term by term each joint state is dear, and one
    pass tells all pairs of an unsound state."""

    def __init__(self, view: PlateView, counts: list[int], marginals: list[Array], least: float) -> None:
        self.least = least
        self.pairs: dict[tuple[int, int], list[Array]] = {}
        if view.part.first.dense:
            return
        unsound = [
            (component, value)
            for component, size in enumerate(counts)
            for value in range(1, size)
            if marginals[component][value] >= least
        ]
        if not unsound:
            return
        found = view.jointly([{component: np.eye(counts[component])[[value]]} for component, value in unsound])
        self.pairs = {each: [array[place] for array in found] for place, each in enumerate(unsound)}

    def __call__(self, state: Mapping[int, int], component: int, value: int) -> bool:
        """Whether a joint state, with one more component in this state, may reach it."""
        mine = self.pairs.get((component, value))
        for other, held in state.items():
            theirs = self.pairs.get((other, held))
            if theirs is not None and theirs[component][value] < self.least:
                return False
            if mine is not None and mine[other][held] < self.least:
                return False
        return True


def _indicators(state: dict[int, int], counts: list[int]) -> dict[int, Array]:
    """Factors that hold every component of a plate in its place: the named ones unsound, all others sound."""
    return {component: np.eye(size)[[state.get(component, 0)]] for component, size in enumerate(counts) if size > 1}


def _best_first(
    table: Mixture, options: list[list[State]], order: list[int], threshold: float, count: int
) -> tuple[Combination, ...]:
    """Expand the node with the largest bound until `count` complete ones came out, or none reaches the threshold.

    A node holds its parent's vector; its own is made when it is expanded, which most nodes never are.
    """
    ticket = counter()
    free = [np.asarray(values[-1, 0]) for values in table.values]
    after = [np.ones_like(free[0])]
    for plate in reversed(order):
        after.append(after[-1] * free[plate])
    after.reverse()  # after[depth]: product of the undecided plates
    heap: list[tuple[float, int, tuple[int, ...], Array]] = [(-1.0, next(ticket), (), np.asarray(table.weights[0]))]
    found: list[Combination] = []
    while heap and len(found) < count:
        bound, _, decided, vector = heapq.heappop(heap)
        depth = len(decided)
        if depth == len(order):
            found.append(_combination(options, order, decided, -bound))
            continue
        if decided:
            vector = vector * table.values[order[depth - 1]][decided[-1], 0]
        plate = order[depth]
        bounds = table.values[plate][: len(options[plate]), 0] @ (vector * after[depth + 1])
        for number in np.flatnonzero(bounds >= threshold):
            node = (-float(bounds[number]), next(ticket), (*decided, int(number)), vector)
            heapq.heappush(heap, node)
    return tuple(found)


def _combination(
    options: list[list[State]], order: list[int], decided: tuple[int, ...], probability: float
) -> Combination:
    states = {
        (plate, component): state
        for plate, number in zip(order, decided, strict=True)
        for component, state in options[plate][number]
    }
    return Combination(dict(sorted(states.items())), probability)
