"""Cases made by wish. The same key, wish and number give the same case; who lacks the key cannot make it again.

Every draw of a case follows from one seed, and that is HMAC-SHA-256 (RFC 2104, FIPS 198-1) of the wish and the number
under the trainer's key: without the key a seed tells nothing about any other, and cannot be found from what a case
shows. May import: laboratory, network, casebook, knowledge_base, basics, numpy, and this room below it.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np

from diag.basics import Place, UsageError, did_you_mean, listed
from diag.casebook import PRESENT, Answer, Case, Epoch, Work, as_the_maker_numbers, place_fault
from diag.inference import infer
from diag.knowledge_base import Knowledge
from diag.laboratory import complaints
from diag.network import component_states
from diag.training.bench import Bench
from diag.training.difficulty import Difficulty, difficulty_of, obvious_guess
from diag.training.drawing import draw_world
from diag.training.records import HiddenTruth, Practice, TruthPart
from diag.training.worlds import SURELY, Key, World, answer

__all__ = ["LEAST_KEY", "Made", "Misleading", "Wish", "made", "seed_of"]

LEAST_KEY = 16  # bytes
MOST_TRIES = 24  # vehicles that are made and measured until one fits the wish
DISTANCES, KM_PER_YEAR = (60_000.0, 280_000.0), (12_000.0, 24_000.0)
TOLD_MORE = 0.5  # chance that the customer tells a second symptom where there is one
UNLISTED = ("unlisted", "cylinder_unlisted")
HISTORIES = (("reseal",), ("replace_injector", "write_code"), ("replace_filter",), ("replace_return_pipe",))
Misleading = Literal["", "little", "much"]


@dataclass(frozen=True)
class Wish:
    """What a case should be like; empty: as it comes. `fault`: a component, `state` and `place` of it; `faults`: how
    many (none: as many as there are on a vehicle with such a complaint); `complaint`: a symptom to start from;
    `history`: with earlier work; `grade` 1 to 5; `misleading`: whether the obvious guess is right (little), or wrong
    and more than twice as likely as the truth (much)."""

    engine: str
    fault: str = ""
    state: str = ""
    place: Place = None
    faults: int | None = None
    complaint: str = ""
    history: bool = False
    grade: int | None = None
    misleading: Misleading = ""

    @property
    def text(self) -> str:
        """The wish in one line, each part named."""
        return "|".join(f"{field.name}={getattr(self, field.name)}" for field in fields(self))


@dataclass(frozen=True)
class Made:
    """A made case; `difficulty` where it was measured, `tries`: how many vehicles were made until one fitted."""

    practice: Practice
    hidden: HiddenTruth
    difficulty: Difficulty | None
    tries: int


def seed_of(key: bytes, wish: Wish, number: int, attempt: int = 0) -> int:
    """The seed of a case. Raises UsageError for a key that could be guessed."""
    if len(key) < LEAST_KEY:
        raise UsageError(f"the trainer's key is shorter than {LEAST_KEY} bytes and could be guessed; make a new one")
    told = f"diag practice case|{wish.text}|{number}|{attempt}".encode()
    return int.from_bytes(hmac.digest(key, told, hashlib.sha256)[:16], "big")


def made(knowledge: Knowledge, wish: Wish, number: int, key: bytes, measure: bool = False) -> Made:
    """Make case `number` of a wish. `measure`: its difficulty too (always where the wish asks for a grade).

    Raises UsageError for a wish that makes no sense, and where no vehicle that fits it is found.
    """
    _check(knowledge, wish, number)
    for attempt in range(MOST_TRIES):
        seed = seed_of(key, wish, number, attempt)
        bench, practice, hidden = _one(knowledge, wish, number, seed)
        if wish.misleading and not _misleads(bench, hidden, wish.misleading):
            continue
        found = difficulty_of(bench, practice, hidden) if measure or wish.grade is not None else None
        if wish.grade is None or (found is not None and found.grade == wish.grade):
            grade = found.grade if found is not None else None
            return Made(replace(practice, grade=grade), hidden, found, attempt + 1)
    raise UsageError(
        f"none of {MOST_TRIES} vehicles made for case {number} is as wished; wish for less, or take another number"
    )


def _check(knowledge: Knowledge, wish: Wish, number: int) -> None:
    if wish.engine not in knowledge.engines:
        hint = did_you_mean(wish.engine, knowledge.engines, most=20)
        raise UsageError(f"there is no engine '{wish.engine}'; {hint}")
    faults = [name for name, known in knowledge.components.items() if known.fault]
    if wish.fault and wish.fault not in faults:
        raise UsageError(f"there is no fault '{wish.fault}'; {did_you_mean(wish.fault, faults, most=30)}")
    if wish.state and (not wish.fault or wish.state not in list(knowledge.components[wish.fault].states)[1:]):
        states = listed(list(knowledge.components[wish.fault].states)[1:]) if wish.fault else "named with its fault"
        raise UsageError(f"'{wish.state}' is no unsound state there; it can be {states}")
    if wish.place is not None:
        per = knowledge.components[wish.fault].per if wish.fault else "cylinder"
        problem = place_fault(knowledge.engines[wish.engine], per, wish.place)
        if not wish.fault or problem is not None:
            raise UsageError(f"a place goes with a fault: {'; '.join(problem or ('name the fault, too',))}")
    able = complaints(knowledge)
    if wish.complaint and wish.complaint not in able:
        raise UsageError(f"'{wish.complaint}' is no complaint; {did_you_mean(wish.complaint, able, most=20)}")
    if wish.faults is not None and not 1 <= wish.faults <= 4:
        raise UsageError("the number of faults lies between 1 and 4")
    if wish.grade is not None and not 1 <= wish.grade <= 5:
        raise UsageError("the grade lies between 1 (easy) and 5 (hard)")
    if number < 1:
        raise UsageError("cases are numbered from 1")


def _one(knowledge: Knowledge, wish: Wish, number: int, seed: int) -> tuple[Bench, Practice, HiddenTruth]:
    """One vehicle that has the faults and the complaint, whatever its grade."""
    random = np.random.default_rng([seed, 2])
    start = _vehicle(knowledge, wish, random)
    name = f"{wish.engine}-{number}"
    if wish.fault or wish.faults is not None:
        bench = Bench(knowledge, start)
        allowed = _faults(bench, wish, random)
        told = (Answer(wish.complaint, None, PRESENT),) if wish.complaint else ()
        world = draw_world(bench.bare(), allowed, told, seed)
        start, world = _complaining(bench, wish, world, random, allowed)
    else:
        symptom = wish.complaint or str(random.choice(complaints(knowledge)))
        start = replace(start, epochs=(Epoch(answers=(Answer(symptom, None, PRESENT),)),))
        world = draw_world(Bench(knowledge, start).bare(), {}, start.epochs[0].answers, seed)
    bench = Bench(knowledge, start)
    practice = Practice(name, "", start, "made", currency=knowledge.prices.currency)
    return bench, practice, HiddenTruth(_wrong(knowledge, world.states), world, world)


def _vehicle(knowledge: Knowledge, wish: Wish, random: np.random.Generator) -> Case:
    distance = round(float(random.uniform(*DISTANCES)) / 1000.0) * 1000.0
    age = round(distance / float(random.uniform(*KM_PER_YEAR)) * 2.0) / 2.0
    engine = knowledge.engines[wish.engine]
    history: tuple[Work, ...] = ()
    if wish.history:
        works = HISTORIES[int(random.integers(len(HISTORIES)))]
        cylinder = int(random.choice(engine.cylinders))
        months = float(random.integers(1, 30))
        history = tuple(
            Work(
                work,
                cylinder if knowledge.repairs[work].on == "cylinder" else None,
                km_ago=round(min(distance, months * 1500.0)),
                months_ago=months,
            )
            for work in works
            if work in knowledge.repairs
        )
    return Case(
        "", engine, wish.engine, distance_km=distance, age_years=max(age, 1.0), history=history,
        numbering=as_the_maker_numbers(knowledge),  # vehicles are drawn so, and a trainee is told
    )  # fmt: skip


def _faults(bench: Bench, wish: Wish, random: np.random.Generator) -> dict[Key, tuple[int, ...]]:
    """States so that the wished fault is there, with as many others as wished."""
    network, components = bench.bare(), bench.knowledge.components
    states = component_states(network, infer(network.model, network.evidence))
    chance = {
        key: 1.0 - float(each[0])
        for key, each in states.items()
        if components[key[0]].fault and key[0] not in set(UNLISTED) - {wish.fault} and float(each[0]) < 1.0
    }
    chosen: list[Key] = []
    while len(chosen) < max(wish.faults or 1, 1):
        first = not chosen and bool(wish.fault)
        able = [
            key
            for key in chance
            if key not in chosen
            and (not first or (key[0] == wish.fault and (wish.place is None or key[1] == wish.place)))
        ]
        if not able:
            raise UsageError("this engine has no such fault that could be; wish for another, or for fewer at once")
        weights = np.array([chance[key] for key in able])
        chosen.append(able[int(random.choice(len(able), p=weights / weights.sum()))])
    allowed: dict[Key, tuple[int, ...]] = {}
    for key in network.layout.versions:
        known = components[key[0]]
        unsound = tuple(range(1, len(known.states)))
        if key in chosen:
            exact = wish.state if key == chosen[0] and wish.fault else ""
            allowed[key] = (list(known.states).index(exact),) if exact else unsound
        elif known.fault and wish.faults is not None:
            allowed[key] = (0,)
    return allowed


def _complaining(
    bench: Bench, wish: Wish, world: World, random: np.random.Generator, allowed: Mapping[Key, tuple[int, ...]]
) -> tuple[Case, World]:
    """The start with one or two of the symptoms that the vehicle has, and the vehicle with exactly these as told."""
    able = complaints(bench.knowledge)
    for again in range(200):
        levels = bench.levels(world)
        behind = [name for name in able if levels[bench.knowledge.findings[name].shows, None] > 0]
        there = [name for name in behind if _is_there(bench, world, levels, name)]
        if wish.complaint:
            there = [wish.complaint, *(name for name in there if name != wish.complaint)]
        if there:
            break
        world = draw_world(bench.bare(), allowed, (), world.seed + 1 + again)
    else:
        raise UsageError("a vehicle with these faults has no complaint that a customer would come with")
    first = wish.complaint or str(random.choice(there))
    others = [name for name in there if name != first]
    told = [first, str(random.choice(others))] if others and random.random() < TOLD_MORE else [first]
    start = replace(bench.start, epochs=(Epoch(answers=tuple(Answer(name, None, PRESENT) for name in told)),))
    return start, world


def _is_there(bench: Bench, world: World, levels: Mapping[Key, int], symptom: str) -> bool:
    said = answer(bench.knowledge, bench.start.engine, world, levels, (symptom, None, None), SURELY)
    return isinstance(said, Answer) and said.answer == PRESENT


def _wrong(knowledge: Knowledge, states: Mapping[Key, int]) -> tuple[TruthPart, ...]:
    """Everything that is at fault."""
    return tuple(
        TruthPart(key[0], key[1], list(knowledge.components[key[0]].states)[state])
        for key, state in states.items()
        if state != 0 and knowledge.components[key[0]].fault
    )


def _misleads(bench: Bench, hidden: HiddenTruth, wanted: Misleading) -> bool:
    """Whether the obvious guess misleads as wished."""
    guess, chance = obvious_guess(bench, bench.start)
    keys = [(each.component, each.place) for each in hidden.faults]
    if wanted == "little":
        return guess in keys
    ready = bench.ready(bench.start)
    states = component_states(ready.network, ready.posterior)  # type: ignore[arg-type]
    likeliest = max((1.0 - float(states[key][0]) for key in keys if key in states), default=0.0)
    return guess not in keys and 2.0 * likeliest < chance
