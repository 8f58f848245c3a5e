"""Whole cases drawn from the model: a vehicle is drawn, and the questions of a case are answered as it would.

May import: `diag` through its doors, numpy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from diag.basics import Place
from diag.casebook import ABSENT, PRESENT, Answer, Case, Measured, as_the_maker_numbers, read_case, scope_of
from diag.evidence import instrument_error, quantile, spread_of
from diag.knowledge_base import Knowledge
from diag.network import CaseNetwork, Draws, Question, build, chance_by_level

__all__ = ["TYPICAL", "drawn_cases", "drawn_with_truth", "typical_case"]

TYPICAL = (
    "rough_idle", "misfire_felt", "fumes", "white_smoke", "hard_start",  # what customers tell
    "chuff", "tar", "bubbles", "well_dry_and_clean", "gas_at_well", "weak_cutout",
    "circuit_code", "balance_code", "misfire_code", "rail_low_code", "code_mismatch", "code_not_stored",
    "correction", "relative_compression", "rail_pressure_cranking",
)  # fmt: skip
"""Questions of every kind: customers' symptoms, what is seen at a cylinder, codes, readings."""


def typical_case(knowledge: Knowledge, engine: str, cylinders: int = 3) -> Case:
    """A case in which everything typical is answered, on the first cylinders; the answers themselves do not matter."""
    text = f"engine: {engine}\ndistance: 187000 km\nage: 11 years\nhistory: [{{did: replace_injector, cylinder: 2}}]\n"
    case = read_case("drawn.yaml", knowledge, text)
    answers: list[Answer] = []
    measured: list[Measured] = []
    for item in TYPICAL:
        if item not in knowledge.findings and item not in knowledge.readings:
            continue
        places: list[Place] = [None]
        if scope_of(knowledge, item) == "cylinder":
            places = [*case.engine.cylinders[:cylinders]]
        if item in knowledge.findings:
            answers += [Answer(item, place, ABSENT) for place in places]
        else:
            reading = knowledge.readings[item]
            middle = (reading.lowest + reading.highest) / 2
            measured += [Measured(item, place, middle, reading.unit) for place in places]
    epoch = replace(case.epochs[0], answers=tuple(answers), measured=tuple(measured))
    return replace(case, epochs=(epoch,), numbering=as_the_maker_numbers(knowledge))


def drawn_cases(knowledge: Knowledge, like: Case, count: int, seed: int, complaint: bool) -> Iterator[Case]:
    """As `drawn_with_truth`, the cases alone."""
    return (case for case, _ in drawn_with_truth(knowledge, like, count, seed, complaint))


def drawn_with_truth(
    knowledge: Knowledge, like: Case, count: int, seed: int, complaint: bool
) -> Iterator[tuple[Case, bool]]:
    """`count` vehicles drawn from the model, asked what was asked in a case of one epoch. `complaint`: only those that
    show at least one of the symptoms of the whole vehicle that were asked. With each whether its answers contradict
    each other in truth: of those about one thing two or more mislead, and one or more do not.
    """
    network = build(knowledge, like)
    draws = Draws(network, count * (60 if complaint else 1), seed)
    told = {question: _answered(network, draws, question) for question in network.told}
    chosen = np.ones(draws.count, dtype=bool)
    if complaint:
        symptoms = [
            values
            for question, values in told.items()
            if question.place is None
            and question.item in knowledge.findings
            and knowledge.findings[question.item].kind == "symptom"
        ]
        chosen = np.any(np.stack(symptoms) > 0, axis=0)
    for vehicle in np.flatnonzero(chosen)[:count]:
        answers, measured = [], []
        for question, values in told.items():
            if question.item in knowledge.findings:
                word = PRESENT if values[vehicle] else ABSENT
                answers.append(Answer(question.item, question.place, word, question.condition))
            else:
                unit = knowledge.readings[question.item].unit
                measured.append(Measured(question.item, question.place, float(values[vehicle]), unit))
        case = replace(like, epochs=(replace(like.epochs[0], answers=tuple(answers), measured=tuple(measured)),))
        yield case, _contradict(knowledge, network, draws, case, int(vehicle))


def _contradict(knowledge: Knowledge, network: CaseNetwork, draws: Draws, case: Case, vehicle: int) -> bool:
    """Whether two or more answers about one thing mislead (the other answer was likelier on this vehicle, whose state
    is known here), and one or more do not."""
    misled: dict[tuple[str, Place], list[bool]] = {}
    for answer in case.epochs[0].answers:
        shows = knowledge.findings[answer.item].shows
        if (answer.place, knowledge.findings[answer.item].kind) == (None, "symptom"):
            continue  # what customers tell is taken as it stands
        key = shows, answer.place
        level = int(draws.levels(key, network.current_version(key))[vehicle])
        present = chance_by_level(knowledge, answer.item, answer.condition)[level]
        misled.setdefault(key, []).append((answer.answer == PRESENT) != (present >= 0.5))
    return any(sum(each) >= 2 and not all(each) for each in misled.values())


def _answered(network: CaseNetwork, draws: Draws, question: Question) -> np.ndarray:
    """The answer (1 or 0) or the number read on every vehicle drawn, written from the knowledge by itself."""
    knowledge = network.knowledge
    known = knowledge.findings.get(question.item) or knowledge.readings[question.item]
    shows = knowledge.severities.get(known.shows)
    levels = list(shows.levels if shows is not None else knowledge.components[known.shows].states)
    level = draws.levels((known.shows, question.place), network.current_version((known.shows, question.place)))
    if question.item in knowledge.findings:
        finding = knowledge.findings[question.item]
        named = {**finding.chance, **(finding.under.get(question.condition, {}) if question.condition else {})}
        chance = np.array([named[each].value if each in named else 0.0 for each in levels])
        return (draws.uniform() < chance[level]).astype(float)
    reading = knowledge.readings[question.item]
    limit = network.case.engine.limits[reading.relative_to].value if reading.relative_to is not None else 1.0
    share, noise = np.clip(draws.uniform(), 1e-12, 1 - 1e-12), draws.normal()
    truth = np.zeros(draws.count)
    for number, each in enumerate(levels):
        law = spread_of(reading.spread[each], limit if limit is not None else 1.0)
        here = level == number
        truth[here] = quantile(law, share[here]) if law.width else law.middle
    return np.clip(truth + instrument_error(reading) * noise, reading.lowest, reading.highest)
