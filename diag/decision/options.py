"""The named options, from the likeliest faults: which jobs each of them is.

May import: knowledge_base, basics, numpy, and `parts`, `sites`, `tariff`, `treatments` of this room.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from msgspec import Struct

from diag.basics import Place
from diag.decision.parts import Key, Part, part_chances
from diag.decision.sites import Job
from diag.decision.tariff import Tariff
from diag.decision.treatments import WEARING
from diag.inference import Posterior

__all__ = ["NamedOption", "likeliest_first", "named_options"]

INJECTOR, CODE = "injector", "trim_code"
TIE = 9  # digits: of what is as likely but for rounding the one that is easiest to reach comes first


class NamedOption(Struct, frozen=True):
    """A set of jobs that people ask about. `name` is its id, `title` says it in words."""

    name: str
    title: str
    jobs: tuple[Job, ...]


def named_options(tariff: Tariff, parts: Mapping[Key, Part], posterior: Posterior) -> tuple[NamedOption, ...]:
    """Nothing; only the likeliest fault; only the likeliest seal, its bank, all seals; injector and seal; all
    injectors; code only. Those that are no work here, or the same work as one before, are left out."""
    chances = {key: 1.0 - float(part_chances(part, posterior)[0, 0]) for key, part in parts.items() if part.fault}
    cylinders = tariff.engine.cylinders
    found = [NamedOption("nothing", "nothing now, watch it", ())]
    mendable = likeliest_first(tariff, {key: chances[key] for key in chances if key in tariff.cheapest})
    if mendable:
        likeliest = mendable[0]
        name = tariff.knowledge.components[likeliest[0]].name + _at(likeliest[1], len(tariff.engine.banks))
        found.append(NamedOption("likeliest", f"only the likeliest: {name}", _jobs(tariff, likeliest)))
    if WEARING in tariff.knowledge.components:
        worst = _worst(tariff, lambda cylinder: chances.get((WEARING, cylinder), 0.0))
        found.append(NamedOption("one seal", f"only the seal of cylinder {worst}", _jobs(tariff, (WEARING, worst))))
        bank = tariff.engine.bank_of(worst)
        if len(tariff.engine.banks) > 1:
            members = tuple((WEARING, cylinder) for cylinder in sorted(tariff.engine.banks[bank]))
            found.append(NamedOption("bank", f"all seals of bank {bank}", _jobs(tariff, *members)))
        found.append(NamedOption("all seals", "all seals", _jobs(tariff, *((WEARING, c) for c in cylinders))))
    if INJECTOR in tariff.knowledge.components:
        worst = _worst(tariff, lambda c: chances.get((INJECTOR, c), 0.0) + chances.get((WEARING, c), 0.0))
        title = f"injector and seal of cylinder {worst}"
        found.append(NamedOption("injector", title, _jobs(tariff, (INJECTOR, worst))))
        found.append(NamedOption("all injectors", "all injectors", _jobs(tariff, *((INJECTOR, c) for c in cylinders))))
    if CODE in tariff.knowledge.components:
        worst = _worst(tariff, lambda cylinder: chances.get((CODE, cylinder), 0.0))
        found.append(NamedOption("code", f"only the code of cylinder {worst}", _jobs(tariff, (CODE, worst))))
    return _distinct(found)


def likeliest_first(tariff: Tariff, chances: Mapping[Key, float]) -> list[Key]:
    """Components at their places, the likeliest first; among equals those of a cylinder that is less awkward to reach,
    then in the order given. What was told in another order differs by rounding, and is no reason to choose."""
    return sorted(chances, key=lambda key: _turn(tariff, chances[key], key[1]))


def _worst(tariff: Tariff, chance: Callable[[int], float]) -> int:
    """The likeliest cylinder, as in `likeliest_first`."""
    return min(tariff.engine.cylinders, key=lambda cylinder: _turn(tariff, chance(cylinder), cylinder))


def _turn(tariff: Tariff, chance: float, place: Place) -> tuple[float, float]:
    """What is likelier and easier to reach has the lower one."""
    minutes = tariff.engine.awkward_minutes.get(place, 0.0) if isinstance(place, int) else 0.0
    return -round(chance, TIE), minutes


def _at(place: Place, banks: int) -> str:
    if place is None or (isinstance(place, str) and banks == 1):
        return ""
    return f", cylinder {place}" if isinstance(place, int) else f", bank {place}"


def _jobs(tariff: Tariff, *keys: Key) -> tuple[Job, ...]:
    """The cheapest job that renews each component, where there is one."""
    return tuple(tariff.cheapest[key] for key in keys if key in tariff.cheapest)


def _distinct(options: list[NamedOption]) -> tuple[NamedOption, ...]:
    seen: set[frozenset[Job]] = set()
    kept = []
    for option in options:
        if frozenset(option.jobs) not in seen and (option.jobs or option.name == "nothing"):
            seen.add(frozenset(option.jobs))
            kept.append(option)
    return tuple(kept)
