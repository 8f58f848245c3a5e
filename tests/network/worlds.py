"""The exact answer for a tiny case by writing down every world, epoch by epoch: slow, and plain enough to trust.

Nothing here knows of versions, plates or effective likelihoods. Every quantity is a tuple with one entry an epoch: the
states of a component, the level of a severity, what a cause contributes. A uniform variable that persists (of a
finding, of a contribution to a vehicle severity) is cut at its breakpoints. Life and soft answers are not known here.
Where an exchange moved components, every way that each of them may be, and what it gives, is written down first.
May import: the records of `diag.knowledge_base` and `diag.casebook`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from math import prod
from statistics import NormalDist

from diag.basics import Place
from diag.casebook import Case
from diag.knowledge_base import Knowledge

__all__ = ["World", "Worlds"]

Levels = tuple[int, ...]  # by epoch
Thing = tuple[str, Place]
World = dict[Thing, Levels]
Weighted = list[tuple[World, float]]
Gift = tuple[tuple[Levels, ...], float]  # levels by epoch for each vehicle severity, and their chance

_GIFTS: dict[tuple[int, tuple[tuple[str, Levels], ...]], list[Gift]] = {}


@dataclass
class Worlds:
    """Every world of a case. `settled` fixes things: (id, place) -> (epoch, state or level)."""

    knowledge: Knowledge
    case: Case
    settled: Mapping[Thing, tuple[int, int]] = field(default_factory=dict)
    _touches: dict[tuple[Thing, int], str] = field(default_factory=dict)
    _tables: dict[tuple[str, str], list[list[float]]] = field(default_factory=dict)
    _held: World = field(default_factory=dict)  # states by epoch at a place, of components that exchanges moved
    _held_gifts: dict[tuple[str, Thing], Levels] = field(default_factory=dict)
    _spoke: dict[object, dict[tuple[Levels, ...], float]] = field(default_factory=dict)
    _drawn: dict[tuple[str, Thing, Levels], list[tuple[Levels, float]]] = field(default_factory=dict)

    def evidence(self) -> float:
        """Probability (density) of all that was told, with what is settled."""
        vehicle = [name for name, known in self.knowledge.severities.items() if known.per == "vehicle"]
        return sum(
            weight * moved * self._given(outside, vehicle)
            for outside, weight in self._grow([({}, 1.0)], self._reaching())
            for moved in self._exchanged(outside)
        )

    def _given(self, outside: World, vehicle: list[str]) -> float:
        """Probability of what was told, given the shared causes and all that exchanges moved."""
        direct: dict[tuple[Levels, ...], float] = {tuple(self._none() for _ in vehicle): 1.0}
        for plate in self._plates():
            direct = self._joined(direct, self._spoken_once(plate, outside, vehicle))
        direct = self._joined(direct, self._backgrounds(outside, vehicle))
        return sum(p * self._seen_above(outside, dict(zip(vehicle, x, strict=True))) for x, p in direct.items())

    # ---- components ----

    def _none(self) -> Levels:
        return (0,) * len(self.case.epochs)

    def _places(self, per: str) -> Sequence[Place]:
        engine = self.case.engine
        found: dict[str, Sequence[Place]] = {
            "cylinder": engine.cylinders,
            "bank": tuple(engine.banks),
            "vehicle": (None,),
        }
        return found[per]

    def _reaching(self) -> list[Thing]:
        known = self.knowledge.components.items()
        return [(name, place) for name, one in known if one.reaches_cylinders for place in self._places(one.per)]

    def _plates(self) -> list[list[Thing]]:
        """Things that stand together: those of a cylinder, and each other one alone."""
        known = self.knowledge.components.items()
        cylinders: list[list[Thing]] = [
            [(name, n) for name, one in known if one.per == "cylinder"] for n in self.case.engine.cylinders
        ]
        alone: list[list[Thing]] = [
            [(name, place)]
            for name, one in known
            if one.per != "cylinder" and not one.reaches_cylinders
            for place in self._places(one.per)
        ]
        return [*cylinders, *alone]

    def _bears(self, above: Place, below: Place) -> bool:
        return (
            above is None or below is None or above == below or above == self._bank(below) or below == self._bank(above)
        )

    def _bank(self, place: Place) -> Place:
        return self.case.engine.bank_of(place) if isinstance(place, int) else None

    def _touch(self, thing: Thing, epoch: int) -> str:
        """What the work at the start of an epoch did."""
        if (thing, epoch) not in self._touches:
            self._touches[thing, epoch] = self._look_up_touch(thing, epoch)
        return self._touches[thing, epoch]

    def _look_up_touch(self, thing: Thing, epoch: int) -> str:
        found = ""
        for work in self.case.epochs[epoch].work:
            if self._bears(work.place, thing[1]) or (work.other is not None and self._bears(work.other, thing[1])):
                known = self.knowledge.repairs[work.repair]
                lapses = self.knowledge.components[thing[0]].lapses
                badly = thing[0] in (*known.renews, *known.disturbs, *known.moves) and any(
                    e in lapses for e in work.but
                )
                if thing[0] in known.renews or badly:
                    return "renewed"
                if thing[0] in known.disturbs and self.knowledge.components[thing[0]].disturbed:
                    found = "disturbed"
        return found

    def _prior(self, thing: Thing, epoch: int, touch: str, outside: World) -> list[float]:
        known = self.knowledge.components[thing[0]]
        given: dict[str, float] = {}
        for cause, by_state in known.given.items():
            for (name, place), levels in outside.items():
                if name == cause and self._bears(place, thing[1]):
                    state = list(self.knowledge.components[name].states)[levels[epoch]]
                    given.update({key: figure.value for key, figure in by_state.get(state, {}).items()})
        row = []
        for state in list(known.states)[1:]:
            usual = given.get(state, known.chance[state].value if state in known.chance else 0.0)
            fresh = max(given.get(state, 0.0), known.fresh[state].value if state in known.fresh else 0.0)
            loose = max(usual, known.disturbed[state].value if state in known.disturbed else 0.0)
            row.append({"": usual, "renewed": fresh, "disturbed": loose}[touch])
        whole = [1 - sum(row), *row]
        return self._badly(thing, epoch, whole) if touch == "renewed" else whole

    def _badly(self, thing: Thing, epoch: int, row: list[float]) -> list[float]:
        """Chances of the states when things were left undone at the work at the start of an epoch."""
        known = self.knowledge.components[thing[0]]
        told = {
            lapse
            for work in self.case.epochs[epoch].work
            if self._bears(work.place, thing[1]) or (work.other is not None and self._bears(work.other, thing[1]))
            for lapse in work.but
        }
        for name, lapse in known.lapses.items():
            if name in told:
                harm = [lapse.chance[state].value if state in lapse.chance else 0.0 for state in known.states]
                row = [one + (1 - sum(harm)) * p for one, p in zip(harm, row, strict=True)]
        return row

    def _loose(self, thing: Thing) -> list[float]:
        known = self.knowledge.components[thing[0]]
        row = [known.disturbed[state].value if state in known.disturbed else 0.0 for state in list(known.states)[1:]]
        return [1 - sum(row), *row]

    def _histories(self, thing: Thing, outside: World) -> Iterator[tuple[Levels, float]]:
        """States of a component by epoch; where no work touches it, it stays what it is."""
        if thing in self._held:
            if self._fits(thing, self._held[thing]):
                yield self._held[thing], 1.0
            return
        grown: list[tuple[Levels, float]] = [((), 1.0)]
        for epoch in range(len(self.case.epochs)):
            touch = self._touch(thing, epoch)
            if epoch and not touch:
                grown = [((*levels, levels[-1]), p) for levels, p in grown]
                continue
            row = self._prior(thing, epoch, touch, outside)
            if epoch and touch == "disturbed":  # what is unsound stays so, what is sound may suffer
                loose = self._loose(thing)
                ill = [((*levels, levels[-1]), p) for levels, p in grown if levels[-1]]
                well = [(levels, p) for levels, p in grown if not levels[-1]]
                grown = ill + [((*levels, state), p * q) for levels, p in well for state, q in enumerate(loose)]
                continue
            grown = [((*levels, state), p * row[state]) for levels, p in grown for state in range(len(row))]
        for levels, p in grown:
            if p > 0 and self._fits(thing, levels):
                yield levels, p

    def _fits(self, thing: Thing, levels: Levels) -> bool:
        epoch, wanted = self.settled.get(thing, (0, levels[0]))
        return levels[epoch] == wanted

    def _grow(self, worlds: Weighted, things: Sequence[Thing], outside: World | None = None) -> Weighted:
        for thing in things:
            worlds = [
                ({**world, thing: levels}, weight * p)
                for world, weight in worlds
                for levels, p in self._histories(thing, outside if outside is not None else world)
            ]
        return worlds

    # ---- what exchanges moved ----

    def _exchanged(self, outside: World) -> Iterator[float]:
        """Every way that the parts which exchanges moved may be; each is laid into `_held` with its probability."""
        moved = {
            name
            for told in self.case.epochs
            for work in told.work
            for name in self.knowledge.repairs[work.repair].moves
        }
        parts = [part for name in sorted(moved) for part in self._parts(name)]
        for lives in product(*(list(self._lives(name, path, outside)) for name, path in parts)):
            chance = 1.0
            states: dict[Thing, dict[int, int]] = defaultdict(dict)
            gifts: dict[tuple[str, Thing], dict[int, int]] = defaultdict(dict)
            for (name, path), (by_epoch, given, p) in zip(parts, lives, strict=True):
                chance *= p
                for place, (epoch, _) in enumerate(path):
                    where = (name, path[place][1])
                    states[where][epoch] = by_epoch[place]
                    for severity, levels in given.items():
                        gifts[severity, where][epoch] = levels[place]
            epochs = range(len(self.case.epochs))
            self._held = {where: tuple(told[epoch] for epoch in epochs) for where, told in states.items()}
            self._held_gifts = {key: tuple(told[epoch] for epoch in epochs) for key, told in gifts.items()}
            yield chance

    def _parts(self, name: str) -> list[tuple[str, list[tuple[int, Place]]]]:
        """Every part of a component that there was: the epochs in which it was somewhere, and where."""
        holds: dict[Place, list[tuple[int, Place]]] = {place: [(0, place)] for place in self.case.engine.cylinders}
        parts = list(holds.values())
        for epoch in range(1, len(self.case.epochs)):
            for work in self.case.epochs[epoch].work:
                if name in self.knowledge.repairs[work.repair].moves:
                    holds[work.place], holds[work.other] = holds[work.other], holds[work.place]
            for place in holds:
                if self._touch((name, place), epoch) == "renewed":
                    holds[place] = []
                    parts.append(holds[place])
                holds[place].append((epoch, place))
        return [(name, part) for part in parts]

    def _lives(
        self, name: str, path: list[tuple[int, Place]], outside: World
    ) -> Iterator[tuple[Levels, dict[str, Levels], float]]:
        """States and gifts along a part's path, and how probable they are."""
        start, place = path[0]
        grown: list[tuple[Levels, float]] = [
            ((state,), p)
            for state, p in enumerate(self._prior((name, place), start, "renewed" if start else "", outside))
        ]
        for epoch, where in path[1:]:
            if self._touch((name, where), epoch) == "disturbed":
                loose = self._loose((name, where))
                ill = [((*levels, levels[-1]), p) for levels, p in grown if levels[-1]]
                well = [(levels, p) for levels, p in grown if not levels[-1]]
                grown = ill + [((*levels, state), p * q) for levels, p in well for state, q in enumerate(loose)]
            else:
                grown = [((*levels, levels[-1]), p) for levels, p in grown]
        caused = [
            severity
            for severity, known in self.knowledge.severities.items()
            if known.per == "cylinder" and name in known.causes
        ]
        for levels, p in grown:
            for drawn in product(*(self._drawn_along(severity, name, levels) for severity in caused)):
                given = {severity: gives for severity, (gives, _) in zip(caused, drawn, strict=True)}
                chance = p
                for _, q in drawn:
                    chance *= q
                if chance > 0:
                    yield levels, given, chance

    def _drawn_along(self, severity: str, name: str, levels: Levels) -> list[tuple[Levels, float]]:
        rows = self._rows(severity, name)
        grown: list[tuple[Levels, float]] = [((), 1.0)]
        for place, state in enumerate(levels):
            if place and state == levels[place - 1]:
                grown = [((*gives, gives[-1]), p) for gives, p in grown]
            else:
                grown = [((*gives, level), p * q) for gives, p in grown for level, q in enumerate(rows[state])]
        return [(gives, p) for gives, p in grown if p > 0]

    # ---- severities ----

    def _row(self, severity: str, named: Mapping[str, object]) -> list[float]:
        row = [named[level].value if level in named else 0.0 for level in self.knowledge.severities[severity].levels]  # type: ignore[attr-defined]
        return [1 - sum(row[1:]), *row[1:]]

    def _rows(self, severity: str, cause: str) -> list[list[float]]:
        if (severity, cause) not in self._tables:
            self._tables[severity, cause] = self._look_up_rows(severity, cause)
        return self._tables[severity, cause]

    def _look_up_rows(self, severity: str, cause: str) -> list[list[float]]:
        known = self.knowledge.severities.get(cause)
        states = known.levels if known else list(self.knowledge.components[cause].states)
        table = self.knowledge.severities[severity].causes[cause]
        return [self._row(severity, table.get(state, {})) for state in states]

    def _local(self, severity: str, thing: Thing, levels: Levels) -> list[tuple[Levels, float]]:
        """What a component contributes to a cylinder's severity: drawn again when it is renewed, or falls ill."""
        if thing in self._held:
            return [(self._held_gifts[severity, thing], 1.0)]
        if (severity, thing, levels) not in self._drawn:
            self._drawn[severity, thing, levels] = self._draw(severity, thing, levels)
        return self._drawn[severity, thing, levels]

    def _draw(self, severity: str, thing: Thing, levels: Levels) -> list[tuple[Levels, float]]:
        rows = self._rows(severity, thing[0])
        grown: list[tuple[Levels, float]] = [((), 1.0)]
        for epoch, state in enumerate(levels):
            touch = self._touch(thing, epoch) if epoch else "new"
            if not touch or (touch == "disturbed" and state == levels[epoch - 1]):
                grown = [((*gives, gives[-1]), p) for gives, p in grown]
            else:
                grown = [((*gives, level), p * q) for gives, p in grown for level, q in enumerate(rows[state])]
        return [(gives, p) for gives, p in grown if p > 0]

    def _persisting(self, rows: Sequence[Sequence[float]], levels: Levels) -> Iterator[tuple[Levels, float]]:
        """What a source of these levels contributes by epoch, with one uniform variable for all epochs."""
        sums = [[sum(rows[level][: k + 1]) for k in range(len(rows[level]) - 1)] for level in levels]
        borders = sorted({0.0, 1.0, *(each for row in sums for each in row)})
        for low, high in pairwise(borders):
            u = (low + high) / 2
            yield tuple(sum(u > each for each in row) for row in sums), high - low

    def _spoken_once(self, plate: list[Thing], outside: World, vehicle: list[str]) -> dict[tuple[Levels, ...], float]:
        """As `_spoken`, remembered by all that it rests on."""
        held = tuple((thing, self._held[thing]) for thing in plate if thing in self._held)
        gifts = tuple((key, levels) for key, levels in self._held_gifts.items() if key[1] in plate)
        key = (tuple(plate), tuple(outside.items()), held, gifts)
        if key not in self._spoke:
            self._spoke[key] = self._spoken(plate, outside, vehicle)
        return self._spoke[key]

    def _spoken(self, plate: list[Thing], outside: World, vehicle: list[str]) -> dict[tuple[Levels, ...], float]:
        """What a plate contributes to each vehicle severity, weighed by what was found on the plate itself."""
        worlds = self._grow([({}, 1.0)], plate, outside)
        place = plate[0][1]
        if isinstance(place, int):
            for name, known in self.knowledge.severities.items():
                if known.per == "cylinder":
                    worlds = self._with_severity(worlds, (name, place), outside)
        speaking = {cause for name in vehicle for cause in self.knowledge.severities[name].causes}
        alike: dict[tuple[tuple[Thing, Levels], ...], float] = defaultdict(float)
        for world, weight in worlds:
            heard = tuple((thing, levels) for thing, levels in world.items() if thing[0] in speaking)
            alike[heard] += weight * self._seen(world)
        spoken: dict[tuple[Levels, ...], float] = defaultdict(float)
        for heard, weight in alike.items():
            if weight > 0:
                for gifts, p in self._remembered(heard, vehicle):
                    spoken[gifts] += weight * p
        return spoken

    def _remembered(self, heard: tuple[tuple[Thing, Levels], ...], vehicle: list[str]) -> list[Gift]:
        key = (id(self.knowledge), tuple((thing[0], levels) for thing, levels in heard))
        if key not in _GIFTS:
            _GIFTS[key] = list(self._gifts(dict(heard), vehicle))
        return _GIFTS[key]

    def _with_severity(self, worlds: Weighted, thing: Thing, outside: World) -> Weighted:
        severity, place = self.knowledge.severities[thing[0]], thing[1]
        grown = [
            ({**world, thing: (level,) * len(self.case.epochs)}, weight * p)
            for world, weight in worlds
            for level, p in enumerate(self._row(thing[0], severity.background))
        ]
        for cause in severity.causes:
            merged: dict[tuple[tuple[Thing, Levels], ...], float] = defaultdict(float)
            for world, weight in grown:
                sources = [s for s in {**outside, **world} if s[0] == cause and self._bears(s[1], place)]
                gifts = [self._local(thing[0], s, {**outside, **world}[s]) for s in sources]
                for joint in product(*gifts):
                    level = world[thing]
                    p = weight
                    for gives, q in joint:
                        level, p = tuple(map(max, level, gives)), p * q
                    merged[tuple({**world, thing: level}.items())] += p
            grown = [(dict(key), p) for key, p in merged.items()]
        return [(world, p) for world, p in grown if p > 0 and self._fits(thing, world[thing])]

    def _gifts(self, world: World, vehicle: list[str]) -> Iterator[tuple[tuple[Levels, ...], float]]:
        found: dict[tuple[Levels, ...], float] = {tuple(self._none() for _ in vehicle): 1.0}
        for number, name in enumerate(vehicle):
            for cause in self.knowledge.severities[name].causes:
                for thing, levels in world.items():
                    if thing[0] == cause:
                        gifts = list(self._persisting(self._rows(name, cause), levels))
                        found = self._joined(found, self._sum(number, gifts, vehicle))
        yield from found.items()

    def _alone(self, number: int, levels: Levels, vehicle: list[str]) -> tuple[Levels, ...]:
        return tuple(levels if place == number else self._none() for place in range(len(vehicle)))

    def _sum(
        self, number: int, gifts: Sequence[tuple[Levels, float]], vehicle: list[str]
    ) -> dict[tuple[Levels, ...], float]:
        found: dict[tuple[Levels, ...], float] = defaultdict(float)
        for levels, p in gifts:
            found[self._alone(number, levels, vehicle)] += p
        return found

    def _joined(
        self, one: Mapping[tuple[Levels, ...], float], other: Mapping[tuple[Levels, ...], float]
    ) -> dict[tuple[Levels, ...], float]:
        found: dict[tuple[Levels, ...], float] = defaultdict(float)
        for x, p in one.items():
            for y, q in other.items():
                if p * q > 0:
                    found[tuple(tuple(map(max, a, b)) for a, b in zip(x, y, strict=True))] += p * q
        return found

    def _backgrounds(self, outside: World, vehicle: list[str]) -> dict[tuple[Levels, ...], float]:
        found = dict(self._gifts(outside, vehicle))
        for number, name in enumerate(vehicle):
            row = self._row(name, self.knowledge.severities[name].background)
            gifts = [((level,) * len(self.case.epochs), p) for level, p in enumerate(row)]
            found = self._joined(found, self._sum(number, gifts, vehicle))
        return found

    # ---- what was told ----

    def _seen_above(self, outside: World, direct: Mapping[str, Levels]) -> float:
        """Likelihood of what was told of shared causes and of vehicle severities, the chain counted in."""
        worlds: Weighted = [({}, 1.0)]
        for name, x in direct.items():
            grown: Weighted = [({**world, (name, None): x}, weight) for world, weight in worlds]
            for cause in self.knowledge.severities[name].causes:
                if cause in direct:
                    grown = [
                        ({**world, (name, None): tuple(map(max, world[name, None], gives))}, weight * p)
                        for world, weight in grown
                        for gives, p in self._persisting(self._rows(name, cause), world[cause, None])
                    ]
            worlds = [(world, weight) for world, weight in grown if self._fits((name, None), world[name, None])]
        return self._seen(outside) * sum(weight * self._seen(world) for world, weight in worlds)

    def _seen(self, world: World) -> float:
        return self._answered(world) * self._measured(world)

    def _answered(self, world: World) -> float:
        """Likelihood of the answers about the things of this world: one uniform variable for each question, or with
        the chance `lasting` one for a finding under all conditions."""
        asked: dict[Thing, dict[str | None, dict[int, str]]] = defaultdict(lambda: defaultdict(dict))
        for epoch, told in enumerate(self.case.epochs):
            for answer in told.answers:
                asked[answer.item, answer.place][answer.condition][epoch] = answer.answer
        likelihood = 1.0
        for (item, place), by_condition in asked.items():
            known = self.knowledge.findings[item]
            if (known.shows, place) not in world:
                continue
            levels = world[known.shows, place]
            spans = [self._span(item, condition, levels, answers) for condition, answers in by_condition.items()]
            apart = prod(max(0.0, high - low) for low, high in spans)
            together = max(0.0, min(high for _, high in spans) - max(low for low, _ in spans))
            lasting = known.lasting.value if len(spans) > 1 else 0.0
            likelihood *= lasting * together + (1.0 - lasting) * apart
        return likelihood

    def _span(
        self, item: str, condition: str | None, levels: Levels, answers: Mapping[int, str]
    ) -> tuple[float, float]:
        """Between which numbers the uniform variable lies that brings these answers by epoch."""
        known = self.knowledge.findings[item]
        names = self.knowledge.severities.get(known.shows) or self.knowledge.components[known.shows]
        words = names.levels if known.shows in self.knowledge.severities else list(names.states)  # type: ignore[union-attr]
        table = {**known.chance, **known.under.get(condition, {})} if condition else known.chance  # type: ignore[call-overload]
        chance = {
            epoch: table[words[levels[epoch]]].value if words[levels[epoch]] in table else 0.0 for epoch in answers
        }
        low = max([chance[epoch] for epoch, word in answers.items() if word == "absent"], default=0.0)
        high = min([chance[epoch] for epoch, word in answers.items() if word == "present"], default=1.0)
        return low, high

    def _measured(self, world: World) -> float:
        """Likelihood of readings: normal spread and error, each reading in one epoch only."""
        likelihood = 1.0
        for epoch, told in enumerate(self.case.epochs):
            for measured in told.measured:
                known = self.knowledge.readings[measured.item]
                if (known.shows, measured.place) in world:
                    level = self.knowledge.severities[known.shows].levels[world[known.shows, measured.place][epoch]]
                    law = known.spread[level]
                    wide = (law.width.value**2 + known.instrument_error.value**2) ** 0.5
                    likelihood *= NormalDist(law.middle.value, wide).pdf(measured.value)
        return likelihood
