"""The density of a plate's kept levels with each option's factors in it, remembered by what it is made of.

May import: numpy, `blocks`, `model`, `remembered`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping

import numpy as np

from diag.inference.blocks import Block, Options
from diag.inference.model import Array
from diag.inference.remembered import LARGEST_HELD

__all__ = ["densities", "is_wide", "option_key"]

MOST_HELD = 1 << 26  # bytes over all plates
_DENSITIES: OrderedDict[object, Array] = OrderedDict()
_BYTES = [0]


MOST_KEYS, SMALL_OPTION = 1 << 12, 1 << 12  # keys held, and the bytes of an option of which the key is held
_KEYS: OrderedDict[int, tuple[Mapping[int, Array], object]] = OrderedDict()  # by identity, kept alive beside it


def option_key(option: Mapping[int, Array]) -> object:
    """Equal for options that are the same. An option is never changed once it is made."""
    known = _KEYS.get(id(option))
    if known is not None:
        return known[1]
    key = tuple((index, factor.tobytes()) for index, factor in sorted(option.items(), key=_component))
    if sum(factor.nbytes for factor in option.values()) <= SMALL_OPTION:
        _KEYS[id(option)] = option, key
        if len(_KEYS) > MOST_KEYS:
            _KEYS.popitem(last=False)
    return key


def _component(item: tuple[int, Array]) -> int:
    return item[0]


def densities(part: Block, options: Options) -> Array:
    """`[option, case or 1, configuration or 1, local cell]` of a dense block of one plate with each option's factors in
    it. Those of one case are remembered by what they are made of, and only new ones computed."""
    if any(leaf.shape[1] > 1 for leaf in (*part.leaves, *part.likelihoods)):
        return _densities(part, options)
    content = part.content
    if content is None:
        return _densities(part, options)
    keys = [(content, option_key(option)) for option in options]
    found = [_DENSITIES.get(key) for key in keys]
    whole: Array | None = None
    for wide in (False, True):  # apart: what is held must not depend on how many configurations another option has
        missing = [n for n, density in enumerate(found) if density is None and is_wide(options[n]) is wide]
        if not missing:
            continue
        made = _densities(part, [options[n] for n in missing])
        for number, density in zip(missing, made, strict=True):
            found[number] = density
            if density.nbytes <= LARGEST_HELD and keys[number] not in _DENSITIES:
                _DENSITIES[keys[number]] = np.ascontiguousarray(density)
                _BYTES[0] += density.nbytes
        whole = made if len(missing) == len(options) else whole
    while _BYTES[0] > MOST_HELD:
        _BYTES[0] -= _DENSITIES.popitem(last=False)[1].nbytes
    if whole is not None:
        return whole
    held = [density for density in found if density is not None]
    result = np.empty((len(held), 1, max(density.shape[1] for density in held), held[0].shape[2]))
    for number, density in enumerate(held):
        result[number] = density
    return result


def is_wide(option: Mapping[int, Array]) -> bool:
    """Whether an option tells configurations apart."""
    return any(len(factor) > 1 for factor in option.values())


def _densities(part: Block, options: Options) -> Array:
    chosen = part.with_options(0, options)
    density, classes = chosen.density_alone(), chosen.classes[0]
    if density.shape[2] > 1 and classes != tuple(range(density.shape[2])):
        density = np.take(density, classes, axis=2)
    return np.broadcast_to(density, (len(options), *density.shape[1:]))
