"""Goes through all closed cases once: expected counts given all that was told, and given the complaint, summed up.

Cases of one shape, of which the same degrees of the vehicle were asked, are done in batches; within a batch plates that
are alike are done once (`inference.pooled`), and so are cases that are alike in all things. Batches may be shared among
processes, or a cluster. Where each case is needed by itself, those of a large book are sampled (see `sampling`). May
import: `diag.basics`, `diag.casebook`, `diag.crew`, `diag.knowledge_base`, `diag.network`, numpy, and within the room
what is below.
"""

from __future__ import annotations

import multiprocessing
import pickle
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from types import TracebackType

import numpy as np
from msgspec import structs

from diag.basics import CaseError, ImpossibleEvidence, TooLarge, let_go, unheard_interrupts
from diag.casebook import Answer, Case
from diag.crew import ONE_AT_A_TIME, Crew, crew_of, unpacked
from diag.inference import Array
from diag.knowledge_base import Knowledge, Mixture
from diag.learning.counting import Seen, Told, count
from diag.learning.figures import is_chance
from diag.learning.lessons import Known, Lesson, Trust, complaint_of, known_of
from diag.learning.sampling import ENOUGH, LARGE, sampled
from diag.learning.shared_shifts import own_width
from diag.learning.spreads import Taken, spread_scores
from diag.network import FigurePath, Likelihoods, Question, alike, key_of, shape_of, told_of

__all__ = ["Sweep", "Sweeper"]

AT_ONCE = 4096
MOST_SHIFTED = 1500  # cases of which readings with a shift are looked at: each must then be gone through by itself


