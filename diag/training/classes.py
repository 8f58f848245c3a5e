"""A class: the journals of a folder, compared; how each trainee gets on; and what goes wrong again and again.

May import: learning (its scores), casebook, knowledge_base, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import fmean

import numpy as np

from diag.basics import CaseError, DiagError, UsageError
from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.learning import BrierParts, brier, log_score, murphy
from diag.training.bench import Bench
from diag.training.courses import by_number, journals_in
from diag.training.debriefing import BeliefScore, Debrief, StepReview, debrief
from diag.training.heeding import Heeding, heeding_of
from diag.training.journal import Journal, load_journal
from diag.training.records import Asked, Decided, Fitted, Practice

__all__ = [
    "Calibration",
    "CaseCompared",
    "CheckHabit",
    "Classroom",
    "Haste",
    "Sitting",
    "TraineeProgress",
    "bench_among",
    "class_of",
]


@dataclass(frozen=True)
class Sitting:
    """One trainee at one case; `review` is none while it runs."""

    path: Path
    journal: Journal
    review: Debrief | None


@dataclass(frozen=True)
class Calibration:
    """What was said of how sure one was, over many statements (Brier 1950, parts after Murphy 1973): `lean`: mean of
    what was said less how often it was so (above 0: too sure); `off`: mean square distance to the model's own chance
    on the same findings, which knows no luck."""

    statements: int
    brier: float
    log: float
    parts: BrierParts
    lean: float
    off: float


@dataclass(frozen=True)
class TraineeProgress:
    """One trainee over their cases, in the order in which they were begun: `regrets` of each that ended, `trend`: mean
    of the second half less that of the first (below 0: getting better); money and minutes a case."""

    trainee: str
    ended: int
    running: int
    regret: float
    minutes: float
    unsafe: int
    regrets: tuple[float, ...]
    trend: float
    calibration: Calibration | None


@dataclass(frozen=True)
class CaseCompared:
    """One case over all who ended it: regret at least, on average and at most, mean time and money spent on checks and
    trials, and the check that was best and most often passed over (empty where none was)."""

    practice: str
    grade: int | None
    trainees: int
    least: float
    mean: float
    most: float
    minutes: float
    paid: float
    missed: str


@dataclass(frozen=True)
class CheckHabit:
    """One check over the whole class: how often it was `asked`, how often that was `needless` (something else was
    clearly better) and by how many people, how often it was best and `missed`; the regret of each in money."""

    check: str
    asked: int
    needless: int
    people: int
    needless_cost: float
    missed: int
    missed_cost: float


@dataclass(frozen=True)
class Haste:
    """How often cases were ended or parts fitted while a check was worth more (`early`), and how often checks went on
    when it was time to repair (`late`); the regret of each in money."""

    early: int
    early_cost: float
    late: int
    late_cost: float
    trials: int
    trials_cost: float


@dataclass(frozen=True)
class Classroom:
    """A folder of journals. `unread`: files that are none or cannot be looked back at, and why; `doubted`: how often
    the numbers were drawn again for the model's own doubt."""

    sittings: tuple[Sitting, ...]
    trainees: tuple[TraineeProgress, ...]
    cases: tuple[CaseCompared, ...]
    habits: tuple[CheckHabit, ...]
    heeding: tuple[Heeding, ...]
    haste: Haste
    unsafe: tuple[tuple[str, int], ...]
    calibration: Calibration | None
    unread: tuple[str, ...]
    currency: str
    doubted: int = 0


