"""The plates of all cylinders: those that have come by the same things hold the same arrays, made once.

May import: knowledge_base, casebook, inference, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Mapping

from msgspec.structs import replace

from diag.network.ages import origin_of
from diag.network.instances import Key
from diag.network.plates import BuiltPlate, Layout, cylinder_plate

__all__ = ["cylinder_plates"]


def cylinder_plates(layout: Layout, shared: Mapping[str, int]) -> list[BuiltPlate]:
    """The plate of each cylinder, in their order; `shared` numbers the vehicle severities."""
    made: dict[object, tuple[int, BuiltPlate]] = {}
    found = []
    for cylinder in layout.case.engine.cylinders:
        kind = _kind_of(layout, cylinder)
        if kind not in made:
            made[kind] = cylinder, cylinder_plate(layout, cylinder, shared)
        first, built = made[kind]
        found.append(built if first == cylinder else _moved(built, first, cylinder))
    return found


def _kind_of(layout: Layout, cylinder: int) -> object:
    """Equal for cylinders whose plates hold the same numbers: of one bank, with the same work and history. A cylinder
    on which work has not settled (a code may have been written to another) or that took part in an exchange is one by
    itself."""
    case = layout.case
    if not case.history and not any(epoch.work for epoch in case.epochs):
        return case.engine.bank_of(cylinder)
    own = {key[0]: known for key, known in layout.versions.items() if key[1] == cylinder and isinstance(key[1], int)}
    origins = [
        origin_of(layout.knowledge, layout.case, name, cylinder, version)
        for name, known in own.items()
        for version in known.versions
    ]
    moved = any(version.source is not None for known in own.values() for version in known.versions)
    alone = moved or layout.travellers or any(origin.touches for origin in origins)
    asked = tuple(name for name in own if (name, cylinder) in layout.asked_again)
    severities = tuple((name, epochs) for (name, place), epochs in layout.severities.items() if place == cylinder)
    bank = layout.case.engine.bank_of(cylinder)
    return cylinder if alone else None, bank, tuple(own.items()), tuple(origins), asked, severities


def _moved(built: BuiltPlate, first: int, cylinder: int) -> BuiltPlate:
    """The plate of one cylinder as that of another that is alike."""

    def renamed(index: Mapping[Key, tuple[int, ...]]) -> dict[Key, tuple[int, ...]]:
        return {(name, cylinder if place == first else place): where for (name, place), where in index.items()}

    plate = replace(built.plate, name=f"cylinder {cylinder}")
    return BuiltPlate(plate, renamed(built.component_index), renamed(built.axis_index))
