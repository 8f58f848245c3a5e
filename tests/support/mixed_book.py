"""A mixed book of closed cases, drawn from the model itself, so that what is true is known: several engines, ages from
60,000 to 320,000 km, five sets of questions, checks that some make and others do not, readings with their error.

Vehicles come in because somebody complained of fumes, a rough idle or a hard start. Cylinders are opened where
something was seen or heard on them, and then their seal, clamp and injector are known; parts of the vehicle are renewed
in two of three cases, at fault or not; returns are measured where an engine starts hard, in one of four. All else stays
hidden. May import: numpy, `diag` through its doors.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from diag.basics import Place
from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Measured
from diag.evidence import draw_together, without_limit
from diag.knowledge_base import Knowledge
from diag.learning import Lesson
from diag.network import CaseNetwork, Draws, build, chance_by_level
from diag.store import Fitted, Found, Outcome

__all__ = ["COMPLAINTS", "mixed_book"]

COMPLAINTS = ("fumes", "rough_idle", "hard_start")
ASKED = (
    ("white_smoke",),
    ("white_smoke", "no_power"),
    ("rough_cold", "black_smoke"),
    ("hard_start_hot", "stalls"),
    ("no_power", "black_smoke", "knock"),
)
ON_CYLINDERS = ("chuff", "tar")
OPENED = ("seal", "clamp", "injector")
OF_THE_VEHICLE = ("supply", "air_path", "glow", "pressure_control", "air_ingress")
DRAWN = 4000
FROM_ONE_DRAW = 150


def mixed_book(
    knowledge: Knowledge, wanted: int, seed: int, engines: Sequence[str] = ("ostrel_3", "ostrel_4", "velm_5")
) -> list[Lesson]:
    """So many closed cases, in random order."""
    random, found = np.random.default_rng(seed), list[Lesson]()
    while len(found) < wanted:
        engine = str(random.choice(list(engines)))
        km = float(np.exp(random.uniform(np.log(60e3), np.log(320e3))).round(-3))
        case = Case("drawn", knowledge.engines[engine], engine, km, km / 18_000)
        network = build(knowledge, case)
        found += list(_cases(network, Draws(network, DRAWN, int(random.integers(1 << 31))), random))[:FROM_ONE_DRAW]
    order = random.permutation(len(found))[:wanted]
    return [replace(found[place], number=number) for number, place in enumerate(order, start=1)]


def _cases(network: CaseNetwork, draws: Draws, random: np.random.Generator) -> Iterator[Lesson]:
    knowledge, case = network.knowledge, network.case

    def told(item: str, place: Place = None) -> np.ndarray:
        finding = knowledge.findings[item]
        return draws.uniform() < chance_by_level(knowledge, item, None)[draws.levels((finding.shows, place), 0)]

    symptoms = {item: told(item) for item in dict.fromkeys((*COMPLAINTS, *(each for some in ASKED for each in some)))}
    signs = {(item, place): told(item, place) for item in ON_CYLINDERS for place in case.engine.cylinders}
    carbon, pressure = _numbers(network, draws, "cabin_co"), _numbers(network, draws, "rail_pressure_cranking")
    returns = _returns(network, draws, random)
    for draw in np.flatnonzero(np.any([symptoms[item] for item in COMPLAINTS], axis=0)):
        asked = ASKED[int(random.integers(len(ASKED)))]
        answers = [Answer(item, None, _word(symptoms[item][draw])) for item in (*COMPLAINTS, *asked)]
        measured, truths, fitted = list[Measured](), list[Found](), list[Fitted]()
        if symptoms["fumes"][draw]:
            measured += [Measured("cabin_co", None, float(carbon[draw]), knowledge.readings["cabin_co"].unit)]
        if symptoms["hard_start"][draw] and random.random() < 0.5 and np.isfinite(pressure[draw]):
            unit = knowledge.readings["rail_pressure_cranking"].unit
            measured += [Measured("rail_pressure_cranking", None, float(pressure[draw]), unit)]
        if symptoms["hard_start"][draw] and random.random() < 0.25 and np.isfinite(returns[draw]).all():
            unit = knowledge.readings["return_flow"].unit
            some = zip(case.engine.cylinders, returns[draw].tolist(), strict=True)
            measured += [Measured("return_flow", cylinder, value, unit) for cylinder, value in some]
        looked = random.random() < 0.8
        for cylinder in case.engine.cylinders if looked else ():
            answers += [Answer(item, cylinder, _word(signs[item, cylinder][draw])) for item in ON_CYLINDERS]
            if any(signs[item, cylinder][draw] for item in ON_CYLINDERS):
                fitted += [Fitted("reseal", cylinder), Fitted("replace_injector", cylinder)]
                truths += _truths(network, draws, int(draw), OPENED, cylinder)
        if random.random() < 2 / 3:
            fitted += [Fitted(_renewing(knowledge, name), None) for name in OF_THE_VEHICLE]
            truths += _truths(network, draws, int(draw), OF_THE_VEHICLE, None)
        outcome = Outcome("yes" if truths else "no", tuple(truths), tuple(fitted))
        yield Lesson(0, "", replace(case, epochs=(Epoch((), tuple(answers), tuple(measured)),)), outcome, "")


def _renewing(knowledge: Knowledge, component: str) -> str:
    return next(name for name, repair in knowledge.repairs.items() if component in repair.renews)


def _word(present: bool) -> str:
    return PRESENT if present else ABSENT


def _numbers(network: CaseNetwork, draws: Draws, item: str) -> np.ndarray:
    """Readings with their error; not a number where the engine has no limit that the knowledge speaks of."""
    reading = network.knowledge.readings[item]
    levels = list(network.knowledge.severities[reading.shows].levels)
    laws = [reading.spread[level] for level in levels]
    level = draws.levels((reading.shows, None), 0)
    middle = np.array([law.middle.value for law in laws])[level]
    width = np.array([law.width.value for law in laws])[level]
    multiple = 1.0
    if reading.relative_to is not None:
        limit = network.case.engine.limits.get(reading.relative_to)
        multiple = limit.value if limit is not None and limit.value is not None else float("nan")
    logarithmic = np.array([law.shape == "log-normal" for law in laws])[level]
    noise = draws.normal()
    value = np.where(logarithmic, middle * np.exp(width * noise), middle + width * noise) * multiple
    return np.round(np.maximum(value + reading.instrument_error.value * draws.normal(), 0.0), reading.decimals)


def _returns(network: CaseNetwork, draws: Draws, random: np.random.Generator) -> np.ndarray:
    """Return flows of all cylinders `[draw, cylinder]`, with what they share; not numbers where there is no limit."""
    reading, engine = network.knowledge.readings["return_flow"], network.case.engine
    states = np.stack([draws.levels(("injector", cylinder), 0) for cylinder in engine.cylinders], axis=1)
    if without_limit(reading, engine):
        return np.full(states.shape, np.nan)
    return draw_together(reading, engine, tuple(reading.spread), states, random)


def _truths(network: CaseNetwork, draws: Draws, draw: int, names: Sequence[str], place: int | None) -> list[Found]:
    found = []
    for name in names:
        known = network.knowledge.components[name]
        state = list(known.states)[int(draws.levels((name, place), 0)[draw])]
        found += [Found(name, state, place, "seen")] if state != known.sound else []
    return found
