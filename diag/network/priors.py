"""The chance of each state of a component before anything was found.

A component that was renewed or disturbed so lately that it has not settled has the chances of its `fresh` or
`disturbed` table; all others have `chance` plus what `life` brings. Disturbing cures nothing: its table never lowers
a chance. What was left undone at the work comes first, and what it spares is as after any such work. Where a shared
cause is in a state that `given` names, that chance stands in the place of `chance` (and
beside a `fresh` table the larger of the two); of several that apply the largest stands, for each state; where these
come to more than 1 over the states (each table is below it) they share it. May import: knowledge_base, casebook,
basics.

The numbering (`code_numbering`) is one hypothesis about the control unit (see `numbering`). Of the components it
reaches only what was written: a cylinder that it numbers otherwise, on which one of the works of `only_after` was done
so lately that it has not settled (an engine that has run well on a code since is not miscoded).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from msgspec import Struct

from diag.basics import DiagError, Place
from diag.casebook import NUMBERING, place_words
from diag.knowledge_base import Component, Engine, Knowledge, Life
from diag.network.ages import Origin, Used
from diag.network.numbering import lands_elsewhere

__all__ = ["LifeNow", "chances", "failed_unnoticed", "life_now", "misnumbered", "reaching_places"]

EXACT = 1e-9  # chances that come to 1 may come to so much more by rounding
StateOf = Mapping[tuple[str, Place], str]  # the state of each shared cause that reaches into cylinders


class LifeNow(Struct, frozen=True):
    """The Weibull life of one component as it stands: `scale` and `used` in kilometres or years by its `clock`.

    The chance that what is sound now still holds after a further stretch s is
    exp((used/scale)^shape - ((used + s)/scale)^shape).
    """

    clock: str
    shape: float
    scale: float
    used: float
    unnoticed: float
    fails_as: Mapping[str, float]


def failed_unnoticed(used: float, shape: float, scale: float, unnoticed: float) -> float:
    """Chance that a part in use for `used` failed within the last stretch `unnoticed` (all in one unit).

    Weibull (1951), a conditional failure: 1 - exp(-((t/scale)^shape - ((t-w)+/scale)^shape)); an earlier failure
    would have been mended. Example: t = w = scale gives 1 - 1/e = 0.632.
    """
    hazard = (used / scale) ** shape - (max(used - unnoticed, 0.0) / scale) ** shape
    return -math.expm1(-hazard)


def reaching_places(cause: Component, place: Place, engine: Engine) -> tuple[Place, ...]:
    """Places of a shared cause that bear upon something at `place`: a cylinder has the one bank, a vehicle all."""
    if cause.per == "vehicle":
        return (None,)
    if isinstance(place, int):
        return (engine.bank_of(place),)
    return (place,) if place is not None else tuple(engine.banks)


def misnumbered(place: Place, works: frozenset[str], cause: Component, state: str, engine: Engine) -> bool:
    """Whether a code meant for a cylinder landed elsewhere, if so numbered (the rule of this module)."""
    return not works.isdisjoint(cause.only_after) and lands_elsewhere(place, state, engine)


def life_now(life: Life, used: Used, place: Place, state_of: StateOf, knowledge: Knowledge, engine: Engine) -> LifeNow:
    """The life of a component under the states of the shared causes."""
    scale = life.scale.value
    for cause_id, factors in life.scale_under.items():
        for reach in reaching_places(knowledge.components[cause_id], place, engine):
            factor = factors.get(_state(state_of, cause_id, reach))
            scale *= factor.value if factor is not None else 1.0
    return LifeNow(
        clock=life.clock,
        shape=life.shape.value,
        scale=scale,
        used=used.km if life.clock == "distance" else used.years,
        unnoticed=life.unnoticed.value,
        fails_as={state: share.value for state, share in life.fails_as.items()},
    )


def _state(state_of: StateOf, cause_id: str, place: Place) -> str:
    if (cause_id, place) not in state_of:
        raise DiagError(
            f"'{cause_id}' is named in a 'given' or 'scale_under', but only a shared cause with "
            "'reaches_cylinders: true' can stand there, and among shared causes only one written before"
        )
    return state_of[cause_id, place]


def chances(
    knowledge: Knowledge, engine: Engine, component_id: str, place: Place, origin: Origin, state_of: StateOf
) -> tuple[float, ...]:
    """Probability of each state of a component, in the order of its states; sums to 1.

    Raises DiagError where the chances of the unsound states come to more than 1.
    """
    component = knowledge.components[component_id]
    if component_id != NUMBERING and component.only_after and origin.works.isdisjoint(component.only_after):
        return _with_sound(component, {}, component_id, place)
    given = _given(knowledge, engine, component, place, origin, state_of)
    ordinary = {state: figure.value for state, figure in component.chance.items()} | given
    if component.life is not None:
        life = life_now(component.life, origin.used, place, state_of, knowledge, engine)
        failed = failed_unnoticed(life.used, life.shape, life.scale, life.unnoticed)
        for state, share in life.fails_as.items():
            ordinary[state] = ordinary.get(state, 0.0) + failed * share
    fresh = {state: figure.value for state, figure in component.fresh.items()}
    tables = [fresh, given] if "renewed" in origin.touches else [ordinary]
    if "disturbed" in origin.touches:
        tables.append({state: figure.value for state, figure in component.disturbed.items()})
    largest = tables[0]
    if len(tables) > 1:
        largest = {state: max(table.get(state, 0.0) for table in tables) for state in component.states}
        whole = math.fsum(largest.values())
        if whole > 1.0 and all(math.fsum(table.values()) <= 1.0 + EXACT for table in tables):
            largest = {state: chance / whole for state, chance in largest.items()}
    for lapse in (known for name, known in component.lapses.items() if name in origin.lapses):
        spared = 1.0 - math.fsum(figure.value for figure in lapse.chance.values())
        harm = {state: figure.value for state, figure in lapse.chance.items()}
        largest = {state: harm.get(state, 0.0) + spared * chance for state, chance in largest.items()}
    return _with_sound(component, largest, component_id, place)


def _given(
    knowledge: Knowledge, engine: Engine, component: Component, place: Place, origin: Origin, state_of: StateOf
) -> dict[str, float]:
    """What the shared causes say, for each state that one of them names; the largest stands."""
    found: dict[str, float] = {}
    for cause_id, by_state in component.given.items():
        cause = knowledge.components[cause_id]
        for reach in reaching_places(cause, place, engine):
            stands = _state(state_of, cause_id, reach)
            written = origin.touches and misnumbered(place, origin.works, cause, stands, engine)
            if cause_id == NUMBERING and not written:
                continue
            for state, figure in by_state.get(stands, {}).items():
                found[state] = max(found.get(state, 0.0), figure.value)
    return found


def _with_sound(
    component: Component, unsound: Mapping[str, float], component_id: str, place: Place
) -> tuple[float, ...]:
    values = [unsound.get(state, 0.0) for state in list(component.states)[1:]]
    total = math.fsum(values)
    if total > 1 + EXACT:
        raise DiagError(
            f"the chances of the states of '{component_id}' of {place_words(place)} come to {total:.3g}, which is more "
            "than 1; lower its chances in the knowledge, or what 'life' or 'given' brings"
        )
    return (max(0.0, 1.0 - total), *values)
