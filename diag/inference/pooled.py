"""Many cases whose plates repeat: each distinct plate is done once, and how often every table was used is expected.

Cases of one book differ in few things within one cylinder, so most of their plates are alike. A plate with its local
evidence is a *row*; rows that are equal, of whatever cylinder and case, are one. Forward, rows give sums by term; case
by case these are multiplied; backward, the gradients of all cases of a row are added up and go down once. What comes
out is linear in the gradient, so by unit gradients the same pass also serves cases one by one.

By the noisy maximum's cumulative form a table's cell stands at most once in each product, so that its expected uses are
the cell times the derivative of log P (Euler; the gradient of Darwiche 2003, sec. 4). Where two versions of a severity
hear one contribution, the smaller of two cumulated chances stands, and the use counts for the row that it is of.
May import: numpy, `diag.basics`, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.basics import ImpossibleEvidence
from diag.inference.engine import ROUNDING, TOLERANCE, Told
from diag.inference.model import Array, Evidence, Model
from diag.inference.rows import Kind, Labels, kinds_of, pieces
from diag.inference.terms import Number, Terms, background_terms, plate_terms, signed_terms
from diag.inference.uses import Uses, uses_of

__all__ = ["Pooled", "pooled"]

AT_ONCE = 1 << 18  # numbers held of one product, cases by configurations by terms
PRECISION = 1e-6  # relative error beyond which a case is refused, as in `mixture`


class Pooled(Struct, frozen=True, eq=False):
    """`log_evidence[case]`, `configurations[case, configuration]`, `alternatives[case, alternative]` as in
    `infer_with_alternatives`; `uses` of all plates; `backgrounds[shared, number][case, configuration, level]`: expected
    uses of what the shared severities hear from outside the plates."""

    log_evidence: Array
    configurations: Array
    alternatives: Array
    uses: tuple[Uses, ...]
    backgrounds: Mapping[tuple[int, int], Array]


class _Asked(Struct, frozen=True, eq=False):
    """The terms of the evidence and of its alternatives together, and the coefficients of each."""

    terms: Terms
    coefficient: Array
    alternatives: tuple[Array, ...]


def pooled(
    model: Model,
    evidence: Evidence,
    weights: Array,
    alternatives: Sequence[Sequence[Told]] = (),
    labels: Labels | None = None,
    apart: bool = False,
) -> Pooled:
    """Expected uses of all tables, each case counted `weights[case]` times; `apart`: case by case, unweighted.

    Rows with different `labels[plate][case]` are kept apart, although their evidence may weigh the same.

    Raises ImpossibleEvidence with the cases that are, or whose digits rounding would leave none of; TooLarge.
    """
    asked = _asked(model, evidence, alternatives)
    kinds = kinds_of(model, evidence, frozenset(asked.terms.axes), labels or {})
    for kind in kinds:
        kind.density = _density(kind)
    chain = _Chain(model, evidence, kinds, asked, weights, apart)
    if not chain.accurate(TOLERANCE, np.float64):
        chain = _Chain(model, evidence, kinds, asked, weights, apart, np.longdouble)
        if not chain.accurate(PRECISION, np.longdouble):
            raise ImpossibleEvidence(cases=tuple(np.flatnonzero(chain.inaccurate(PRECISION, np.longdouble)).tolist()))
    uses = [
        use for kind, towards in zip(kinds, chain.towards, strict=True) for use in uses_of(kind, towards, asked.terms)
    ]
    return Pooled(
        np.log(chain.probability).astype(np.float64),
        np.asarray(chain.configurations / chain.configurations.sum(axis=1, keepdims=True), dtype=np.float64),
        np.asarray(chain.others / chain.probability[:, None], dtype=np.float64),
        tuple(uses),
        chain.backgrounds,
    )


def _density(kind: Kind) -> Array:
    """`[row, class or 1, local cell]`."""
    parts = []
    for rows in pieces(len(kind.examples)):
        result = kind.tape(rows).result
        flat = result.reshape(*result.shape[1:3], -1)
        parts.append(np.broadcast_to(flat, (rows.stop - rows.start, *flat.shape[1:])))
    return np.concatenate(parts)


def _asked(model: Model, evidence: Evidence, alternatives: Sequence[Sequence[Told]]) -> _Asked:
    made = [signed_terms(model, evidence)]
    made += [signed_terms(model, replace(evidence, shared=tuple(told))) for told in alternatives]
    axes = tuple(sorted({axis for each in made for axis in each.axes}))
    numbers: dict[tuple[int, ...], int] = {}
    placed = []
    for each in made:
        levels = np.tile(np.array([model.shared[axis[0]].levels - 1 for axis in axes], np.intp), (len(each.levels), 1))
        for column, axis in enumerate(each.axes):
            levels[:, axes.index(axis)] = each.levels[:, column]
        placed.append([numbers.setdefault(tuple(row), len(numbers)) for row in levels.tolist()])
    found = []
    for each, places in zip(made, placed, strict=True):
        coefficient = np.zeros((len(each.coefficient), len(numbers)))
        for place, column in zip(places, each.coefficient.T, strict=True):
            coefficient[:, place] += column
        found.append(coefficient)
    joint = Terms(axes, np.array(list(numbers), np.intp).reshape(len(numbers), len(axes)), found[0])
    return _Asked(joint, found[0], tuple(found[1:]))


class _Operand(Struct, frozen=True, eq=False):
    """The sums of one plate, `[case, configuration or 1, term]`: which kind and which of its members it is."""

    kind: int
    place: int
    sums: Array


class _Chain:
    """All cases, term by term: the product over plates, and its gradients towards each row's sums.

    `towards[kind]`: `[row, class, term]`, or `[plate, case, class, term]` where cases are kept apart.
    """

    def __init__(
        self,
        model: Model,
        evidence: Evidence,
        kinds: Sequence[Kind],
        asked: _Asked,
        weights: Array,
        apart: bool,
        number: Number = np.float64,
    ) -> None:
        self.model, self.kinds, self.asked, self.weights, self.apart = model, kinds, asked, weights, apart
        self.number = number
        cases, configurations, count = evidence.cases, len(model.configurations), len(asked.terms.levels)
        for kind in kinds:
            table = plate_terms(kind.first.plate.emissions, kind.first.layout.kept, kind.sizes, asked.terms, number)
            kind.sums = (kind.density.reshape(-1, len(table)) @ table).reshape(*kind.density.shape[:2], count)
        self.probability, self.magnitude = np.zeros(cases, number), np.zeros(cases, number)
        self.configurations = np.zeros((cases, configurations), number)
        self.others = np.zeros((cases, len(asked.alternatives)), number)
        self.towards = [
            np.zeros((len(kind.members), cases, *kind.sums.shape[1:]) if apart else kind.sums.shape) for kind in kinds
        ]
        self.outside = _outside(model, asked.terms, number)
        self.backgrounds = {
            at: np.zeros((cases if apart else 1, configurations, model.shared[at[0]].levels)) for at in self.outside
        }
        for window in pieces(cases, max(1, AT_ONCE // (configurations * count))):
            self._window(window)

    def inaccurate(self, tolerance: float, number: Number) -> NDArray[np.bool_]:
        """The cases whose digits do not suffice, or that are impossible."""
        bound = self.magnitude * (ROUNDING if number is np.float64 else 4 * float(np.finfo(number).eps))
        return ~(bound <= tolerance * self.probability) | ~(self.probability > 0)

    def accurate(self, tolerance: float, number: Number) -> bool:
        """Whether those of all cases suffice."""
        return not self.inaccurate(tolerance, number).any()

    def _window(self, window: slice) -> None:
        """What no configuration influences is multiplied apart, term by term: that is most plates, and little work."""
        plain, spread = self._operands(window)
        background = background_terms(self.model.shared, self.asked.terms, self.number)[None]
        prior = self.model.configurations[None, :, None]
        flat = _running(np.ones((1, 1, background.shape[2]), self.number), plain)
        full = _running(prior * background, spread)
        by_term = full[-1].sum(axis=1) if spread else np.broadcast_to(full[-1].sum(axis=1), flat[-1][:, 0].shape)
        coefficient = _cut(self.asked.coefficient, window)
        heard = coefficient * flat[-1][:, 0]  # [case, term]
        self.configurations[window] = np.maximum(np.matmul(full[-1], heard[:, :, None])[:, :, 0], 0.0)
        total = (heard * by_term).sum(axis=1)
        self.probability[window], self.magnitude[window] = total, (np.abs(heard) * by_term).sum(axis=1)
        for number, other in enumerate(self.asked.alternatives):
            told = _cut(other, window) * flat[-1][:, 0] * by_term
            self.others[window, number] = np.maximum(told.sum(axis=1), 0.0)
        safe = np.where(total > 0, total, 1.0)
        scale = (1.0 / safe if self.apart else self.weights[window] / safe)[:, None]
        self._down(window, plain, flat, (coefficient * scale * by_term)[:, None])
        after = self._down(window, spread, full, (heard * scale)[:, None])
        for at, (mine, others) in self.outside.items():
            gradient = after * prior * others[None]
            self._add_background(at, window, mine, np.asarray(gradient, dtype=np.float64))

    def _operands(self, window: slice) -> tuple[list[_Operand], list[_Operand]]:
        """The sums of all plates: of those that no configuration influences `[case, 1, term]`, and of the others."""
        plain, spread = list[_Operand](), list[_Operand]()
        for number, kind in enumerate(self.kinds):
            for place, member in enumerate(kind.members):
                mine = kind.sums[kind.rows[member.number][window]]
                if mine.shape[1] == 1:
                    plain.append(_Operand(number, place, mine))
                else:
                    same = member.classes == tuple(range(mine.shape[1]))
                    spread.append(_Operand(number, place, mine if same else np.take(mine, member.classes, axis=1)))
        return plain, spread

    def _down(self, window: slice, operands: Sequence[_Operand], before: Sequence[Array], after: Array) -> Array:
        """Gradients of a product's factors, from that of the product."""
        for operand, product in zip(reversed(operands), reversed(before[:-1]), strict=True):
            self._add(operand.kind, operand.place, window, after * product)
            after = after * operand.sums
        return after

    def _add(self, number: int, place: int, window: slice, gradient: Array) -> None:
        kind = self.kinds[number]
        member = kind.members[place]
        if kind.sums.shape[1] == 1 or member.classes == tuple(range(kind.sums.shape[1])):
            by_class = gradient
        else:
            by_class = np.zeros((len(gradient), kind.sums.shape[1], gradient.shape[2]), gradient.dtype)
            for configuration, which in enumerate(member.classes):
                by_class[:, which] += gradient[:, configuration]
        if self.apart:
            self.towards[number][place, window] = by_class
        else:
            _add_rows(self.towards[number], kind.rows[member.number][window], by_class.astype(np.float64))

    def _add_background(self, at: tuple[int, int], window: slice, mine: Array, gradient: Array) -> None:
        """`mine[version, configuration or 1, term]` cumulated; where it stands, and for which level."""
        shared = at[0]
        table = self.model.shared[shared].backgrounds[at[1]]
        heard = [(place, version) for place, (which, version) in enumerate(self.asked.terms.axes) if which == shared]
        smallest = np.argmin(mine, axis=0)  # [configuration or 1, term]
        for number, (place, version) in enumerate(heard):
            held = gradient * (smallest == number)[None]
            reached = self.asked.terms.levels[:, place][:, None] >= np.arange(table.shape[-1])[None]
            mass = (held.reshape(-1, held.shape[2]) @ reached.astype(np.float64)).reshape(*held.shape[:2], -1)
            mass = mass * table[version][None]
            if self.apart:
                self.backgrounds[at][window] += mass
            else:
                self.backgrounds[at] += mass.sum(axis=0, keepdims=True)