@dataclass
class Sweep:
    """Sums over cases: `true[figure]`, `used[figure]` given all, `..._before` given the complaint alone,
    `information[figure, figure]` the products of scores."""

    true: Array
    used: Array
    true_before: Array
    used_before: Array
    information: Array
    seen: list[Seen] = field(default_factory=list)
    log_likelihood: float = 0.0
    cases: int = 0
    left_out: tuple[int, ...] = ()
    readings_left_out: int = 0
    weights: dict[FigurePath, float] = field(default_factory=dict)
    failures: dict[FigurePath, float] = field(default_factory=dict)

    @classmethod
    def empty(cls, figures: int) -> Sweep:
        """Nothing yet."""
        one, two, three, four = np.zeros((4, figures))
        return cls(one, two, three, four, np.zeros((figures, figures)))

    def add(self, other: Sweep) -> None:
        """Add the sums of other cases."""
        for name in ("true", "used", "true_before", "used_before", "information"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.seen += other.seen
        self.log_likelihood += other.log_likelihood
        self.cases += other.cases
        self.left_out += other.left_out
        self.readings_left_out += other.readings_left_out

    def reading_weight(self, path: FigurePath) -> float:
        """How many readings, in expectation, were taken at a level of what they show."""
        return self.weights.get(path[:-1], 0.0)


@dataclass(frozen=True)
class _Ready:
    """A case made ready for its batch, how many are like it, and for how many it stands where it was sampled."""

    number: int
    case: Case
    told: Mapping[Question, Told]
    complaint: Mapping[Question, Told]
    shifted: Mapping[Question, Told]
    known: Known
    shape: int
    times: float = 1.0
    stands_for: float | None = None


@dataclass(frozen=True)
class _Work:
    """All that processes share; it never changes. `sample`: the cases that are gone through one by one where that is
    needed, all of them or such as stand for them; `others`: those that are not among them."""

    batches: tuple[tuple[_Ready, ...], ...]
    sample: tuple[tuple[_Ready, ...], ...]
    others: tuple[tuple[_Ready, ...], ...]
    index: Mapping[FigurePath, int]

    def parts(self, information: bool) -> list[tuple[tuple[_Ready, ...], bool]]:
        """Batches, each with whether its cases are gone through one by one."""
        if not information:
            return [(batch, False) for batch in self.batches]
        return [(batch, True) for batch in self.sample] + [(batch, False) for batch in self.others]


_SHARED: dict[int, _Work] = {}


class Sweeper:
    """Cases ready to be gone through again and again; use it with `with`."""

    def __init__(
        self,
        knowledge: Knowledge,
        lessons: Sequence[Lesson],
        index: Mapping[FigurePath, int],
        trust: Trust,
        processes: int,
        age_step: float,
        cluster: str = "",
    ) -> None:
        self.index, self.left_out, self.readings_left_out = index, list[int](), 0
        batches = self._batches(knowledge, lessons, trust, age_step)
        self.key = id(self)
        _SHARED[self.key] = _Work(batches, *_sample(batches), index)
        self.pool: ProcessPoolExecutor | None = None
        self.crew: Crew | None = None
        self.open = ExitStack()
        if cluster:
            packed = pickle.dumps(_SHARED[self.key], pickle.HIGHEST_PROTOCOL)
            self.crew = self.open.enter_context(crew_of(packed, 0, cluster))
        elif processes > 1 and len(batches) > 1 and "fork" in multiprocessing.get_all_start_methods():
            self.pool = ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("fork"))

    def __enter__(self) -> Sweeper:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        _SHARED.pop(self.key, None)
        if self.pool is not None and kind is not None:
            let_go(self.pool)
        elif self.pool is not None:
            self.pool.shutdown()
        self.open.close()

    def sweep(self, knowledge: Knowledge, information: bool = False) -> Sweep:
        """Go through all cases with these figures; with the products of their scores, which takes longer."""
        work = _SHARED[self.key]
        total = self._through(knowledge, work, information)
        total.left_out += tuple(self.left_out)
        total.readings_left_out = self.readings_left_out
        for path, number in work.index.items():
            if path[2:] == ("life", "both"):
                total.failures[path[:-1]] = float(max(total.used[number], total.used_before[number]))
        for seen in total.seen:
            for level, name in enumerate(knowledge.readings[seen.item].spread):
                path = ("readings", seen.item, "spread", name)
                total.weights[path] = total.weights.get(path, 0.0) + float(seen.weights[level])
        return total

    def _through(self, knowledge: Knowledge, work: _Work, information: bool) -> Sweep:
        total = Sweep.empty(len(self.index))
        parts = range(len(work.parts(information)))
        found: Iterator[Sweep]
        if self.crew is not None:
            packed = pickle.dumps(knowledge, pickle.HIGHEST_PROTOCOL)
            by_job = dict(self.crew.each(_there, [_Job(packed, part, information) for part in parts]))
            found = (by_job[each] for each in sorted(by_job, key=lambda job: job.part))  # sums go in the same order
        elif self.pool is None:
            found = (_batch(self.key, knowledge, part, information) for part in parts)
        else:
            count = len(parts)
            with unheard_interrupts():
                found = self.pool.map(_batch, [self.key] * count, [knowledge] * count, parts, [information] * count)
        for each in found:
            total.add(each)
        return total

    def _batches(
        self, knowledge: Knowledge, lessons: Sequence[Lesson], trust: Trust, age_step: float
    ) -> tuple[tuple[_Ready, ...], ...]:
        shapes: dict[object, list[Lesson]] = {}
        for lesson in lessons:
            rounded = replace(lesson, case=_rounded(lesson.case, age_step))
            shapes.setdefault(shape_of(knowledge, lesson.case), []).append(rounded)
        batches: list[tuple[_Ready, ...]] = []
        shared = _Shared()
        for shape, some in enumerate(shapes.values()):
            network = alike(knowledge, [some[0].case]).network
            groups: dict[frozenset[str], dict[object, _Ready]] = {}
            for lesson in some:
                try:
                    told = told_of(knowledge, lesson.case, network)
                except CaseError:
                    self.left_out.append(lesson.number)
                    continue
                self.readings_left_out += len(told.left_out)
                known = known_of(knowledge, network, lesson, trust)
                ready = _Ready(
                    lesson.number,
                    lesson.case,
                    shared.questions(told.questions),
                    shared.questions(complaint_of(knowledge, network, lesson.case)),
                    shared.questions(told.shifted),
                    known,
                    shape,
                )
                heard = frozenset(key_of(knowledge, q)[0] for q in told.questions if q.place is None)
                same = groups.setdefault(heard, {})
                name = _name(ready)
                same[name] = replace(same[name], times=same[name].times + 1) if name in same else ready
            for members in groups.values():
                everyone = list(members.values())
                everyone.sort(key=lambda ready: (ready.case.distance_km or 0.0, ready.case.age_years or 0.0))
                batches += [tuple(everyone[first : first + AT_ONCE]) for first in range(0, len(everyone), AT_ONCE)]
        return tuple(sorted(_thinned(batches), key=len, reverse=True))


