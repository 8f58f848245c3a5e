"""A fault that can be asked about: a component at a place in some of its unsound states; read from words.

May import: knowledge_base, casebook, network, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diag.basics import Place, UsageError, did_you_mean
from diag.casebook import place_fault, place_words
from diag.inference import Array
from diag.network import CaseNetwork, Weighed

__all__ = ["TIE", "Fault", "fault_from_words", "leading_fault", "mask_of", "rival_given"]

VEHICLE = "vehicle"
TIE = 9  # digits: what differs by rounding alone stays in the knowledge's order
RIVALS = 8  # so many of the likeliest faults are looked at as rivals


@dataclass(frozen=True)
class Fault:
    """A component at a place, as it stands now, in one of `states`."""

    component: str
    place: Place
    states: tuple[str, ...]

    @property
    def key(self) -> tuple[str, Place]:
        """The component and its place."""
        return self.component, self.place


def mask_of(network: CaseNetwork, fault: Fault) -> Array:
    """`[state]`: 1 for the states meant, else 0."""
    return np.array([float(state in fault.states) for state in network.knowledge.components[fault.component].states])


def leading_fault(weighed: Weighed) -> Fault:
    """The likeliest component that is not sound, of what can be mended."""
    return _likeliest(weighed)[0]


def rival_given(weighed: Weighed, fault: Fault, absent: Mapping[tuple[str, Place], Array]) -> Fault:
    """The strongest rival: of the likeliest other components the one that is likeliest to be at fault with `fault` not
    being there, by what is believed of every component then, `absent[key][state]`. What mostly comes together with it,
    such as a second bad seal, is no rival."""
    others = [each for each in _likeliest(weighed, RIVALS + 1) if each.key != fault.key][:RIVALS]
    chances = [round(float(absent[each.key] @ mask_of(weighed.network, each)), TIE) for each in others]
    return others[int(np.argmax(chances))]


def _likeliest(weighed: Weighed, count: int = 1) -> list[Fault]:
    chances: dict[tuple[str, Place], float] = {}
    for each in weighed.faults:
        if each.fault:
            chances[each.component, each.place] = chances.get((each.component, each.place), 0.0) + each.probability
    ordered = sorted(chances, key=lambda key: -round(chances[key], TIE))
    return [_any_state(weighed.network, *key) for key in ordered[:count]]


def _any_state(network: CaseNetwork, component: str, place: Place) -> Fault:
    return Fault(component, place, tuple(network.knowledge.components[component].states)[1:])


def fault_from_words(weighed: Weighed, words: str, place: Place | str = None) -> Fault:
    """The fault that words name: `seal 2`, `seal:blown 2`, `seal:weeping,blown 2`, `drive_stage vehicle`.

    `place` is one in words, where it stands apart. Without any place it is the one where the component is likeliest
    not to be sound. Raises UsageError with what would be right.
    """
    network = weighed.network
    known, parts = network.knowledge.components, [*words.split(), *([str(place)] if place is not None else [])]
    if not parts or len(parts) > 2:
        raise UsageError(f"'{words}' does not name a fault; say it like 'seal 2' or 'seal:blown 2'")
    component, _, named = parts[0].partition(":")
    if component not in known:
        faults = [name for name, entry in known.items() if entry.fault]
        raise UsageError(f"there is no fault '{component}'; {did_you_mean(component, faults, most=24)}")
    where = _place(network, component, parts[1]) if len(parts) == 2 else _likeliest_place(weighed, component)
    return Fault(component, where, _states(network, component, named))


def _states(network: CaseNetwork, component: str, named: str) -> tuple[str, ...]:
    unsound = tuple(network.knowledge.components[component].states)[1:]
    if not named:
        return unsound
    for state in named.split(","):
        if state not in unsound:
            hint = did_you_mean(state, unsound, most=len(unsound))
            raise UsageError(f"'{component}' has no unsound state '{state}'; {hint}")
    return tuple(state for state in unsound if state in named.split(","))


def _place(network: CaseNetwork, component: str, word: str) -> Place:
    entry, engine = network.knowledge.components[component], network.case.engine
    place: Place = int(word) if word.isdecimal() else None if word.lower() == VEHICLE else word.upper()
    wrong = place_fault(engine, entry.per, place)
    if wrong is not None:
        raise UsageError(f"{component} of {place_words(place)}: {wrong[0]}; {wrong[1]}")
    if (component, place) not in network.layout.versions:
        raise UsageError(f"this engine has no '{component}' at {place_words(place)}")
    return place


def _likeliest_place(weighed: Weighed, component: str) -> Place:
    chances: dict[Place, float] = {}
    for each in weighed.faults:
        if each.component == component:
            chances[each.place] = chances.get(each.place, 0.0) + each.probability
    if not chances:
        raise UsageError(f"this engine has no '{component}'")
    return max(chances, key=chances.__getitem__)
