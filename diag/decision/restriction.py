"""Options of plates for a model with only its likelier configurations. May import: inference, numpy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from diag.inference import Array

__all__ = ["Options", "fitting_options"]

Options = Sequence[Sequence[Mapping[int, Array]]]


def fitting_options(options: Options, kept: NDArray[np.intp], configurations: int) -> list[list[dict[int, Array]]]:
    """Options of each plate, as `mixture` takes them, whose factors speak of the kept configurations alone."""

    def of(factor: Array) -> Array:
        return factor if len(factor) == 1 or len(kept) == configurations else factor[kept]

    return [[{index: of(factor) for index, factor in option.items()} for option in listed] for listed in options]
