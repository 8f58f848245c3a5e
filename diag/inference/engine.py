"""Exact posteriors of a model under a batch of evidence sets.

The form with subtraction comes first, because it is a few matrix products; its cancellation is measured (the sum of
the terms' sizes against their sum), and where too many digits would go the rarest of the shared evidence is carried
without subtraction, as much of it as the digits need: all of it in the worst case.
May import: numpy, `diag.basics`, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Literal

import numpy as np
from msgspec import Struct, structs
from numpy.typing import NDArray

from diag.basics import ImpossibleEvidence, UsageError
from diag.inference.blocks import Block, blocks
from diag.inference.levels import Levels, LevelsAt, normalised
from diag.inference.model import Array, Evidence, Model, SharedAxis
from diag.inference.passes import Pass, exact_pass, with_gradients
from diag.inference.restriction import with_configurations
from diag.inference.scouting import LEFT_OUT, MANY, largest_shared, local_chances, of_these
from diag.inference.terms import Group, Terms, evidence_groups, grid, signed_terms, terms

__all__ = [
    "Form",
    "PlateView",
    "Posterior",
    "has_many_configurations",
    "infer",
    "infer_with_alternatives",
    "joint_posterior",
    "log_evidence",
    "plate_views",
    "run",
    "shared_posterior",
]

Form = Literal["auto", "subtracting", "carrying"]
TOLERANCE = 1e-10  # relative error above which some of the evidence is carried instead of subtracted
ROUNDING = 4 * float(np.finfo(np.float64).eps)
Told = tuple[tuple[SharedAxis, ...], Array]
FEW_TERMS = 256  # so few that the backward pass is done before the cancellation is known
CASES_AT_ONCE = 256
FEW_CASES = 16  # that are looked at together, where there are many configurations
LARGEST_DENSE = 1 << 17  # joint levels of one plate, where levels must be carried


class PlateView(Struct, frozen=True):
    """One plate after the pass: its block and place there, the block's gradient, and the probability `[case]`. For
    questions about joint states within the plate."""

    part: Block
    place: int
    gradient: Array
    probability: Array
    chosen: Terms

    def chance(self, options: Sequence[Mapping[int, Array]]) -> Array:
        """`[case, option]`: posterior expectation of each option's factors `[1, state]` on this plate's components."""
        pieces = []
        for first in range(0, len(options), 64):
            some = self.part.with_options(self.place, options[first : first + 64])
            mass = some.density if some.first.dense else some.sums(self.chosen)
            pieces.append((mass * self.gradient[[self.place]]).sum(axis=(2, 3)))
        return np.asarray(np.maximum(np.concatenate(pieces), 0.0).T / self.probability[:, None])

    def jointly(self, options: Sequence[Mapping[int, Array]]) -> list[Array]:
        """By component `[option, state]`, for one case: posterior chance of each option's states (factors of ones and
        noughts) together with each state of each component that it does not name."""
        plate, gradient = self.part.first.plate, self.gradient[[self.place]]
        chosen = self.part.with_options(self.place, options)
        marginals = chosen.collect(np.repeat(gradient, len(options), axis=0), self.chosen)
        found = []
        for index, component in enumerate(plate.components):
            base = index if component.base is None else component.base
            marginal = marginals.get(len(plate.axes) + base, np.ones((len(options), 1, 1)))[:, 0] / self.probability[0]
            found.append(marginal if component.base is None else component.narrowed(marginal))
        return found


@dataclass(frozen=True)
class Posterior:
    """Exact answer for each case of the batch.

    `log_evidence[case]`; `configurations[case, configuration]`; `components[plate][component][case, state]`;
    `axes[plate][axis][case, level]` of the local severities. `form` is the one that answered ('subtracting', 'mixed'
    or 'carrying'), `cancellation` the measured bound on the relative error that its subtraction causes. `views[plate]`
    answers about joint states within a plate; there are none for a batch done in pieces. A severity that no evidence
    speaks of costs a pass, which is made when it is first asked for.
    """

    log_evidence: Array
    configurations: Array
    components: tuple[tuple[Array, ...], ...]
    axes: tuple[Sequence[Array], ...]
    form: str
    cancellation: float
    views: Mapping[int, PlateView] = field(default_factory=dict, repr=False, compare=False)


def run(
    model: Model, evidence: Evidence, form: Form = "auto", gradient: bool = True
) -> tuple[tuple[Block, ...], Pass, str]:
    """The pass that answers: blocks, the pass, and the form that it took."""
    parts, cases = blocks(model, evidence, evidence.heard), evidence.cases
    if form == "carrying":
        parts, groups = _all_dense(model, evidence, parts), evidence_groups(model, evidence)
        return parts, exact_pass(model, parts, terms(()), grid(groups), cases, gradient), "carrying"
    signed = signed_terms(model, evidence)
    at_once = gradient and (form == "subtracting" or len(signed.levels) <= FEW_TERMS)
    answer = exact_pass(model, parts, signed, grid(()), cases, at_once, soon=gradient)
    if form == "subtracting" or cancellation(answer) <= TOLERANCE or not len(signed.levels):
        if gradient and not at_once:
            answer = with_gradients(answer, model, parts, signed, grid(()), cases)
        return parts, structs.replace(answer, forward=None), "subtracting"
    parts, groups = _all_dense(model, evidence, parts), evidence_groups(model, evidence)
    for carried in _carried_sets(groups, signed, answer):
        rest = [group for number, group in enumerate(groups) if number not in carried]
        some = [groups[number] for number in carried]
        answer = exact_pass(model, parts, terms(rest), grid(some), cases, gradient)
        if cancellation(answer) <= TOLERANCE:
            break
    return parts, answer, "mixed" if len(carried) < len(groups) else "carrying"


def _all_dense(model: Model, evidence: Evidence, parts: tuple[Block, ...]) -> tuple[Block, ...]:
    """The same blocks with larger joint densities allowed: only these can carry levels."""
    if all(part.first.dense for part in parts):
        return parts
    return blocks(model, evidence, evidence.heard, LARGEST_DENSE)


def cancellation(answer: Pass) -> float:
    """Bound on the relative error from subtracting: sizes of the terms over their sum, times the rounding of one."""
    if not np.all(answer.probability > 0):
        return float("inf")
    return float(np.max(answer.magnitude / answer.probability)) * ROUNDING


def _carried_sets(groups: Sequence[Group], signed: Terms, answer: Pass) -> Iterator[tuple[int, ...]]:
    """Growing sets of groups to carry: first those whose own evidence cancels most, as many as should be enough."""
    own = [_own_share(axes, signed, answer.by_term) for axes, _ in groups]
    order = sorted(range(len(groups)), key=own.__getitem__)
    expected, count = cancellation(answer), 0
    while count < len(order) and (expected > TOLERANCE or count == 0):
        expected *= own[order[count]]
        count += 1
    while count < len(order):
        yield tuple(sorted(order[:count]))
        count += 2
    yield tuple(range(len(groups)))


def _own_share(axes: tuple[SharedAxis, ...], signed: Terms, by_term: Array) -> float:
    """What is left of the terms of one group of axes once they have cancelled, all others being satisfied."""
    others = [place for place, axis in enumerate(signed.axes) if axis not in axes]
    top = signed.levels.max(axis=0)
    chosen = np.all(signed.levels[:, others] == top[others], axis=1)
    signs = signed.coefficient[:, chosen] * by_term[:, chosen]
    size = np.abs(signs).sum(axis=1)
    return float(np.min(np.abs(signs.sum(axis=1)) / np.where(size > 0, size, 1.0)))


def infer(model: Model, evidence: Evidence, form: Form = "auto", unseen: bool = True) -> Posterior:
    """Posteriors of every component and local severity, the configuration, and the probability of the evidence.
    `unseen`: also of the local severities that no evidence speaks of, when they are asked for; else these are NaN.

    Exact for any number of simultaneous faults. Raises ImpossibleEvidence with the indices of the cases whose
    evidence has probability zero, and TooLarge where the evidence on shared severities needs too many terms.
    """
    if evidence.cases > CASES_AT_ONCE:
        return _in_pieces(model, evidence, form, unseen)
    if form == "auto" and evidence.cases == 1 and has_many_configurations(model):
        return _scouted(model, evidence, unseen)
    return _posterior(model, evidence, *run(model, evidence, form), unseen)


def log_evidence(model: Model, evidence: Evidence) -> Array:
    """`[case]`: logarithm of the probability of the evidence and nothing else, which is half the work of `infer`; minus
    infinity where it is impossible. Raises TooLarge."""
    pieces = [_probability(model, part) for part in _split(evidence)]
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.maximum(np.concatenate(pieces), 0.0)))


def _probability(model: Model, evidence: Evidence) -> Array:
    if evidence.cases > FEW_CASES or not has_many_configurations(model):
        return run(model, evidence, gradient=False)[1].probability
    scouted = _scout(model, evidence, gradient=False)
    return scouted.answer.probability * scouted.share


def has_many_configurations(model: Model) -> bool:
    """Whether so many that it pays to look first which of them a case leaves possible; cases that differ little are
    quickest together then."""
    return len(model.configurations) >= MANY


def _scouted(model: Model, evidence: Evidence, unseen: bool) -> Posterior:
    scouted = _scout(model, evidence, gradient=True)
    found = _posterior(scouted.model, scouted.evidence, scouted.parts, scouted.answer, scouted.used, unseen)
    configurations = np.zeros((1, len(model.configurations)))
    configurations[0, scouted.kept] = found.configurations[0]
    log_evidence = found.log_evidence + np.log(scouted.share)
    return replace(found, log_evidence=log_evidence, configurations=configurations)


class _Scouted(Struct, frozen=True, eq=False):
    """The pass over the configurations that matter: which these are, their share of all beforehand, and the model and
    evidence of these alone."""

    kept: NDArray[np.intp]
    share: float
    model: Model
    evidence: Evidence
    parts: tuple[Block, ...]
    answer: Pass
    used: str


def _scout(model: Model, evidence: Evidence, gradient: bool) -> _Scouted:
    """The pass over the configurations that matter; the others are left out once it is certain that together they have
    next to nothing of the probability of any case (see `scouting`)."""
    chances, most, aim = local_chances(model, evidence), largest_shared(evidence), LEFT_OUT
    total = chances.sum(axis=1)
    while True:
        kept = of_these(chances, aim)
        some, told = with_configurations(model, evidence, kept)
        parts, answer, used = run(some, told, gradient=gradient)
        share = 1.0 if some is model else float(model.configurations[kept].sum())
        reached = np.maximum(answer.probability, 0.0) * share
        left_out = np.ones(chances.shape[1], dtype=np.bool_)
        left_out[kept] = False
        if some is model or np.all(chances[:, left_out].sum(axis=1) * most <= LEFT_OUT * reached):
            return _Scouted(kept, share, some, told, parts, answer, used)
        aim = min(aim / 10.0, LEFT_OUT * float((reached / np.where(total > 0, total * most, 1.0)).min()))


def infer_with_alternatives(
    model: Model, evidence: Evidence, alternatives: Sequence[Sequence[Told]], unseen: bool = True
) -> tuple[Posterior, Array]:
    """The posterior, and `[case, alternative]`: the probability that the evidence would have if what was told of the
    shared severities were an alternative (each takes the place of `evidence.shared`), divided by that which it has.

    The terms of the evidence serve its alternatives too, so these cost next to nothing: P(maxima <= term) is the same,
    only the coefficients differ. Where the digits or the terms do not suffice, a pass of its own answers. At most
    256 cases. Raises as `infer` does.
    """
    parts, answer, used = run(model, evidence)
    posterior = _posterior(model, evidence, parts, answer, used, unseen)
    signed = signed_terms(model, evidence)
    found = [
        _alternative(model, evidence, told, answer, signed if used == "subtracting" else None) for told in alternatives
    ]
    return posterior, np.stack(found, axis=1) / answer.probability[:, None] if found else np.zeros((evidence.cases, 0))


def _alternative(model: Model, evidence: Evidence, told: Sequence[Told], answer: Pass, signed: Terms | None) -> Array:
    """`[case]`: the probability with other shared evidence."""
    other = structs.replace(evidence, shared=tuple(told))
    if signed is not None:
        wanted = signed_terms(model, other)
        known = {tuple(row): number for number, row in enumerate(signed.levels.tolist())}
        places = [known.get(tuple(row)) for row in wanted.levels.tolist()]
        if wanted.axes == signed.axes and None not in places:
            held = wanted.coefficient * answer.by_term[:, np.array(places, dtype=np.intp)]
            if np.all(np.abs(held).sum(axis=1) * ROUNDING <= TOLERANCE * answer.probability):
                return np.asarray(np.maximum(held.sum(axis=1), 0.0))
    return np.maximum(run(model, other, gradient=False)[1].probability, 0.0)


def _posterior(
    model: Model, evidence: Evidence, parts: tuple[Block, ...], answer: Pass, used: str, unseen: bool = True
) -> Posterior:
    refuse_impossible(answer.probability)
    components: list[tuple[Array, ...]] = [()] * len(model.plates)
    axes: list[Sequence[Array]] = [()] * len(model.plates)
    chosen = signed_terms(model, evidence)
    for part, gradient in zip(parts, answer.gradients, strict=True):
        marginals = part.collect(gradient, chosen)
        levels = Levels(model, evidence, part, gradient, chosen, marginals, unseen)
        for place, states in enumerate(_block_states(evidence, part, marginals)):
            components[part.members[place].number] = states
            axes[part.members[place].number] = LevelsAt(levels, place)
    configurations = np.maximum(answer.configurations, 0.0)
    return Posterior(
        np.log(answer.probability),
        configurations / configurations.sum(axis=1, keepdims=True),
        tuple(components),
        tuple(axes),
        used,
        cancellation(answer),
        _views(parts, answer, chosen),
    )


def _in_pieces(model: Model, evidence: Evidence, form: Form, unseen: bool) -> Posterior:
    """A large batch piece by piece; impossible cases are told by their numbers in the whole batch."""
    pieces: list[Posterior] = []
    impossible: list[int] = []
    for number, part in enumerate(_split(evidence)):
        try:
            pieces.append(infer(model, part, form, unseen))
        except ImpossibleEvidence as error:
            impossible.extend(number * CASES_AT_ONCE + case for case in error.cases)
    if impossible:
        raise ImpossibleEvidence(cases=tuple(impossible))
    return _joined(pieces)


def refuse_impossible(probability: Array) -> None:
    """Raise ImpossibleEvidence for the cases whose evidence has no probability."""
    impossible = np.flatnonzero(~(probability > 0))
    if len(impossible):
        raise ImpossibleEvidence(cases=tuple(int(case) for case in impossible))


def _block_states(evidence: Evidence, part: Block, marginals: Mapping[int, Array]) -> list[tuple[Array, ...]]:
    """For each plate of a block: posteriors of its components."""
    plate = part.first.plate
    shape = (len(part.members), evidence.cases)
    states = []
    for index, component in enumerate(plate.components):
        base = index if component.base is None else component.base
        marginal = marginals.get(len(plate.axes) + base, np.ones((1, 1, 1)))
        marginal = marginal if component.base is None else component.narrowed(marginal)
        states.append(normalised(np.broadcast_to(marginal, (*shape, marginal.shape[-1]))))
    return [tuple(state[place] for state in states) for place in range(len(part.members))]


def _split(evidence: Evidence) -> list[Evidence]:
    """The batch in pieces that fit into memory."""
    return [
        _window(evidence, slice(first, min(first + CASES_AT_ONCE, evidence.cases)))
        for first in range(0, evidence.cases, CASES_AT_ONCE)
    ]


def _window(evidence: Evidence, window: slice) -> Evidence:
    def cut(table: Array) -> Array:
        return table[window] if len(table) > 1 else table

    return structs.replace(
        evidence,
        cases=window.stop - window.start,
        components={key: cut(table) for key, table in evidence.components.items()},
        axes=tuple((plate, axes, cut(table)) for plate, axes, table in evidence.axes),
        shared=tuple((axes, cut(table)) for axes, table in evidence.shared),
        configured=tuple((plate, axes, cut(table)) for plate, axes, table in evidence.configured),
    )


def _joined(pieces: Sequence[Posterior]) -> Posterior:
    first = pieces[0]
    forms = {piece.form for piece in pieces}
    return Posterior(
        np.concatenate([piece.log_evidence for piece in pieces]),
        np.concatenate([piece.configurations for piece in pieces]),
        tuple(
            tuple(np.concatenate([piece.components[p][c] for piece in pieces]) for c in range(len(plate)))
            for p, plate in enumerate(first.components)
        ),
        tuple(
            tuple(np.concatenate([piece.axes[p][a] for piece in pieces]) for a in range(len(plate)))
            for p, plate in enumerate(first.axes)
        ),
        first.form if len(forms) == 1 else "mixed",
        max(piece.cancellation for piece in pieces),
    )


def plate_views(model: Model, evidence: Evidence) -> dict[int, PlateView]:
    """Every plate after the pass, for questions about joint states within it. Raises ImpossibleEvidence."""
    parts, answer, _ = run(model, evidence)
    refuse_impossible(answer.probability)
    return _views(parts, answer, signed_terms(model, evidence))


def _views(parts: Sequence[Block], answer: Pass, chosen: Terms) -> dict[int, PlateView]:
    return {
        member.number: PlateView(part, place, answer.gradients[block], answer.probability, chosen)
        for block, part in enumerate(parts)
        for place, member in enumerate(part.members)
    }


def joint_posterior(model: Model, evidence: Evidence, plate: int, components: tuple[int, ...]) -> Array:
    """Joint posterior `[case, state, ...]` of some components of one plate, in the order given."""
    if len(set(components)) != len(components):
        raise UsageError("a joint posterior names each component once")
    view = plate_views(model, evidence)[plate]
    counts = [model.plates[plate].components[index].prior.shape[1] for index in components]
    options = [
        {index: np.eye(counts[place])[[cell[place]]] for place, index in enumerate(components)}
        for cell in product(*(range(count) for count in counts))
    ]
    table = view.chance(options)
    return np.asarray((table / table.sum(axis=1, keepdims=True)).reshape(evidence.cases, *counts))


def shared_posterior(model: Model, evidence: Evidence, axes: tuple[SharedAxis, ...]) -> Array:
    """Posterior `[case, level, ...]` of the noisy maxima on some shared axes."""
    counts = [model.shared[severity].levels for severity, _ in axes]
    values = []
    for cell in product(*(range(count) for count in counts)):
        told = tuple(((axis,), np.eye(count)[[level]]) for axis, count, level in zip(axes, counts, cell, strict=True))
        _, answer, _ = run(model, structs.replace(evidence, shared=(*evidence.shared, *told)), gradient=False)
        values.append(np.maximum(answer.probability, 0.0))
    table = np.stack(values, axis=1)
    refuse_impossible(table.sum(axis=1))
    return np.asarray((table / table.sum(axis=1, keepdims=True)).reshape(evidence.cases, *counts))
