"""Readings whose cylinders share an unknown shift: what each tells of the spread of true values at each level.

Given the shift c the cylinders of an engine are independent, so that with the chances w of the levels, from all else
that was told of the case,

    P(c, level of k | readings) ~ prior(c) x w_k(level) f(reading of k | level, c) x product of the others' sums

and each reading is counted at every node of an even grid of c, as one that has no shift, with its chance there. That
levels of different cylinders are taken to be independent given all else is exact where their truth is known, and
otherwise leaves out what they tell of each other. The instrument's error is added to the width, as in `spreads`.
Corrections count where all cylinders but one at most were told: else nothing holds their mean.
May import: `diag.casebook`, `diag.evidence`, `diag.knowledge_base`, numpy, and within the room `tallies`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.casebook import Measured
from diag.evidence import (
    Spread,
    Taken,
    Together,
    frames_at,
    multiple_of,
    noisy,
    one_of,
    ordinary_weights,
    together,
    unshifted_spreads,
    without_limit,
)
from diag.inference import Array
from diag.knowledge_base import Engine, Reading, Shift
from diag.learning.tallies import Seen

__all__ = ["Heard", "own_width", "seen_in", "width_of"]

GRIDS = ((121, 25.0), (61, 12.0), (25, math.inf))  # nodes, and how far below the top (in logarithms) the next reaches
NEGLIGIBLE = 1e-5  # of a case's chance
COARSE = 0.25  # an instrument's error from this share of the value on is not as good as normal on the logarithm


@dataclass(frozen=True)
class Heard:
    """Readings of one cylinder, and the chances of the levels of what they show, times how often the case counts."""

    measured: tuple[Measured, ...]
    levels: Array


def seen_in(item: str, reading: Reading, engine: Engine, heard: Mapping[int, Mapping[int, Heard]]) -> list[Seen]:
    """What `heard[case][cylinder]` shows, by case, cylinder and node, with the chance of each level there."""
    if without_limit(reading, engine) or reading.shift is None:
        return []
    rows = []
    for case, mine in heard.items():
        seen = together(reading, engine, {cylinder: each.measured for cylinder, each in mine.items()})
        if seen.shown and not seen.note and (reading.shift.kind == "common factor" or len(seen.absent) == 0):
            rows.append((case, seen))
    if not rows:
        return []
    table = _Table.of(reading, engine, rows, heard)
    places, chance, levels = table.chances(reading.shift)
    scales, offsets = frames_at(reading.shift, places)
    multiple, found = multiple_of(reading, engine), list[Seen]()
    for row, (case, _) in enumerate(rows):
        often = max(float(each.levels.sum()) for each in heard[case].values())
        nodes = np.flatnonzero(chance[row] > NEGLIGIBLE)
        mass = often * chance[row, nodes] / chance[row, nodes].sum()
        for cylinder in np.flatnonzero(table.plain[row]):
            shown, error = table.value[row, cylinder], abs(table.error[row, cylinder] / multiple)
            for node, share in zip(nodes, mass, strict=True):
                true = (shown * scales[row, node] + offsets[row, node]) / multiple
                weights = share * levels[row, cylinder, :, node]
                found.append(Seen(item, float(true), float(error * scales[row, node]), weights, case))
    return found


@dataclass(frozen=True)
class _Table:
    """Readings `[case, cylinder]`. `plain`: told as a number; `others`: what counts only for the shift: bounds, and
    what follows from the sum; `coarse`: plain, but the error is large beside it. `weights[case, cylinder, level]`."""

    laws: tuple[Spread, ...]
    value: Array
    error: Array
    plain: NDArray[np.bool_]
    coarse: NDArray[np.bool_]
    others: Mapping[tuple[int, int], Taken]
    weights: Array

    @classmethod
    def of(
        cls,
        reading: Reading,
        engine: Engine,
        rows: list[tuple[int, Together]],
        heard: Mapping[int, Mapping[int, Heard]],
    ) -> _Table:
        """From what was told."""
        laws = unshifted_spreads(reading, engine, tuple(reading.spread))
        assert reading.shift is not None
        size = len(rows), len(engine.cylinders)
        value, error, plain = np.ones(size), np.ones(size), np.zeros(size, dtype=bool)
        weights = np.broadcast_to(ordinary_weights(reading.shift, len(laws)), (*size, len(laws))).copy()
        others: dict[tuple[int, int], Taken] = {}
        for row, (case, seen) in enumerate(rows):
            for place, cylinder in enumerate(engine.cylinders):
                if cylinder in heard[case]:
                    levels = heard[case][cylinder].levels
                    weights[row, place] = levels / max(float(levels.sum()), 1e-300)
                if cylinder in seen.shown and not one_of(seen.shown[cylinder]).censored:
                    one = one_of(seen.shown[cylinder])
                    value[row, place], error[row, place], plain[row, place] = one.value, one.error, True
                elif cylinder in seen.all_readings():
                    others[row, place] = one_of(seen.all_readings()[cylinder])
        logarithmic = any(law.shape == "log-normal" for law in laws)
        coarse = plain & logarithmic & (error > COARSE * value)
        return cls(laws, value, error, plain, coarse, others, weights)

    def chances(self, shift: Shift) -> tuple[Array, Array, Array]:
        """Places of the nodes `[case, node]`, their chances, and `[case, cylinder, level, node]` of levels there."""
        low, high = self._reach(shift)
        for count, below in GRIDS:
            places = np.linspace(low, high, count, axis=1)
            logs = self._logs(shift, places)
            top = logs.max(axis=2, keepdims=True)
            held = self.weights[:, :, :, None] * np.exp(logs - top)
            sums = held.sum(axis=2)
            total = (np.log(np.maximum(sums, 1e-300)) + top[:, :, 0]).sum(axis=1)
            if shift.kind == "common factor":
                total = total - 0.5 * (places / shift.width.value) ** 2
            near = total > total.max(axis=1, keepdims=True) - below
            step = (high - low) / (count - 1)
            first, last = near.argmax(axis=1), count - 1 - near[:, ::-1].argmax(axis=1)
            low, high = low + step * np.maximum(first - 1, 0), low + step * np.minimum(last + 1, count - 1)
        chance = np.exp(total - total.max(axis=1, keepdims=True))
        return places, chance / chance.sum(axis=1, keepdims=True), held / np.maximum(sums, 1e-300)[:, :, None]

    def _reach(self, shift: Shift) -> tuple[Array, Array]:
        """Between which shifts each case's lies."""
        if shift.kind == "common factor":
            far = np.full(len(self.value), 9 * shift.width.value)
            return -far, far
        middles = [law.middle for each in self.laws for law in each.laws]
        wide = 25 * max(law.width for each in self.laws for law in each.laws)
        most = np.where(self.plain, self.value, -np.inf).max(axis=1)
        least = np.where(self.plain, self.value, np.inf).min(axis=1)
        return min(middles) - most - wide, max(middles) - least + wide

    def _logs(self, shift: Shift, places: Array) -> Array:
        """`[case, cylinder, level, node]`: logarithms of the density of what was shown; 0 where nothing was."""
        scales, offsets = (each[:, None] for each in frames_at(shift, places))
        true, error = self.value[:, :, None] * scales + offsets, self.error[:, :, None] * scales
        quick = (self.plain & ~self.coarse)[:, :, None]
        by_level = [np.where(quick, _log_density(law, true, error) + np.log(scales), 0.0) for law in self.laws]
        logs = np.stack(by_level, axis=2)
        odd = {at: Taken(self.value[at], "", self.error[at]) for at in zip(*np.nonzero(self.coarse), strict=True)}
        for (row, place), one in (odd | dict(self.others)).items():
            for level, law in enumerate(self.laws):
                density = noisy(law, one, scales[row, 0], offsets[row, 0])
                logs[row, place, level] = np.log(np.maximum(density, 1e-300))
        return logs


