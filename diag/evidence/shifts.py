"""Readings of all cylinders that share one unknown number: corrections that sum to zero, returns under one pressure.

A controller that holds the corrections at a sum of zero shows y_k = u_k - c, where u_k is what cylinder k needs and c
is the mean of all u. Changing variables from the u to c and all y but one has a constant Jacobian, so that

    density(y | levels) = constant x integral over c of product_k f_k(y_k + c | level of k)

exactly, with the plain measure on c and no prior of its own (a closed form where all f_k are normal: the law of normal
values given their sum). A common factor e^s on all readings likewise: given s the cylinders are independent, and s is
normal about 0. So the shift is one more variable of the configuration, its states being the nodes of `shift_grid`.
May import: numpy, `diag.knowledge_base` records, and the modules beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from statistics import median

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.casebook import Measured
from diag.evidence.distributions import Share, Spread, cumulative, density, log_density, mixed, quantile
from diag.evidence.hidden_value import log_marginals
from diag.evidence.normal import Array
from diag.evidence.readings import spreads
from diag.evidence.taken import Frame, Taken, instrument_error, multiple_of, shown_by, taken
from diag.knowledge_base import Engine, Reading, Shift, convert

__all__ = [
    "Together",
    "draw_together",
    "frame_of",
    "frames_at",
    "frames_before",
    "mean_density",
    "noisy",
    "one_of",
    "ordinary_weights",
    "shift_of",
    "shifted_likelihood",
    "together",
    "unshifted_spreads",
]

_FINE_NOISE = 0.35  # error by width up to which 24 nodes for the instrument's error are exact to 1e-12


class Together(Struct, frozen=True):
    """The readings of one thing on all cylinders, taken in one go.

    `shown[cylinder]`: what was read; `implied`: the reading of the only cylinder not shown, which follows from the
    sum; `absent`: cylinders of which nothing is known; `total`: sum of the plain readings, none where one is a bound.
    `note`: what does not fit, for people.
    """

    shown: Mapping[int, tuple[Taken, ...]]
    implied: Mapping[int, Taken]
    absent: tuple[int, ...]
    total: float | None
    note: str = ""

    def all_readings(self) -> dict[int, tuple[Taken, ...]]:
        """Shown and implied readings by cylinder."""
        return {**self.shown, **{cylinder: (one,) for cylinder, one in self.implied.items()}}


def frame_of(shift: Shift, node: float) -> Frame:
    """What a shift makes of what is shown."""
    return Frame(1.0, node) if shift.kind == "sum zero" else Frame(math.exp(-node), 0.0)


def unshifted_spreads(reading: Reading, engine: Engine, levels: Sequence[str]) -> tuple[Spread, ...]:
    """The spread of true values for each level, without what all cylinders share."""
    laws = spreads(reading, engine, levels)
    if reading.shift is None or reading.shift.kind == "sum zero":
        return laws
    shared = reading.shift.width.value
    return tuple(_narrowed(law, shared) for law in laws)


def _narrowed(law: Spread, shared: float) -> Spread:
    """A law without the common factor that is part of its width; of a mixture each law."""
    if law.shares:
        return mixed([Share(share.weight, _narrowed(share.law, shared)) for share in law.shares])
    return replace(law, width=math.sqrt(law.width**2 - shared**2))


def together(reading: Reading, engine: Engine, measured: Mapping[int, Sequence[Measured]]) -> Together:
    """All cylinders' readings of one stage of a case.

    The cylinder that fires next after one that is far from the others (from their median) is disturbed by it: its
    standard deviation grows by `neighbour` times that distance, whatever was shown of it itself.
    """
    shown = {cylinder: taken(reading, engine, told) for cylinder, told in measured.items() if told}
    shift = reading.shift
    if shift is None:
        raise ValueError(f"'{reading.name}' has no shift")
    shown = _disturbed(shown, shift.neighbour.value, engine.firing_order)
    absent = tuple(cylinder for cylinder in engine.cylinders if cylinder not in shown)
    plain = all(not each.censored for readings in shown.values() for each in readings)
    if shift.kind != "sum zero" or not plain:
        return Together(shown, {}, absent, None)
    means = {cylinder: one_of(readings) for cylinder, readings in shown.items()}
    total = math.fsum(each.value for each in means.values())
    error = math.sqrt(math.fsum(each.error**2 for each in means.values()))
    if len(absent) == 1:
        return Together(shown, {absent[0]: Taken(-total, "", error)}, (), total)
    if not absent and abs(total) > max(4 * error, 0.5 * abs(multiple_of(reading, engine))):
        sentence = (
            f"the values of '{reading.name}' sum to {total:.{reading.decimals}f} {reading.unit}, and should to about "
            "zero; check the sign, the order of the cylinders and whether they are of one moment"
        )
        return Together(shown, {}, (), total, sentence)
    return Together(shown, {}, absent, total)


def _disturbed(
    shown: Mapping[int, tuple[Taken, ...]], share: float, order: Sequence[int]
) -> dict[int, tuple[Taken, ...]]:
    if share == 0 or len(shown) < 2:
        return dict(shown)
    values = {cylinder: one_of(readings).value for cylinder, readings in shown.items()}
    middle = median(values.values())
    found = {}
    for cylinder, readings in shown.items():
        before = order[order.index(cylinder) - 1]
        extra = share * abs(values[before] - middle) if before in values else 0.0
        plain = [each for each in readings if not each.censored]
        alike = (one_of(plain),) if len(plain) > 1 and extra else tuple(plain)
        bounds = (each for each in readings if each.censored)
        found[cylinder] = tuple(replace(each, error=math.hypot(each.error, extra)) for each in (*alike, *bounds))
    return found


def one_of(readings: Sequence[Taken]) -> Taken:
    """Several plain readings as one, or the first bound where there is no plain one."""
    plain = [each for each in readings if not each.censored]
    if not plain:
        return readings[0]
    weights = [each.error**-2 for each in plain]
    total = math.fsum(weights)
    mean = math.fsum(weight * each.value for weight, each in zip(weights, plain, strict=True)) / total
    return Taken(mean, "", total**-0.5)


@lru_cache(maxsize=1)
def _noise_rule() -> tuple[Array, Array]:
    """Nodes of the instrument's error and their weights; made when first needed, for a start may need none."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(24)
    return nodes, weights / weights.sum()


