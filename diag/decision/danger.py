"""What is barred whatever the money: leaving a vehicle as it is, or driving on, where that can hurt someone.

May import: casebook, knowledge_base, basics, numpy, and of this room `binding`, `carriers`, `objective`, `parts`,
`sites`.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from diag.basics import Place
from diag.casebook import PRESENT, Case, DangerTold, dangers_told
from diag.decision.binding import Bound, BoundSite
from diag.decision.carriers import chance_gone
from diag.decision.objective import DANGER_THRESHOLD, LEAST_CURE_IN_DANGER
from diag.decision.parts import features_of, part_chances
from diag.decision.sites import Belief, Plan
from diag.inference import Posterior
from diag.knowledge_base import Knowledge, cautions_of_danger

__all__ = ["Danger", "allowed_treatments", "cure_share", "dangers_of", "is_carried", "nothing_safe", "reason_against"]


class Danger(Struct, frozen=True):
    """What is dangerous now. `told`: findings of danger told to be there, and readings beyond what is safe; `cautions`:
    ids of the cautions they bring; `states`: (component, place, chance) of dangerous states at least as probable as the
    threshold."""

    told: tuple[DangerTold, ...]
    cautions: tuple[str, ...]
    states: tuple[tuple[str, Place, float], ...]

    @property
    def present(self) -> bool:
        """Whether anything is."""
        return bool(self.told or self.states)

    def what(self, knowledge: Knowledge) -> str:
        """What is dangerous, in words; empty where nothing is."""
        parts = [_told(knowledge, each) for each in self.told]
        for component, place, chance in self.states:
            known = knowledge.components[component]
            names = " or ".join(state.name for state in known.states.values() if state.dangerous)
            where = f" of cylinder {place}" if isinstance(place, int) else ""
            parts.append(f"{known.name}{where} may be {names} ({100 * chance:.0f} %)")
        return "; ".join(parts)

    def sentence(self, knowledge: Knowledge) -> str:
        """Why 'nothing now' and 'drive on' are barred, in words; empty where they are not."""
        what = self.what(knowledge)
        return f"{what}: not to be left as it is and not to be driven on, whatever the money" if what else ""


def dangers_of(knowledge: Knowledge, case: Case, bound: Bound, posterior: Posterior) -> Danger:
    """What was told that is dangerous, and dangerous states that are probable."""
    told = dangers_told(knowledge, case)
    cautions = dict.fromkeys(caution for each in told for caution in each.cautions(knowledge))
    states = []
    for site in bound.sites:
        for part in site.parts:
            if any(part.dangerous):
                chance = float(part_chances(part, posterior)[0] @ np.array(part.dangerous, dtype=float))
                if chance >= DANGER_THRESHOLD:
                    states.append((*part.key, chance))
    for component in dict.fromkeys(component for component, _, _ in states):
        cautions |= dict.fromkeys(cautions_of_danger(knowledge, component))
    return Danger(told, tuple(cautions), tuple(states))


def _told(knowledge: Knowledge, told: DangerTold) -> str:
    if told.item in knowledge.readings:
        known = knowledge.readings[told.item]
        return f"'{known.name}' is above {told.above:g} {known.unit}"
    name = knowledge.findings[told.item].name
    if told.answer == PRESENT:
        return f"'{name}' is present"
    return f"'{name}' was answered '{knowledge.answers[told.answer].name}'"


def allowed_treatments(bound: Bound, belief: Belief, after_answers: bool = False) -> tuple[tuple[int, ...], ...]:
    """For each site the treatments that may be chosen (now, or after some answer), and of them those after which no
    dangerous state is as probable as the threshold; all where none is."""
    found = []

    def wanted(site: BoundSite) -> tuple[int, ...]:
        return site.thinkable if after_answers else site.useful

    for site, features in zip(bound.sites, belief.features, strict=True):
        chances = [float(danger @ features[0]) for danger in site.danger]
        fine = tuple(index for index in wanted(site) if chances[index] < DANGER_THRESHOLD)
        every = tuple(index for index, chance in enumerate(chances) if chance < DANGER_THRESHOLD)
        found.append(fine or every or wanted(site))
    return tuple(found)


def nothing_safe(bound: Bound, posterior: Posterior) -> bool:
    """Whether at some site no treatment that may be in a best plan now is safe, so that others have to be looked at."""
    return any(
        all(
            float(site.danger[index] @ features_of(site.features, posterior)[0]) >= DANGER_THRESHOLD
            for index in site.useful
        )
        for site in bound.sites
    )


def reason_against(knowledge: Knowledge, danger: Danger, bound: Bound, belief: Belief, plan: Plan) -> str:
    """Why a plan is barred; empty where it is not. Of each danger that was told, where something behind it is probable,
    a plan has to mend at least half; where nothing is, or where it leaves little, half of all that may be wrong."""
    if not danger.present:
        return ""
    if not any(site.treatments[choice].jobs for site, choice in zip(bound.plain, plan, strict=True)):
        return danger.sentence(knowledge)
    for site, features, choice in zip(bound.sites, belief.features, plan, strict=True):
        left = float(site.danger[choice] @ features[0])
        if left >= DANGER_THRESHOLD:
            return f"a dangerous state would still be likely afterwards at {site.site.name} ({100 * left:.0f} %)"
    if not danger.told:
        return ""
    nothing = tuple(0 for _ in plan)
    every = cure_share(chance_gone(bound, belief, plan), chance_gone(bound, belief, nothing))
    for number, told in enumerate(danger.told):
        left = 1.0 - chance_gone(bound, belief, plan, number)
        if every >= LEAST_CURE_IN_DANGER and left < DANGER_THRESHOLD:
            continue
        if not is_carried(bound, belief, number):
            return f"it mends {_much(every)} of what may be wrong, too little while {_told(knowledge, told)}"
        share = cure_share(1.0 - left, chance_gone(bound, belief, nothing, number))
        if share < LEAST_CURE_IN_DANGER:
            return (
                f"it mends {_much(share)} of what may be behind the danger, too little while {_told(knowledge, told)}"
            )
    return ""


def _much(share: float) -> str:
    return f"only {100 * share:.0f} %" if share >= 0.005 else "hardly anything"


def is_carried(bound: Bound, belief: Belief, danger: int) -> bool:
    """Whether something that may be behind a danger, by its number among those told, is probable now."""
    nothing = tuple(0 for _ in bound.sites)
    return 1.0 - chance_gone(bound, belief, nothing, danger) >= DANGER_THRESHOLD


def cure_share(cures: float, nothing_wrong: float) -> float:
    """Share of what may be wrong that a plan mends: its chance of cure beyond the chance that nothing is wrong at all,
    so that work on something else does not pass for an answer to danger."""
    return (cures - nothing_wrong) / (1.0 - nothing_wrong) if nothing_wrong < 1.0 else 1.0