def _log_density(law: Spread, true: Array, error: Array) -> Array:
    """Of what an instrument shows, in the frame of true values; of a mixture summed over its parts."""
    if law.shares:
        parts = [math.log(share.weight) + _log_density(share.law, true, error) for share in law.shares]
        return np.asarray(np.logaddexp.reduce(parts, axis=0))
    if law.shape == "log-normal":
        safe = np.maximum(true, 1e-12)
        wide = np.hypot(law.width, error / safe)
        far = np.log(safe / law.middle) / wide
        return np.asarray(-0.5 * far**2 - np.log(wide * safe))
    wide = np.hypot(law.width, error)
    far = (true - law.middle) / wide
    if law.shape == "student t":
        freedom = law.freedom
        height = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2) - 0.5 * math.log(freedom / 2)
        return np.asarray(height - (freedom + 1) / 2 * np.log1p(far**2 / freedom) - np.log(wide))
    return np.asarray(-0.5 * far**2 - np.log(wide))


def own_width(reading: Reading, width: float) -> float:
    """The width of a law without the common factor that is part of it (0 where that is all of it)."""
    return math.sqrt(max(width**2 - _shared(reading) ** 2, 0.0))


def width_of(reading: Reading, own: float) -> float:
    """The width with it."""
    return math.hypot(own, _shared(reading))


def _shared(reading: Reading) -> float:
    shift = reading.shift
    return shift.width.value if shift is not None and shift.kind == "common factor" else 0.0