def shifted_likelihood(laws: Sequence[Spread], framed: Sequence[Sequence[tuple[Taken, Frame]]]) -> Array:
    """Natural logarithms of the likelihood of readings of one thing, in several frames: `[node, level]`.

    `framed[node]` holds each reading with its frame; plain readings count per unit of what was shown.
    """
    quick, (noises, weights) = _all_fine(laws, framed), _noise_rule()
    rows: list[Array] = []
    if quick:
        (reading, _), frames = framed[0][0], [node[0][1] for node in framed]
        scales = np.array([frame.scale for frame in frames])
        offsets = np.array([frame.offset for frame in frames])
        noise = (reading.value + reading.error * noises)[:, None] * scales + offsets
        for law in laws:
            logs = log_density(law, noise) + np.log(weights)[:, None]
            top = logs.max(axis=0)
            rows.append(top + np.log(np.exp(logs - top).sum(axis=0)) + np.log(scales))
        return np.stack(rows, axis=1)
    shown = [shown_by([frame.of(reading) for reading, frame in node]) for node in framed]
    logs = log_marginals(list(laws) * len(shown), [each for each in shown for _ in laws]).reshape(len(shown), -1)
    jacobian = [math.fsum(math.log(f.scale) for reading, f in node if not reading.censored) for node in framed]
    return np.asarray(logs + np.array(jacobian)[:, None])


def _all_fine(laws: Sequence[Spread], framed: Sequence[Sequence[tuple[Taken, Frame]]]) -> bool:
    """Whether one plain reading was taken with an error so small that 24 nodes for it are exact."""
    if (
        any(each.shape == "log-normal" for law in laws for each in law.laws)
        or len(framed[0]) != 1
        or framed[0][0][0].censored
    ):
        return False
    finest = min(law.finest for law in laws)
    return all(reading.error * frame.scale <= _FINE_NOISE * finest for node in framed for reading, frame in node)


def frames_before(reading: Reading, engine: Engine, levels: Sequence[str]) -> tuple[tuple[Frame, float], ...]:
    """What the shift makes of the first reading of a cylinder, before any cylinder was read: frames with chances.

    A correction shows (n - 1) / n of the distance of this cylinder from the mean X of the others, of which nothing is
    known. A common factor is part of the spreads already.
    """
    shift = shift_of(reading)
    others = len(engine.cylinders) - 1
    if shift.kind == "common factor" or others == 0:
        return ((Frame(), 1.0),)
    laws = unshifted_spreads(reading, engine, levels)
    middle = _eighths_of_mean(laws, tuple(ordinary_weights(shift, len(laws)).tolist()), others)
    return tuple((Frame((others + 1) / others, place), 1 / 8) for place in middle)


