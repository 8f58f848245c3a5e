"""Options of plates for a model with only its likelier configurations, and what is known with fewer yet.

May import: inference, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.inference import Array, Evidence, Mixture, Model, of_axis, option_key

__all__ = ["Laid", "Options", "fitting_options", "open_to"]

Options = Sequence[Sequence[Mapping[int, Array]]]


class Laid(Struct, frozen=True, eq=False, dict=True):
    """The posterior of an evidence of one case as a mixture over the configurations in `kept`, with the `options` that
    were asked of each plate."""

    model: Model
    evidence: Evidence
    options: Options
    kept: NDArray[np.intp]
    mixed: Mixture

    @cached_property
    def _places(self) -> tuple[dict[object, int], ...]:
        return tuple({option_key(option): place for place, option in enumerate(each)} for each in self.options)

    def narrowed(
        self, model: Model, evidence: Evidence, options: Options, kept: NDArray[np.intp]
    ) -> tuple[Array, tuple[Array, ...]] | None:
        """`weights[term]` and for each plate `values[option, term]` with fewer configurations yet, the first option of
        each plate being 'as it is'; none where this is another evidence, or not all of it was asked."""
        if model is not self.model or evidence is not self.evidence or not np.isin(kept, self.kept).all():
            return None
        here = np.searchsorted(self.kept, kept)
        known: dict[tuple[int, tuple[int, ...]], Array] = {}  # plates that share an array go on sharing one
        values = []
        for listed, places, all_values in zip(options, self._places, self.mixed.values, strict=True):
            wanted = tuple(places.get(option_key(option), -1) for option in listed)
            if -1 in wanted:
                return None
            key = (id(all_values), wanted)
            if key not in known:
                known[key] = self._of(all_values[list(wanted), 0], here)
            values.append(known[key])
        weights = self._of(self.mixed.weights, here)[0]
        total = weights.copy()
        for each in values:
            total = total * each[0]
        return weights / total.sum(), tuple(values)

    def _of(self, values: Array, here: NDArray[np.intp]) -> Array:
        """`[row, term]` at some of the configurations."""
        return values.reshape(len(values), len(self.kept), -1)[:, here].reshape(len(values), -1)


def fitting_options(options: Options, kept: NDArray[np.intp], configurations: int) -> list[list[dict[int, Array]]]:
    """Options of each plate, as `mixture` takes them, whose factors speak of the kept configurations alone."""

    def of(factor: Array) -> Array:
        return factor if len(factor) == 1 or len(kept) == configurations else factor[kept]

    return [[{index: of(factor) for index, factor in option.items()} for option in listed] for listed in options]


def open_to(model: Model, evidence: Evidence, options: Options) -> Evidence:
    """The evidence, with a likelihood of ones on every axis that an option speaks of and nothing else does: an option
    is laid onto what stands there."""
    told = {(where, tuple(axes)) for where, axes, _ in evidence.axes}
    every = dict.fromkeys(
        (plate, of_axis(key)) for plate, listed in enumerate(options) for option in listed for key in option if key < 0
    )
    ones = tuple(
        (plate, (axis,), np.ones((1, model.plates[plate].axes[axis].levels)))
        for plate, axis in every
        if (plate, (axis,)) not in told
    )
    return replace(evidence, axes=(*evidence.axes, *ones)) if ones else evidence
