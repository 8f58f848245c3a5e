"""Playing a case: from the state of one seat to the next. Nothing here scores, and nothing is changed in place.

What the trainee may see is made by `view_of`, from the play alone: the hidden truth is no argument of it.
May import: decision, network, casebook, knowledge_base, basics, laboratory, and `bench`, `records`, `worlds`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from diag.basics import Place, UsageError, did_you_mean
from diag.casebook import NOT_SURE, PRESENT, Answer, Case, Measured, Work, place_fault, place_words
from diag.decision import Job, barred_by_danger, check_cost, price, realised, why_not
from diag.knowledge_base import Knowledge
from diag.laboratory import items_of
from diag.network import Question as Asks
from diag.network import key_of
from diag.training.bench import Bench
from diag.training.records import Asked, Belief, Believed, Decided, Event, Fitted, HiddenTruth, Play, Practice, Seat
from diag.training.worlds import SURELY, Key, Question, World, after_work, answer, risks_met

__all__ = [
    "CheckOffer",
    "TraineeView",
    "ask",
    "believe",
    "complaint_of",
    "decide",
    "fit",
    "full_jobs",
    "questions_left",
    "start",
    "told_by",
    "view_of",
    "world_at",
]

SYMPTOM = "symptom"


@dataclass(frozen=True)
class CheckOffer:
    """A check that can be asked for: the places where it could still tell something, the minutes that it takes with
    what is open now, and why it cannot be done here at all (empty where it can)."""

    check: str
    places: tuple[Place, ...]
    minutes: float
    barred: str


@dataclass(frozen=True)
class TraineeView:
    """All that a trainee may see while the case runs. `case`: everything known so far; `checks` and `repairs`: what can
    be asked for and fitted. There is nothing of the truth in it, nor of what would be best."""

    practice: str
    title: str
    case: Case
    minutes: float
    paid: float
    currency: str
    checks: tuple[CheckOffer, ...]
    repairs: tuple[Job, ...]
    events: tuple[Event, ...]
    ended: bool


def start(practice: Practice, hidden: HiddenTruth) -> Seat:
    """Sit down at a case."""
    return Seat(Play(practice), hidden)


def view_of(bench: Bench, play: Play) -> TraineeView:
    """What the trainee may see."""
    case, tariff = play.case_at(), bench.tariff
    opened = tariff.open_already(case.open_access)
    offers = []
    for name, check in bench.knowledge.checks.items():
        places = tuple(place for place in tariff.places(check.covers) if questions_left(bench, case, name, place))
        wrong = check.only_injector is not None and check.only_injector != case.engine.injector
        barred = "only_injector" if wrong else "cannot" if name in case.cannot else ""
        opens = tariff.opens(check.access, places[0]) - opened if places else frozenset()
        minutes = check.minutes.value + sum(tariff.opening_minutes(key) for key in opens)
        if places:
            offers.append(CheckOffer(name, places, minutes, barred))
    repairs = (*tariff.jobs(), *(job for job in tariff.jobs("way out") if job.place is None))
    return TraineeView(
        practice=play.practice.id,
        title=play.practice.title,
        case=case,
        minutes=play.minutes,
        paid=play.paid,
        currency=bench.currency,
        checks=tuple(offers),
        repairs=repairs,
        events=play.events,
        ended=play.ended,
    )


def ask(bench: Bench, seat: Seat, check: str, place: Place) -> Seat:
    """Do a check: its answers, what it took and what broke. A check that safety forbids now is not done; it is noted.

    Raises UsageError for a check that there is not, a place that it is not done at, one that cannot be done here, and
    one that would tell nothing new.
    """
    play = _running(seat)
    case, tariff = play.case_at(), bench.tariff
    known = bench.knowledge.checks.get(check)
    if place is None and known is not None and len(only := tariff.places(known.covers)) == 1:
        place = only[0]  # there is no other place at which it could be done
    _check_place(bench.knowledge, case, check, place)
    ready = bench.ready(case)
    why = why_not(ready, check)
    if why and why != barred_by_danger(ready, check):
        raise UsageError(f"'{bench.knowledge.checks[check].name}' cannot be done here: {why}")
    if why:
        return replace(seat, play=_with(play, Asked(check, place, (), 0.0, 0.0, 0.0, refused=why)))
    questions = questions_left(bench, case, check, place)
    if not questions:
        raise UsageError(f"'{bench.knowledge.checks[check].name}' would tell nothing that is not known there")
    cost = check_cost(ready, check, place)
    times = sum(isinstance(each, Asked) and (each.check, each.place) == (check, place) for each in play.events)
    levels = bench.levels(seat.hidden.world)
    found = tuple(told_by(bench, case, seat.hidden, levels, question, times) for question in questions)
    broke = risks_met(tariff, seat.hidden.world, levels, check, place, times)
    sure = sum(amount for name, amount in cost.amounts.items() if name != "complications")
    event = Asked(
        check=check,
        place=place,
        found=tuple(each for each in found if each is not None),
        minutes=cost.minutes + sum(minutes for _, minutes, _ in broke),
        cost=sure + sum(tariff.labour(minutes) + money for _, minutes, money in broke),
        expected=cost.total,
        opens=cost.opens,
        broken=tuple(name for name, _, _ in broke),
    )
    return replace(seat, play=_with(play, event))


def fit(bench: Bench, seat: Seat, jobs: Sequence[Job]) -> Seat:
    """Do work and see whether it helps. Raises UsageError for what is no work, or cannot be done together."""
    play = _running(seat)
    _refuse_exchanges(bench.knowledge, jobs)
    case, every = play.case_at(), full_jobs(bench, jobs)
    if not every:
        raise UsageError("this names no work that could be tried; write for example reseal@2")
    if any(bench.knowledge.repairs[job.repair].kind == "way out" for job in every):
        raise UsageError("to refer it or to let it stand is no work that can be tried; it can be the plan at the end")
    money = bench.priced(case, every)
    vehicle = bench.vehicle(money.network, seat.hidden.world)  # type: ignore[arg-type]
    spent, expected = realised(money, every, vehicle), price(bench.ready(case, every), every)
    if spent is None or expected is None:
        raise UsageError("these works cannot be done together as one plan; name fewer")
    world = after_work(bench.tariff, bench.ready(case).network, seat.hidden.world, every)  # type: ignore[arg-type]
    hidden = replace(seat.hidden, world=world)
    levels = bench.levels(world)
    told = [answer(bench.knowledge, case.engine, world, levels, each, SURELY) for each in complaint_of(bench)]
    found = tuple(each for each in told if isinstance(each, Answer))
    there = sum(each.answer == PRESENT for each in found)
    helped: Literal["yes", "partly", "no"] = "no" if there == len(found) else "partly" if there else "yes"
    waiting = bench.tariff.days_money(every)  # paid by the customer as that of a check is
    cost = spent.breakdown.invoice.amount + waiting
    labour = sum(getattr(spent.breakdown, part) for part in ("access", "labour", "finish"))
    event = Fitted(
        work=tuple(Work(job.repair, job.place, km_ago=0.0, months_ago=0.0, helped=helped) for job in every),
        jobs=every,
        found=found,
        helped=helped,
        minutes=labour / bench.tariff.rate_per_minute,
        cost=cost,
        expected=expected.breakdown.invoice.amount + waiting,
    )
    return Seat(_with(play, event), hidden)


def world_at(bench: Bench, seat: Seat, number: int) -> World:
    """The vehicle as it was before event `number`: as it came, with the work that was done until then."""
    hidden, events = seat.hidden, seat.play.events
    if sum(isinstance(each, Fitted) for each in events[:number]) == hidden.world.visits:
        return hidden.world
    world = hidden.first
    for at, event in enumerate(events[:number]):
        if isinstance(event, Fitted):
            network = bench.believed(seat.play.case_at(at)).network
            world = after_work(bench.tariff, network, world, event.jobs)
    return world


def believe(bench: Bench, seat: Seat, beliefs: Sequence[Belief]) -> Seat:
    """Say how sure one is; a place need not be said where there is only one. Raises UsageError for what is no fault of
    this engine, or no chance."""
    play, said = _running(seat), []
    versions, engine = bench.bare().layout.versions, bench.start.engine
    for each in beliefs:
        known = bench.knowledge.components.get(each.component)
        if known is None or not known.fault:
            faults = [name for name, entry in bench.knowledge.components.items() if entry.fault]
            raise UsageError(f"there is no fault '{each.component}'; {did_you_mean(each.component, faults, most=30)}")
        only = bench.tariff.places(known.per)
        place = only[0] if each.place is None and len(only) == 1 else each.place
        fault = place_fault(engine, known.per, place)
        if fault is not None:
            raise UsageError(f"{each.component}: {fault[0]}; {fault[1]}")
        if (each.component, place) not in versions:
            raise UsageError(f"this engine has no '{each.component}' at {place_words(place)}")
        if not 0.0 <= each.chance <= 1.0:
            raise UsageError(f"a chance lies between 0 and 100 %, not at {100 * each.chance:g} %")
        said.append(replace(each, place=place))
    if not said:
        raise UsageError("this does not say how sure you are of what")
    return replace(seat, play=_with(play, Believed(tuple(said))))


def decide(bench: Bench, seat: Seat, jobs: Sequence[Job], words: str) -> Seat:
    """End the case with a plan (no jobs: nothing now), and what the customer is told. Raises UsageError for no plan."""
    play = _running(seat)
    _refuse_exchanges(bench.knowledge, jobs)
    every = full_jobs(bench, jobs)
    ways = [job for job in every if bench.knowledge.repairs[job.repair].kind == "way out"]
    if ways and (len(every) > 1 or ways[0].place is not None):
        name = bench.knowledge.repairs[ways[0].repair].name
        fault = "is a plan of its own; name nothing beside it" if ways[0].place is None else "ends no practice case"
        raise UsageError(f"'{name}' {fault}")
    if every and realised_now(bench, seat, every) is None:
        raise UsageError("these works cannot be done together as one plan; name fewer")
    return replace(seat, play=_with(play, Decided(every, words.strip())))


def _refuse_exchanges(knowledge: Knowledge, jobs: Sequence[Job]) -> None:
    """Raise UsageError for work that only moves things about: what it tells is asked for as a check."""
    for repair in (knowledge.repairs[job.repair] for job in jobs):
        if repair.kind == "exchange":
            tells = set(repair.stands_for)
            checks = [name for name, each in knowledge.checks.items() if tells & {told.item for told in each.yields}]
            instead = f"; ask for the check '{checks[0]}' instead" if checks else ""
            raise UsageError(f"'{repair.name}' mends nothing, and is no work to be fitted or planned here{instead}")


def realised_now(bench: Bench, seat: Seat, jobs: Sequence[Job]) -> float | None:
    """What a plan comes to on the vehicle as it is now, in money; none where it is no plan."""
    ready = bench.priced(seat.play.case_at(), jobs)
    found = realised(ready, jobs, bench.vehicle(ready.network, seat.hidden.world))  # type: ignore[arg-type]
    return None if found is None else found.total


def full_jobs(bench: Bench, jobs: Sequence[Job]) -> tuple[Job, ...]:
    """Jobs, each once, with what must follow; one that renews nothing which the others do not is left out."""
    tariff, kept = bench.tariff, list(dict.fromkeys(jobs))
    for job in dict.fromkeys(jobs):
        others = {each for other in kept if other != job for each in tariff.with_followers(other)}
        renewed = tariff.renewed(job)
        if renewed and renewed <= frozenset().union(*(tariff.renewed(each) for each in others)):
            kept.remove(job)
    return tuple(dict.fromkeys(each for job in kept for each in tariff.with_followers(job)))


def complaint_of(bench: Bench) -> tuple[Question, ...]:
    """The symptoms with which the customer came."""
    told, findings = bench.start.epochs[-1].answers, bench.knowledge.findings
    return tuple(
        (each.item, each.place, each.condition)
        for each in told
        if each.answer == PRESENT and findings[each.item].kind == SYMPTOM
    )


def questions_left(bench: Bench, case: Case, check: str, place: Place) -> tuple[Question, ...]:
    """What a check at a place could still tell since the last work: (item, place, condition)."""
    latest = case.epochs[-1]
    told = {(a.item, a.place, a.condition) for a in latest.answers if a.answer != NOT_SURE}
    told |= {(m.item, m.place, m.condition) for m in latest.measured}
    return tuple(each for each in items_of(bench.knowledge, bench.tariff, check, place) if each not in told)


def told_by(
    bench: Bench, case: Case, hidden: HiddenTruth, levels: Mapping[Key, int], question: Question, times: int
) -> Answer | Measured | None:
    """As it was written or recorded, while no work reaches what it shows; else as the vehicle has it. `times`: as in
    `answer`."""
    if question in hidden.scripted and _unreached(bench, case, question):
        return hidden.scripted[question]
    return answer(bench.knowledge, bench.start.engine, hidden.world, levels, question, times)


def _running(seat: Seat) -> Play:
    if seat.play.ended:
        raise UsageError("this case has ended; its debrief shows every step")
    return seat.play


def _with(play: Play, event: Event) -> Play:
    return replace(play, events=(*play.events, event))


def _check_place(knowledge: Knowledge, case: Case, check: str, place: Place) -> None:
    if check not in knowledge.checks:
        raise UsageError(f"there is no check '{check}'; {did_you_mean(check, knowledge.checks) or 'see the list'}")
    fault = place_fault(case.engine, knowledge.checks[check].covers, place)
    if fault is not None:
        raise UsageError(f"{check}: {fault[0]}; {fault[1]}")


def _unreached(bench: Bench, case: Case, question: Question) -> bool:
    """Whether what a question shows is still as the vehicle came; of readings that share a shift, at all cylinders."""
    if len(case.epochs) == len(bench.start.epochs):
        return True
    item, place, _ = question
    reading = bench.knowledge.readings.get(item)
    shared = reading is not None and reading.shift is not None
    targets = bench.believed(case).network.targets
    keys = [key_of(bench.knowledge, Asks(item, each)) for each in (case.engine.cylinders if shared else (place,))]
    standing = [targets.standing(key) for key in keys]
    return all(each[-1] == each[len(bench.start.epochs) - 1] for each in standing)
