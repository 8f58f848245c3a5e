"""The density of a plate's kept levels jointly with one of its things, option by option, held by what it is made of.

It depends on the plate and on what was told of it alone, not on other plates, terms or gradients: so plates that are
alike share it, and a case that goes on finds it again for every plate of which nothing new was told. Only where it is
small; else it is quicker to work out what is asked. May import: numpy, `blocks`, `densities`, `leaves`, `model`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diag.inference.blocks import Block, plate_block, stacked
from diag.inference.densities import option_key
from diag.inference.leaves import DENSE, FEW
from diag.inference.model import Array, Evidence, Model, SharedAxis

__all__ = ["Axes", "Held", "Option", "Wanted", "local_cells", "worth_holding"]

Option = Mapping[int, Array]
Axes = tuple[int, ...]
MOST_NUMBERS = 1 << 14  # of an option, over all things of a plate, up to which its densities are made and held
MOST_HELD = 1 << 26  # bytes over all plates


@dataclass(eq=False)
class Held:
    """Of plates that are alike: `of[axes][option]` is `[cell of the axes, class or 1, kept local cell]`."""

    part: Block
    of: dict[Axes, dict[object, Array]] = field(default_factory=dict)

    @cached_property
    def shape(self) -> object:
        """Equal for plates that can be stacked."""
        return self.part.first.shape_key, self.part.voice


@dataclass(frozen=True, eq=False)
class Wanted:
    """A plate and its block, and the options and sets of axes of which densities are wanted."""

    plate: int
    part: Block
    options: Sequence[Option]
    axes: Sequence[Axes]

    @cached_property
    def keys(self) -> list[object]:
        """Each option's key."""
        return [option_key(option) for option in self.options]


_HELD: OrderedDict[object, Held] = OrderedDict()
_BYTES = [0]


def worth_holding(part: Block, options: Sequence[Option], configurations: int) -> bool:
    """Whether densities jointly with each thing of a plate are small enough."""
    layout = part.first.layout
    wide = any(len(factor) > 1 for option in options for factor in option.values())
    classes = configurations if wide else max(part.classes[0], default=0) + 1
    few = configurations <= FEW and all(each is None for each in part.spreads)
    return few and part.first.dense and sum(layout.sizes) * layout.size(part.kept) * classes <= MOST_NUMBERS


def local_cells(
    model: Model, evidence: Evidence, heard: frozenset[SharedAxis], wanted: Sequence[Wanted]
) -> list[Held | None]:
    """For each that is wanted where its densities stand; none where its levels cannot be kept apart."""
    found = [_held(each.part) for each in wanted]
    missing: dict[tuple[object, Axes, bool], dict[int, _Missing]] = {}
    for each, held in zip(wanted, found, strict=True):
        options = dict(zip(each.keys, each.options, strict=True))
        for axes in each.axes:
            known = held.of.setdefault(axes, {})
            for key in [key for key in options if key not in known]:
                wide = any(len(factor) > 1 for factor in options[key].values())
                group = missing.setdefault((held.shape, axes, wide), {})
                group.setdefault(id(held), _Missing(held, each.plate)).options[key] = options[key]
    refused: set[int] = set()
    blocks: dict[object, tuple[Sequence[Block], Block]] = {}
    for (_, axes, _), group in missing.items():
        some = list(group.values())
        layout = some[0].held.part.first.layout
        if all(axis >= layout.levels or axis in layout.kept for axis in axes):  # states need no further leaves
            parts = [each.held.part for each in some]
        else:
            parts = [plate_block(model, evidence, each.plate, heard, frozenset(axes)) for each in some]
        if all(part.first.dense and part.first.layout.size({*part.kept, *axes}) <= DENSE for part in parts):
            _make(axes, some, parts, blocks)
        else:
            refused |= {id(each.held) for each in some}
    return [None if id(held) in refused else held for held in found]


@dataclass(eq=False)
class _Missing:
    held: Held
    plate: int
    options: dict[object, Option] = field(default_factory=dict)


def _held(part: Block) -> Held:
    key = part.content if part.content is not None else part
    known = _HELD.get(key)
    if known is None:
        known = _HELD[key] = Held(part)
    _HELD.move_to_end(key)
    while _BYTES[0] > MOST_HELD and len(_HELD) > 1:
        _, gone = _HELD.popitem(last=False)
        _BYTES[0] -= sum(array.nbytes for some in gone.of.values() for array in some.values())
    return known


def _make(
    axes: Axes, some: Sequence[_Missing], parts: Sequence[Block], blocks: dict[object, tuple[Sequence[Block], Block]]
) -> None:
    """Make and hold what is missing, for plates of one shape together; `blocks` are those made for other axes from the
    same parts."""
    together: dict[object, list[int]] = {}
    for number, part in enumerate(parts):
        together.setdefault((part.first.shape_key, part.voice), []).append(number)
    for numbers in together.values():
        count = max(len(some[number].options) for number in numbers)
        options = [_made_up(list(some[number].options.values()), count) for number in numbers]
        alike = (*(id(parts[number]) for number in numbers), *(id(option) for each in options for option in each))
        if alike not in blocks:
            made = stacked([parts[number].first for number in numbers]).with_options_each(options)
            blocks[alike] = parts, made
        values = _by_cell(blocks[alike][1].keeping(axes), axes, some[numbers[0]].held.part.kept)
        for number, mine in zip(numbers, values, strict=True):
            held = some[number].held
            for place, key in enumerate(some[number].options):
                array = np.ascontiguousarray(mine[place if len(mine) > 1 else 0])
                held.of[axes][key] = array
                _BYTES[0] += array.nbytes


def _made_up(options: Sequence[Option], count: int) -> list[Option]:
    return [*options, *(options[-1] for _ in range(count - len(options)))]


def _by_cell(block: Block, axes: Axes, heard: Axes) -> Array:
    """`[plate, option or 1, cell of the axes, class or 1, local cell that is heard]`; those of the axes that are heard
    stay among these, with nothing in other cells than their own."""
    kept, density = block.kept, block.density
    density = density.reshape(*density.shape[:3], *block.sizes)
    front = [kept.index(axis) for axis in axes]
    rest = [place for place in range(len(kept)) if place not in front]
    turned = np.transpose(density, (0, 1, *(3 + place for place in front), 2, *(3 + place for place in rest)))
    cells = int(np.prod([block.sizes[place] for place in front], dtype=np.int64))
    flat = turned.reshape(*density.shape[:2], cells, density.shape[2], *(block.sizes[place] for place in rest))
    if not set(axes) & set(heard):
        return flat.reshape(*flat.shape[:4], -1)
    sizes = dict(zip(kept, block.sizes, strict=True))
    result = np.zeros((*flat.shape[:4], *(sizes[axis] for axis in heard)))
    for cell, levels in enumerate(np.ndindex(*(sizes[axis] for axis in axes))):
        at = dict(zip(axes, levels, strict=True))
        place = tuple(at.get(axis, slice(None)) for axis in heard)
        result[(slice(None), slice(None), cell, slice(None), *place)] = flat[:, :, cell]
    return result.reshape(*flat.shape[:4], -1)