def _thinned(batches: Sequence[tuple[_Ready, ...]]) -> list[tuple[_Ready, ...]]:
    """Readings with a shift are left to every so manieth case that has some, so that few enough are."""
    some = sorted(ready.number for batch in batches for ready in batch if ready.shifted)
    kept = set(some[:: max(1, -(-len(some) // MOST_SHIFTED))])
    return [
        tuple(ready if ready.number in kept or not ready.shifted else replace(ready, shifted={}) for ready in batch)
        for batch in batches
    ]


def _rounded(case: Case, step: float) -> Case:
    """Distance and age rounded to steps of a share of themselves."""
    if step <= 0:
        return case

    def near(value: float | None) -> float | None:
        return None if value is None or value <= 0 else float(np.exp(round(np.log(value) / step) * step))

    return replace(case, distance_km=near(case.distance_km), age_years=near(case.age_years))


class _Shared:
    """What was told alike in many cases is one object, so that it is looked into once."""

    def __init__(self) -> None:
        self.held: dict[object, Told] = {}

    def questions(self, told: Mapping[Question, Told]) -> Mapping[Question, Told]:
        """The same, of objects that are shared."""
        return {question: self.held.setdefault(tuple(items.items()), items) for question, items in told.items()}


_Batches = tuple[tuple[_Ready, ...], ...]


def _sample(batches: _Batches) -> tuple[_Batches, _Batches]:
    """Those that are gone through one by one, and the others."""
    if sum(map(len, batches)) <= LARGE:
        return batches, ()
    counted = sampled(
        batches, _marks, lambda ready: ready.times, lambda ready, times: replace(ready, stands_for=times), ENOUGH
    )
    taken = {ready.number for batch in counted for ready in batch}
    rest = (tuple(ready for ready in batch if ready.number not in taken) for batch in batches)
    return counted, tuple(batch for batch in rest if batch)


def _marks(ready: _Ready) -> Iterator[object]:
    """What may be rare about a case: its shape, what was told, wherever, and what is known of components."""
    yield ready.shape
    for told in (ready.told, ready.complaint, ready.shifted):
        for question, items in told.items():
            for each in (one for some in items.values() for one in some):
                yield question.item, question.condition, each.answer if isinstance(each, Answer) else ""
    for (key, _), likelihood in ready.known.items():
        yield key[0], int(np.argmax(likelihood))


def _known_name(known: Known) -> object:
    return frozenset((at, likelihood.tobytes()) for at, likelihood in known.items())


def _name(ready: _Ready) -> object:
    """Equal for cases that are alike in all things."""
    told = frozenset((question, id(items)) for some in (ready.told, ready.shifted) for question, items in some.items())
    return (
        told,
        _known_name(ready.known),
        frozenset(ready.complaint),
        ready.case.distance_km,
        ready.case.age_years,
        ready.case.history,
    )


@dataclass(frozen=True)
class _Job:
    """A batch for one of a cluster: the figures it is done with, packed, and which of the batches."""

    knowledge: bytes
    part: int
    information: bool


def _there(packed: bytes, job: _Job) -> Sweep:
    """The sums of one batch, on a cluster."""
    with ONE_AT_A_TIME:
        work: _Work = unpacked(packed)
        batch, apart = work.parts(job.information)[job.part]
        return _batch_of(unpacked(job.knowledge), work.index, batch, apart)


def _batch(key: int, knowledge: Knowledge, part: int, information: bool) -> Sweep:
    """The sums of one batch."""
    work = _SHARED[key]
    batch, apart = work.parts(information)[part]
    return _batch_of(knowledge, work.index, batch, apart)


def _batch_of(
    knowledge: Knowledge, index: Mapping[FigurePath, int], some: Sequence[_Ready], information: bool
) -> Sweep:
    members, found = list(some), Sweep.empty(len(index))
    while members:
        try:
            _add(found, knowledge, index, members, information)
            break
        except ImpossibleEvidence as error:
            found.left_out += tuple(members[case].number for case in error.cases)
            members = [each for case, each in enumerate(members) if case not in error.cases]
        except TooLarge:
            if len(members) == 1:
                found.left_out += (members[0].number,)
                break
            half = len(members) // 2
            found.add(_batch_of(knowledge, index, members[:half], information))
            found.add(_batch_of(knowledge, index, members[half:], information))
            break
    return found


def _add(
    found: Sweep, knowledge: Knowledge, index: Mapping[FigurePath, int], members: Sequence[_Ready], information: bool
) -> None:
    """Count a batch given all, and given the complaint: each complaint at an age once."""
    group = alike(knowledge, [each.case for each in members])
    made = Likelihoods(group.network)
    times = np.array([each.times for each in members], dtype=np.float64)
    told, known = [each.told for each in members], [each.known for each in members]
    shifted = [each.shifted for each in members] if any(each.shifted for each in members) else []
    after = count(group, index, told, known, made, times, information, shifted)
    names: dict[object, int] = {}
    first: list[int] = []
    places = []
    for number, each in enumerate(members):
        name = (frozenset(each.complaint), each.case.distance_km, each.case.age_years, each.case.history)
        if name not in names:
            names[name] = len(first)
            first.append(number)
        places.append(names[name])
    smaller = structs.replace(group, used={at: used[first] for at, used in group.used.items()})
    often = np.bincount(places, times).astype(np.float64)
    complaints = [members[number].complaint for number in first]
    before = count(smaller, index, complaints, [{}] * len(first), made, often, information)
    found.log_likelihood = float(times @ (after.log_evidence - before.log_evidence[places]))
    found.cases = int(times.sum())
    if not information:
        found.true, found.used = after.true[0], after.used[0]
        found.true_before, found.used_before = before.true[0], before.used[0]
        found.seen = list(after.seen)
        return
    found.true, found.used = times @ after.true, times @ after.used
    found.true_before, found.used_before = often @ before.true, often @ before.used
    values = np.array([_value(knowledge, path) if is_chance(path) else 0.0 for path in index])
    scores = after.true - before.true[places] - values * (after.used - before.used[places])
    _add_readings(scores, knowledge, index, after.seen)
    stand_for = np.array([each.times if each.stands_for is None else each.stands_for for each in members])
    found.information = (scores * stand_for[:, None]).T @ scores
    found.seen = [replace(each, weights=each.weights * times[each.case]) for each in after.seen]


def _add_readings(scores: Array, knowledge: Knowledge, index: Mapping[FigurePath, int], seen: Sequence[Seen]) -> None:
    """Put the scores of middles (in widths) and of widths (of their logarithm) into their places."""
    for item in dict.fromkeys(each.item for each in seen):
        some = [each for each in seen if each.item == item]
        cases = np.array([each.case for each in some])
        value, error = np.array([each.value for each in some]), np.array([each.error for each in some])
        for level, (name, law) in enumerate(knowledge.readings[item].spread.items()):
            weights = np.array([each.weights[level] for each in some])
            if isinstance(law, Mixture):
                continue
            width = own_width(knowledge.readings[item], law.width.value)
            if width <= 0:
                continue
            share = width / law.width.value
            by_middle, by_width = spread_scores(law, law.middle.value, width, Taken(value, error, weights))
            for which, by_reading in (("middle", by_middle / share), ("width", by_width / share**2)):
                path = ("readings", item, "spread", name, which)
                if path in index:
                    np.add.at(scores[:, index[path]], cases, by_reading)


def _value(knowledge: Knowledge, path: FigurePath) -> float:
    """A figure's value at a path."""
    at: object = getattr(knowledge, path[0])
    for step in path[1:]:
        at = at[step] if isinstance(at, dict) else getattr(at, step)
    return float(getattr(at, "value"))  # noqa: B009
