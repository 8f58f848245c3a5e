"""How good the predictions were: every closed case weighed as it stood before its closing was known, one by one.

Each component that was in somebody's hands is a prediction (was it at fault?), scored by what was found; one that was
told of only because it was at fault is none, since it could not have counted otherwise. Where it is learned
anew on the way, a case is only ever predicted from cases closed before it (prequential: Dawid 1984). May import:
`diag.basics`, `diag.decision`, `diag.network`, `diag.knowledge_base`, the records of `diag.store`, numpy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.basics import CaseError, ImpossibleEvidence, Place, TooLarge
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.learning.lessons import Lesson, again_of, alike_of, known_of, looked_at, other_currency
from diag.learning.scores import LEAST, ranks
from diag.learning.updating import Rules, learn
from diag.network import Weighed, component_states, weigh

__all__ = ["CaseScore", "Foretold", "Prediction", "Spent", "foretell"]


@dataclass(frozen=True)
class Prediction:
    """The chance that a component at a place was at fault, and whether it was found to be (1 or 0)."""

    number: int
    engine: str
    component: str
    place: Place
    forecast: float
    came: float


@dataclass(frozen=True)
class CaseScore:
    """A case with a fault found: the rank of the first one told among all faults of the case, its chance, and whether
    what was fitted is what was advised; none where that was not asked."""

    number: int
    engine: str
    fault: str
    rank: int
    chance: float
    followed: bool | None
    minutes: float | None
    cost: float | None
    currency: str
    came_back: bool


@dataclass(frozen=True)
class Spent:
    """Cases in which advice was followed, or was not: how many, mean money (of what was told in the currency of prices)
    and minutes where told, come-backs."""

    followed: bool
    cases: int
    cost: float | None
    minutes: float | None
    come_backs: float


@dataclass(frozen=True)
class Foretold:
    """All predictions in the order in which the cases were closed; numbers of those left out; how often it was learned
    on the way; the numbers of each case that was kept `again` and counts once, of those told `alike` that count
    each, and of those of which the money was told in another currency than `currency`, that of the prices."""

    predictions: tuple[Prediction, ...]
    cases: tuple[CaseScore, ...]
    left_out: tuple[int, ...]
    learned: int
    again: tuple[tuple[int, ...], ...] = ()
    alike: tuple[tuple[int, ...], ...] = ()
    currency: str = ""
    other_currency: tuple[int, ...] = ()

    def arrays(self, component: str = "", engine: str = "") -> tuple[Array, Array]:
        """Forecasts and what came, of one component or engine or of all."""
        some = [
            (each.forecast, each.came)
            for each in self.predictions
            if component in ("", each.component) and engine in ("", each.engine)
        ]
        table = np.array(some, dtype=np.float64).reshape(len(some), 2)
        return table[:, 0], table[:, 1]

    def spent(self) -> tuple[Spent, ...]:
        """Where advice was followed and where not. That is no experiment: harder cases may be followed less."""
        found = []
        for followed in (True, False):
            some = [each for each in self.cases if each.followed is followed]
            costs = [each.cost for each in some if each.cost is not None and each.currency == self.currency]
            minutes = [each.minutes for each in some if each.minutes is not None]
            if some:
                found.append(
                    Spent(
                        followed,
                        len(some),
                        math.fsum(costs) / len(costs) if costs else None,
                        math.fsum(minutes) / len(minutes) if minutes else None,
                        sum(each.came_back for each in some) / len(some),
                    )
                )
        return tuple(found)


def foretell(
    knowledge: Knowledge,
    lessons: Sequence[Lesson],
    learn_every: int = 0,
    advice: bool = False,
    rules: Rules | None = None,
) -> Foretold:
    """Predict the cases one after the other. `learn_every`: learn again after so many (0: never); `advice`: decide
    every case too, which takes longer."""
    predictions: list[Prediction] = []
    cases: list[CaseScore] = []
    left_out: list[int] = []
    now, learned = knowledge, 0
    for position, lesson in enumerate(lessons):
        if learn_every and position and position % learn_every == 0:
            now, learned = learn(knowledge, lessons[:position], rules or Rules()).knowledge, learned + 1
        try:
            weighed = weigh(now, lesson.case)
        except (CaseError, ImpossibleEvidence, TooLarge):
            left_out.append(lesson.number)
            continue
        predictions += _predictions(now, lesson, weighed, rules or Rules())
        if lesson.outcome.found:
            cases.append(_score(now, lesson, weighed, advice))
    twice, money = (again_of(lessons), alike_of(lessons)), knowledge.prices.currency
    other = other_currency(knowledge, lessons)
    return Foretold(tuple(predictions), tuple(cases), tuple(left_out), learned, *twice, money, other)


def _predictions(knowledge: Knowledge, lesson: Lesson, weighed: Weighed, rules: Rules) -> list[Prediction]:
    states, held = component_states(weighed.network, weighed.posterior), set(looked_at(knowledge, lesson))
    found = []
    for (key, version), likelihood in known_of(knowledge, weighed.network, lesson, rules.trust).items():
        if (
            key in held
            and knowledge.components[key[0]].fault
            and version == weighed.network.layout.versions[key].current
        ):
            chance = float(np.clip(1.0 - states[key][0], 0.0, 1.0))
            came = float(np.argmax(likelihood) != 0)
            found.append(Prediction(lesson.number, lesson.case.engine_id, key[0], key[1], chance, came))
    return found


def _score(knowledge: Knowledge, lesson: Lesson, weighed: Weighed, advice: bool) -> CaseScore:
    first = lesson.outcome.found[0]
    order = [(fault.component, fault.place, fault.state) for fault in weighed.faults if fault.fault]
    wanted = (first.component, first.place, first.state)
    chances = {(fault.component, fault.place, fault.state): fault.probability for fault in weighed.faults}
    return CaseScore(
        lesson.number,
        lesson.case.engine_id,
        first.component,
        ranks(order, wanted),
        max(chances.get(wanted, 0.0), LEAST),
        _followed(knowledge, lesson, weighed) if advice else None,
        lesson.outcome.minutes,
        lesson.outcome.cost,
        lesson.outcome.currency,
        lesson.came_back is not None,
    )


def _followed(knowledge: Knowledge, lesson: Lesson, weighed: Weighed) -> bool:
    """Whether what was fitted is the best plan's work, place by place."""
    from diag.decision import decide_repair, reckon

    best = decide_repair(reckon(knowledge, lesson.case, weighed.network, weighed.posterior)).best
    wanted = {(job.repair, job.place) for job in best.jobs}
    done = {(fitted.item, fitted.place) for fitted in lesson.outcome.fitted if fitted.item in knowledge.repairs}
    return wanted == done