@lru_cache(maxsize=64)  # the same for every cylinder of an engine
def _eighths_of_mean(laws: tuple[Spread, ...], weights: tuple[float, ...], others: int) -> tuple[float, ...]:
    """The middles of the eighths of the mean of some cylinders, each a mixture of the laws with these weights."""
    places, logs = mean_density(laws, [np.array(weights)] * others)
    below = np.cumsum(np.exp(logs - logs.max()))
    return tuple(np.interp((np.arange(8) + 0.5) / 8, below / below[-1], places).tolist())


def draw_together(
    reading: Reading, engine: Engine, levels: Sequence[str], drawn: NDArray[np.intp], random: np.random.Generator
) -> Array:
    """Joint readings of all cylinders of an engine, given the level of each: `[draw, cylinder]`.

    `drawn[draw, cylinder]` are indices of levels, cylinders in ascending order. With everything the likelihood knows:
    the shift, the neighbour, the instrument's error, the last figure, the controller's end. Plus adds fuel.
    """
    laws, shift = unshifted_spreads(reading, engine, levels), shift_of(reading)
    places = random.random((len(laws), *drawn.shape))  # a level of a cylinder has its own place among engines
    p = np.take_along_axis(places, drawn[np.newaxis], axis=0)[0]
    true = np.zeros(drawn.shape)
    for number, law in enumerate(laws):
        here = drawn == number
        true[here] = quantile(law, np.clip(p[here], 1e-12, 1 - 1e-12)) if law.width else law.middle
    if shift.kind == "sum zero":
        shown = true - true.mean(axis=1, keepdims=True)
    else:
        shown = true * np.exp(shift.width.value * random.standard_normal((len(drawn), 1)))
    if shift.neighbour.value:
        off = shown - np.median(shown, axis=1, keepdims=True)
        columns = {cylinder: place for place, cylinder in enumerate(engine.cylinders)}
        order = engine.firing_order
        before = [columns[order[order.index(cylinder) - 1]] for cylinder in engine.cylinders]
        shown = shown + shift.neighbour.value * np.abs(off[:, before]) * random.standard_normal(shown.shape)
    shown = shown + instrument_error(reading) * random.standard_normal(shown.shape)
    limit = engine.limits.get(reading.saturates) if reading.saturates is not None else None
    if limit is not None and limit.value is not None:
        end = abs(convert(limit.value, limit.unit, reading.unit))
        shown = np.clip(shown, -end, end)
    return np.asarray(np.round(np.clip(shown, reading.lowest, reading.highest), reading.decimals))


def shift_of(reading: Reading) -> Shift:
    """The shift of a reading that has one."""
    if reading.shift is None:
        raise ValueError(f"'{reading.name}' has no shift")
    return reading.shift


def ordinary_weights(shift: Shift, levels: int) -> Array:
    """Weights of the levels of a cylinder of which nothing is known."""
    first = shift.ordinary.value
    return np.array([first, *([(1 - first) / (levels - 1)] * (levels - 1))])


def mean_density(laws: Sequence[Spread], weights: Sequence[Array]) -> tuple[Array, Array]:
    """Places and logarithms of the density of the mean of several true values, each a mixture of the laws.

    By folding the densities on a fine grid; their far tails lie on its ends.
    """
    half = max(abs(each.middle) + 14 * each.width for law in laws for each in law.laws)
    step = min(law.finest for law in laws) / 12
    count = int(min(math.ceil(half / step), 3000))
    places = np.linspace(-half, half, 2 * count + 1)
    densities = np.stack([density(law, places) for law in laws])
    total = np.ones(1)
    for mine in weights:
        one = mine @ densities
        total = np.convolve(total, one / one.sum())
    mean = np.linspace(-half, half, len(total))
    return mean, np.log(np.maximum(total, 1e-300)) - math.log(mean[1] - mean[0])


def frames_at(shift: Shift, places: Array) -> tuple[Array, Array]:
    """Scale and offset of the frame at each place of the shift."""
    if shift.kind == "sum zero":
        return np.ones_like(places), places
    return np.exp(-places), np.zeros_like(places)


def noisy(law: Spread, reading: Taken, scales: Array, offsets: Array) -> Array:
    """Density (or chance beyond the bound) of a reading in each frame, the instrument's error by Gauss's rule."""
    noises, weights = _noise_rule()
    noise = (reading.value + reading.error * noises)[:, None] * scales + offsets
    if not reading.censored:
        return np.asarray(weights @ density(law, noise) * scales)
    below = weights @ cumulative(law, noise)
    return np.asarray(below if reading.censored == "below" else 1.0 - below)
