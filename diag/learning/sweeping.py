"""Goes through all closed cases once: expected counts given all that was told, and given the complaint, summed up.

Cases of one shape and age, of which the same degrees of the vehicle were asked and the same was known of components in
the end, are done in batches, since what differs within a batch costs time; cases that are alike in
all things are done once and count as many. Batches may be shared among processes. May import: `diag.basics`,
`diag.knowledge_base`, `diag.network`, numpy, and within the room what is below.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from types import TracebackType

import numpy as np

from diag.basics import CaseError, ImpossibleEvidence, TooLarge
from diag.casebook import Case
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.learning.counting import Counts, Seen, Told, count
from diag.learning.lessons import Known, Lesson, Trust, complaint_of, known_of
from diag.learning.spreads import Taken, spread_scores
from diag.network import Alike, FigurePath, Likelihoods, Question, alike, key_of, shape_of, told_of

__all__ = ["Sweep", "Sweeper"]

AT_ONCE = 128


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
    shapes: dict[FigurePath, float] = field(default_factory=dict)

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
    """A case made ready for its batch, and how many are like it."""

    number: int
    case: Case
    told: Mapping[Question, Told]
    complaint: Mapping[Question, Told]
    known: Known
    shape: int
    times: int = 1


@dataclass(frozen=True)
class _Before:
    """Counts of one case given its complaint: `true[figure]`, `used[figure]`, and the logarithm of its probability."""

    true: Array
    used: Array
    log_evidence: float


_Complaints = dict[object, _Before]
_KNOWN: list[tuple[Knowledge, _Complaints, dict[object, Alike]]] = []


def _complaints(knowledge: Knowledge) -> _Complaints:
    """What this process worked out already under these very figures."""
    if not _KNOWN or _KNOWN[0][0] is not knowledge:
        _KNOWN[:] = [(knowledge, {}, {})]
    return _KNOWN[0][1]


def _group(knowledge: Knowledge, members: Sequence[_Ready]) -> Alike:
    """The network of the cases of a batch, which agree in shape and age; made once a pass for each of these."""
    _complaints(knowledge)
    first, made = members[0], _KNOWN[0][2]
    name = (first.shape, first.case.distance_km, first.case.age_years, first.case.history)
    if name not in made:
        made[name] = alike(knowledge, [first.case])
    one = made[name]
    return replace(one, used={at: np.repeat(used, len(members), axis=0) for at, used in one.used.items()})


@dataclass(frozen=True)
class _Work:
    """All that processes share; it never changes."""

    batches: tuple[tuple[_Ready, ...], ...]
    index: Mapping[FigurePath, int]
    scales: Mapping[int, float]


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
    ) -> None:
        self.index, self.left_out, self.readings_left_out = index, list[int](), 0
        batches = self._batches(knowledge, lessons, trust, age_step)
        self.shapes: dict[FigurePath, float] = {
            ("components", name, "life", "scale"): known.life.shape.value
            for name, known in knowledge.components.items()
            if known.life is not None
        }
        scales = {index[path]: shape for path, shape in self.shapes.items() if path in index}
        self.key = id(self)
        _SHARED[self.key] = _Work(batches, index, scales)
        self.pool: ProcessPoolExecutor | None = None
        if processes > 1 and len(batches) > 1 and "fork" in multiprocessing.get_all_start_methods():
            self.pool = ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("fork"))

    def __enter__(self) -> Sweeper:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        _SHARED.pop(self.key, None)
        _KNOWN.clear()
        if self.pool is not None:
            self.pool.shutdown()

    def sweep(self, knowledge: Knowledge) -> Sweep:
        """Go through all cases with these figures."""
        work = _SHARED[self.key]
        total = Sweep.empty(len(self.index))
        parts = range(len(work.batches))
        if self.pool is None:
            found: Iterator[Sweep] = (_batch(self.key, knowledge, part) for part in parts)
        else:
            share = max(1, len(work.batches) // 16)
            cuts = [list(parts[first : first + share]) for first in range(0, len(work.batches), share)]
            found = self.pool.map(_several, [self.key] * len(cuts), [knowledge] * len(cuts), cuts)
        for each in found:
            total.add(each)
        total.left_out += tuple(self.left_out)
        total.readings_left_out = self.readings_left_out
        total.shapes = dict(self.shapes)
        for seen in total.seen:
            for level, name in enumerate(knowledge.readings[seen.item].spread):
                path = ("readings", seen.item, "spread", name)
                total.weights[path] = total.weights.get(path, 0.0) + float(seen.weights[level])
        return total

    def _batches(
        self, knowledge: Knowledge, lessons: Sequence[Lesson], trust: Trust, age_step: float
    ) -> tuple[tuple[_Ready, ...], ...]:
        shapes: dict[object, list[Lesson]] = {}
        for lesson in lessons:
            rounded = replace(lesson, case=_rounded(lesson.case, age_step))
            shapes.setdefault(shape_of(knowledge, lesson.case), []).append(rounded)
        batches: list[tuple[_Ready, ...]] = []
        for shape, some in enumerate(shapes.values()):
            network = alike(knowledge, [some[0].case]).network
            groups: dict[object, dict[object, _Ready]] = {}
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
                    told.questions,
                    complaint_of(knowledge, network, lesson.case),
                    known,
                    shape,
                )
                heard = frozenset(key_of(knowledge, q)[0] for q in told.questions if q.place is None)
                age = (lesson.case.distance_km, lesson.case.age_years, lesson.case.history)
                same = groups.setdefault((heard, age, _known_name(known)), {})
                name = _name(ready)
                same[name] = replace(same[name], times=same[name].times + 1) if name in same else ready
            for members in groups.values():
                everyone = list(members.values())
                batches += [tuple(everyone[first : first + AT_ONCE]) for first in range(0, len(everyone), AT_ONCE)]
        return tuple(batches)


def _rounded(case: Case, step: float) -> Case:
    """Distance and age rounded to steps of a share of themselves."""
    if step <= 0:
        return case

    def near(value: float | None) -> float | None:
        return None if value is None or value <= 0 else float(np.exp(round(np.log(value) / step) * step))

    return replace(case, distance_km=near(case.distance_km), age_years=near(case.age_years))


def _known_name(known: Known) -> object:
    return frozenset((at, likelihood.tobytes()) for at, likelihood in known.items())


def _name(ready: _Ready) -> object:
    """Equal for cases that are alike in all things."""
    told = frozenset((q, tuple(sorted((v, items) for v, items in t.items()))) for q, t in ready.told.items())
    return (
        told,
        _known_name(ready.known),
        frozenset(ready.complaint),
        ready.case.distance_km,
        ready.case.age_years,
        ready.case.history,
    )


def _several(key: int, knowledge: Knowledge, parts: Sequence[int]) -> Sweep:
    total = Sweep.empty(len(_SHARED[key].index))
    for part in parts:
        total.add(_batch(key, knowledge, part))
    return total


def _batch(key: int, knowledge: Knowledge, part: int) -> Sweep:
    """The sums of one batch."""
    work = _SHARED[key]
    members, found = list(work.batches[part]), Sweep.empty(len(work.index))
    while members:
        group = _group(knowledge, members)
        made = Likelihoods(group.network)
        try:
            after = count(group, work.index, [each.told for each in members], [each.known for each in members], made)
            before = _before(group, work.index, members, made, _complaints(knowledge))
            break
        except ImpossibleEvidence as error:
            found.left_out += tuple(members[case].number for case in error.cases)
            members = [each for case, each in enumerate(members) if case not in error.cases]
        except TooLarge:
            found.left_out += tuple(each.number for each in members)
            return found
    if members:
        _add(found, knowledge, work, members, after, before)
    return found


def _before(
    group: Alike, index: Mapping[FigurePath, int], members: Sequence[_Ready], made: Likelihoods, known: _Complaints
) -> list[_Before]:
    """Counts of each case given the complaint alone; each complaint at an age is worked out once a pass."""
    names = [
        (each.shape, frozenset(each.complaint), each.case.distance_km, each.case.age_years, each.case.history)
        for each in members
    ]
    missing = {name: number for number, name in enumerate(names) if name not in known}
    if missing:
        chosen = list(missing.values())
        smaller = replace(group, used={at: used[chosen] for at, used in group.used.items()})
        told = [members[number].complaint for number in chosen]
        counts = count(smaller, index, told, [{}] * len(chosen), made)
        for row, name in enumerate(missing):
            known[name] = _Before(counts.true[row], counts.used[row], float(counts.log_evidence[row]))
    return [known[name] for name in names]


def _add(
    found: Sweep,
    knowledge: Knowledge,
    work: _Work,
    members: Sequence[_Ready],
    after: Counts,
    before: Sequence[_Before],
) -> None:
    times = np.array([each.times for each in members], dtype=np.float64)
    true, used = np.stack([each.true for each in before]), np.stack([each.used for each in before])
    found.true, found.used = times @ after.true, times @ after.used
    found.true_before, found.used_before = times @ true, times @ used
    values = np.zeros(len(work.index))
    for path, number in work.index.items():
        if path[0] in ("components", "findings") and number not in work.scales:
            values[number] = _value(knowledge, path)
    scores = after.true - true - values * (after.used - used)
    for number, shape in work.scales.items():
        scores[:, number] *= -shape
    _add_readings(scores, knowledge, work.index, after.seen)
    found.information = (scores * times[:, None]).T @ scores
    found.log_likelihood = float(times @ (after.log_evidence - [each.log_evidence for each in before]))
    found.cases = int(times.sum())
    found.seen = [replace(each, weights=each.weights * times[each.case]) for each in after.seen]


def _add_readings(scores: Array, knowledge: Knowledge, index: Mapping[FigurePath, int], seen: Sequence[Seen]) -> None:
    """Put the scores of middles (in widths) and of widths (of their logarithm) into their places."""
    for item in dict.fromkeys(each.item for each in seen):
        some = [each for each in seen if each.item == item]
        cases = np.array([each.case for each in some])
        value, error = np.array([each.value for each in some]), np.array([each.error for each in some])
        for level, (name, law) in enumerate(knowledge.readings[item].spread.items()):
            weights = np.array([each.weights[level] for each in some])
            if law.width.value <= 0:
                continue
            found = spread_scores(law, law.middle.value, law.width.value, Taken(value, error, weights))
            for which, by_reading in zip(("middle", "width"), found, strict=True):
                path = ("readings", item, "spread", name, which)
                if path in index:
                    np.add.at(scores[:, index[path]], cases, by_reading)


def _value(knowledge: Knowledge, path: FigurePath) -> float:
    """A figure's value at a path."""
    at: object = getattr(knowledge, path[0])
    for step in path[1:]:
        at = at[step] if isinstance(at, dict) else getattr(at, step)
    return float(getattr(at, "value"))  # noqa: B009