def class_of(
    knowledge: Knowledge,
    folder: Path,
    draws: int = 0,
    told: Callable[[int, int], None] | None = None,
    benches: list[Bench] | None = None,
) -> Classroom:
    """Read a folder of journals and debrief all that ended. `draws`: see `debrief`; `benches`: those at which the same
    cases were judged before, and to which others are added. Raises UsageError for no folder, or one without journals.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder; a class is a folder of journals")
    paths = journals_in(folder)
    sittings: list[Sitting] = []
    unread: list[str] = []
    known = benches if benches is not None else []
    for number, path in enumerate(paths):
        try:
            journal = load_journal(path, knowledge)
        except CaseError as error:
            unread.append(error.message)
            continue
        bench = bench_among(known, knowledge, journal.seat.play.practice)
        try:
            review = debrief(bench, journal.seat, draws) if journal.seat.play.ended else None
        except DiagError as error:  # one case that is too large to look back at keeps nobody from the others
            unread.append(f"{path.name}: {error.message}")
            continue
        sittings.append(Sitting(path, journal, review))
        if told is not None:
            told(number + 1, len(paths))
    if not sittings:
        raise UsageError("; ".join([f"{folder} holds no journal of a practice case", *unread[:1]]))
    counted, copies = _once(sittings)
    return replace(compared(knowledge, counted, [*unread, *copies]), doubted=draws)


def _once(sittings: Sequence[Sitting]) -> tuple[list[Sitting], list[str]]:
    """One sitting of each: of a journal that lies there in copies (one trainee, begun at one moment, one case) the one
    that went furthest. And what to say of the others."""
    kept: dict[tuple[object, ...], Sitting] = {}
    copies = []
    for each in sittings:
        play = each.journal.seat.play
        key = (each.journal.trainee, each.journal.begun, play.practice.id, repr(play.practice.start))
        other = kept.setdefault(key, each)
        if other is each:
            continue
        more = max(other, each, key=lambda one: len(one.journal.seat.play.events))
        less = each if more is other else other
        kept[key] = more
        copies.append(f"{less.path.name}: a copy of {more.path.name}; that one counts")
    return list(kept.values()), copies


def bench_among(benches: list[Bench], knowledge: Knowledge, practice: Practice) -> Bench:
    """The bench of a case among those that there are; a new one is added to them."""
    found = next((each for each in benches if each.start == practice.start), None)
    if found is None:
        found = Bench.of(knowledge, practice)
        benches.append(found)
    return found


def compared(knowledge: Knowledge, sittings: Sequence[Sitting], unread: Sequence[str] = ()) -> Classroom:
    """A class from its sittings."""
    ordered = _told_apart(sorted(sittings, key=lambda each: (each.journal.begun, by_number(each.path))))
    steps = [(each, step) for each in ordered if each.review is not None for step in each.review.steps]
    names = dict.fromkeys(each.journal.trainee for each in ordered)
    practices = dict.fromkeys(each.journal.seat.play.practice.id for each in ordered)
    marked: dict[str, int] = {}
    for _, step in steps:
        if step.unsafe:
            marked[step.unsafe] = marked.get(step.unsafe, 0) + 1
    every = [score for each in ordered if each.review is not None for score in each.review.beliefs]
    found = (_case(name, ordered) for name in practices)
    return Classroom(
        sittings=ordered,
        trainees=tuple(_progress(name, ordered) for name in names),
        cases=tuple(each for each in found if each is not None),
        habits=_habits(steps),
        heeding=heeding_of(
            [(s.journal.trainee, s.journal.seat.play.events, s.review.beliefs) for s in ordered if s.review is not None]
        ),
        haste=_haste([step for _, step in steps]),
        unsafe=tuple(sorted(marked.items(), key=lambda each: -each[1])),
        calibration=calibration(every),
        unread=tuple(unread),
        currency=knowledge.prices.currency,
    )


def _told_apart(sittings: Sequence[Sitting]) -> tuple[Sitting, ...]:
    """Cases of one name that begin differently (the third case of two keys) get names of their own, as in a course."""
    starts: dict[str, Case] = {}
    found = []
    for each in sittings:
        seat, count = each.journal.seat, 1
        practice = seat.play.practice
        name = practice.id
        while starts.setdefault(name, practice.start) != practice.start:
            count += 1
            name = f"{practice.id}-{count}"
        play = replace(seat.play, practice=replace(practice, id=name))
        found.append(replace(each, journal=replace(each.journal, seat=replace(seat, play=play))))
    return tuple(found)


def calibration(scores: Sequence[BeliefScore]) -> Calibration | None:
    """Over many statements; none where nothing was said."""
    if not scores:
        return None
    said, came = np.array([each.said for each in scores]), np.array([float(each.true) for each in scores])
    return Calibration(
        statements=len(scores),
        brier=brier(said, came),
        log=log_score(said, came),
        parts=murphy(said, came, 10),
        lean=float(said.mean() - came.mean()),
        off=fmean(each.off for each in scores),
    )


def _progress(name: str, sittings: Sequence[Sitting]) -> TraineeProgress:
    mine = [each for each in sittings if each.journal.trainee == name]
    reviews = [each.review for each in mine if each.review is not None]
    regrets = tuple(each.regret for each in reviews)
    half = len(regrets) // 2
    return TraineeProgress(
        trainee=name,
        ended=len(reviews),
        running=len(mine) - len(reviews),
        regret=fmean(regrets) if regrets else 0.0,
        minutes=fmean(each.minutes_regret for each in reviews) if reviews else 0.0,
        unsafe=sum(each.unsafe for each in reviews),
        regrets=regrets,
        trend=fmean(regrets[-half:]) - fmean(regrets[:half]) if half else 0.0,
        calibration=calibration([score for each in reviews for score in each.beliefs]),
    )


def _case(practice: str, sittings: Sequence[Sitting]) -> CaseCompared | None:
    mine = [each for each in sittings if each.journal.seat.play.practice.id == practice and each.review is not None]
    reviews = [each.review for each in mine if each.review is not None]
    if not reviews:
        return None
    regrets = [each.regret for each in reviews]
    missed: dict[str, float] = {}
    for step in (step for each in reviews for step in each.steps):
        if step.scored > 0 and step.best.kind == "check" and step.chosen.check != step.best.check:
            missed[step.best.check] = missed.get(step.best.check, 0.0) + step.scored
    plays = [each.journal.seat.play for each in mine]
    return CaseCompared(
        practice=practice,
        grade=plays[0].practice.grade,
        trainees=len(mine),
        least=min(regrets),
        mean=fmean(regrets),
        most=max(regrets),
        minutes=fmean(each.minutes for each in plays),
        paid=fmean(each.paid for each in plays),
        missed=max(missed, key=lambda each: missed[each], default=""),
    )


def _habits(steps: Sequence[tuple[Sitting, StepReview]]) -> tuple[CheckHabit, ...]:
    """Every check that was asked for or missed, the dearest habit first."""
    names: dict[str, None] = {}
    for _, step in steps:
        names |= dict.fromkeys(each.check for each in (step.chosen, step.best) if each.kind == "check")
    found = []
    for name in names:
        asked = [(who, step) for who, step in steps if step.chosen.check == name and isinstance(step.event, Asked)]
        needless = [(who.journal.trainee, step.scored) for who, step in asked if step.scored > 0]
        missed = [step.scored for _, step in steps if step.best.check == name != step.chosen.check and step.scored > 0]
        people = len({who for who, _ in needless})
        lost, passed = sum(cost for _, cost in needless), sum(missed)
        found.append(CheckHabit(name, len(asked), len(needless), people, lost, len(missed), passed))
    return tuple(sorted(found, key=lambda each: -max(each.needless_cost, each.missed_cost)))


def _haste(steps: Sequence[StepReview]) -> Haste:
    wrong = [each for each in steps if each.scored > 0]
    early = [each.scored for each in wrong if isinstance(each.event, Decided | Fitted) and each.best.kind == "check"]
    late = [each.scored for each in wrong if isinstance(each.event, Asked) and each.best.kind == "plan"]
    trials = [each.scored for each in wrong if isinstance(each.event, Fitted)]
    return Haste(len(early), sum(early), len(late), sum(late), len(trials), sum(trials))