def _add_rows(total: Array, rows: NDArray[np.intp], added: Array) -> None:
    """Add `added[case]` to `total[rows[case]]`; number by number, which numpy does far faster than rows."""
    width = added[0].size
    np.add.at(total.reshape(-1), (rows[:, None] * width + np.arange(width)).ravel(), added.ravel())


def _running(start: Array, operands: Sequence[_Operand]) -> list[Array]:
    """The product after each operand, the start first."""
    found = [start]
    for operand in operands:
        found.append(found[-1] * operand.sums)
    return found


def _cut(coefficient: Array, window: slice) -> Array:
    return coefficient[window] if len(coefficient) > 1 else coefficient


def _outside(model: Model, chosen: Terms, number: Number) -> dict[tuple[int, int], tuple[Array, Array]]:
    """For each background that is heard: its cumulated chance at each term, and the product of all the others'."""
    found: dict[tuple[int, int], Array] = {}
    for shared, severity in enumerate(model.shared):
        heard = [(place, version) for place, (which, version) in enumerate(chosen.axes) if which == shared]
        for which, table in enumerate(severity.backgrounds if heard else ()):
            cumulative: Array = np.cumsum(table, axis=-1, dtype=number)
            cumulative[..., -1] = 1.0
            found[shared, which] = np.stack(
                [cumulative[version][:, chosen.levels[:, place]] for place, version in heard]
            )
    smallest = {at: table.min(axis=0) for at, table in found.items()}
    result = {}
    for at, table in found.items():
        others: Array = np.ones((1, len(chosen.levels)), number)
        for other, factor in smallest.items():
            others = others * factor if other != at else others
        result[at] = (table, others)
    return result
