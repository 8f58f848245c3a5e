"""From what was told about a question to a likelihood over the versions of what it shows.

May import: knowledge_base, casebook, evidence, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from math import prod
from typing import TypeVar

import numpy as np
from msgspec import Struct

from diag.casebook import ABSENT, PRESENT, Answer, Measured
from diag.evidence import (
    Frame,
    Spread,
    Taken,
    answer_pattern,
    answer_ratio,
    frames_before,
    instrument_error,
    reading_likelihood,
    reading_outcomes,
    spreads,
    taken,
    unshifted_spreads,
    without_limit,
)
from diag.inference import Array
from diag.knowledge_base import Engine, Knowledge
from diag.network.instances import Key
from diag.network.persisting import reading_pattern
from diag.network.questions import Question, shown
from diag.network.tables import levels_of
from diag.network.targets import Factor

__all__ = [
    "LogFactor",
    "answer_outcomes",
    "before",
    "beside",
    "chance_by_level",
    "condition_of",
    "factor_of",
    "in_lucks",
    "key_of",
    "laws_of",
    "outcome_factors",
]

GONE = "gone_for_a_while"  # the soft answer that 'helped: for a while' gives
ToldByVersion = Mapping[int, Sequence[Answer | Measured]]
Some = TypeVar("Some")


class LogFactor(Struct, frozen=True):
    """A factor whose largest entry is 1, what it was divided by (as a logarithm), and a note where it has no effect."""

    factor: Factor
    log_scale: float = 0.0
    note: str = ""


def key_of(knowledge: Knowledge, question: Question) -> Key:
    """The component or severity, at its place, that a question's answer shows."""
    return shown(knowledge, question.item), question.place


def condition_of(knowledge: Knowledge, item: str, condition: str | None) -> str | None:
    """The condition, where the knowledge tells it apart for this finding; else none."""
    finding = knowledge.findings.get(item)
    return condition if finding is not None and condition in finding.under else None


def chance_by_level(knowledge: Knowledge, item: str, condition: str | None) -> Array:
    """P(present | level) of a finding under a condition, `[level]`; a level that is not named has none."""
    finding = knowledge.findings[item]
    named = dict(finding.chance)
    for known, chances in finding.under.items():
        named |= chances if known == condition else {}
    return np.array([named[level].value if level in named else 0.0 for level in levels_of(knowledge, finding.shows)])


def laws_of(knowledge: Knowledge, engine: Engine, item: str) -> tuple[Spread, ...]:
    """The spread of a reading's true value for each level of what it shows, in the reading's unit."""
    reading = knowledge.readings[item]
    return spreads(reading, engine, levels_of(knowledge, reading.shows))


def beside(knowledge: Knowledge, question: Question, told: Mapping[Question, Some]) -> dict[Question, Some]:
    """What of `told` is of the same finding there under other conditions, where one luck may last over these."""
    finding = knowledge.findings.get(question.item)
    if finding is None or not finding.lasting.value:
        return {}
    return {
        other: some
        for other, some in told.items()
        if other.item == question.item and other.place == question.place and other.condition != question.condition
    }


def before(knowledge: Knowledge, question: Question, told: Mapping[Question, Some]) -> dict[Question, Some]:
    """That of it which comes before, in the knowledge's order of conditions, the plain one first: the likelihood of
    each given those before it makes up that of all."""
    others = beside(knowledge, question, told)
    if not others:
        return others
    order = (None, *knowledge.findings[question.item].under)
    return {
        other: some for other, some in others.items() if order.index(other.condition) < order.index(question.condition)
    }


def in_lucks(knowledge: Knowledge, questions: Iterable[Question]) -> list[tuple[Question, ...]]:
    """Questions in their order, those together behind whose answers one luck may stand."""
    asked = dict.fromkeys(questions)
    found: dict[Question, tuple[Question, ...]] = {}
    for question in asked:
        together = {question, *beside(knowledge, question, asked)}
        in_order = tuple(each for each in asked if each in together)
        found[in_order[0]] = in_order
    return list(found.values())


def factor_of(
    knowledge: Knowledge,
    engine: Engine,
    question: Question,
    told: ToldByVersion,
    paused: frozenset[int] = frozenset(),
    given: Mapping[Question, ToldByVersion] | None = None,
) -> LogFactor:
    """What was told about one question, as a likelihood `[1, level of each version told of]`.

    `paused`: versions that began with work which helped for a while. A finding that was there before, and is there
    again, was softly absent in between, when all was at its first level: so noise alone hardly explains it now.
    `given`: what was told of the same finding under other conditions; the likelihood is then that given this, and has
    the versions of both.
    """
    key, versions = key_of(knowledge, question), tuple(told)
    if question.item in knowledge.findings:
        known = {other.condition: items for other, items in (given or {}).items()}
        versions, pattern = _together(knowledge, question.item, {**known, question.condition: told}, paused)
        if known:
            some, already = _together(knowledge, question.item, known, paused)
            shape = [size if version in some else 1 for version, size in zip(versions, pattern.shape, strict=True)]
            already = np.broadcast_to(already.reshape(shape), pattern.shape)
            pattern = np.divide(pattern, already, out=np.zeros_like(pattern), where=already > 0)
        return LogFactor(Factor(key, versions, pattern[np.newaxis]))
    reading, levels = knowledge.readings[question.item], levels_of(knowledge, key[0])
    measured = [[each for each in told[version] if isinstance(each, Measured)] for version in versions]
    note = without_limit(reading, engine)
    if note or len(versions) == 1:
        single = reading_likelihood(reading, engine, measured[0], levels)
        if note:
            return LogFactor(Factor(key, versions[:1], np.ones((1, len(levels)))), 0.0, note)
        return LogFactor(Factor(key, versions, single.scaled[np.newaxis]), single.log_factor)
    shown_of = [taken(reading, engine, each) for each in measured]
    pattern = reading_pattern(laws_of(knowledge, engine, question.item), shown_of)
    scale = float(pattern.max())
    return LogFactor(Factor(key, versions, np.exp(pattern - scale)[np.newaxis]), scale)


def _together(
    knowledge: Knowledge, item: str, told: Mapping[str | None, ToldByVersion], paused: frozenset[int] = frozenset()
) -> tuple[tuple[int, ...], Array]:
    """The versions told of, and the likelihood `[level of each]` of all that was told of a finding by condition: with
    the chance `lasting` one luck stands behind all of it, else each condition has its own."""
    versions = tuple(sorted({version for items in told.values() for version in items}))
    if len(told) == 1:
        return versions, _with_one_luck(knowledge, item, told, versions, paused)
    lasting = knowledge.findings[item].lasting.value
    apart = [_with_one_luck(knowledge, item, {condition: items}, versions, paused) for condition, items in told.items()]
    return versions, lasting * _with_one_luck(knowledge, item, told, versions, paused) + (1.0 - lasting) * prod(apart)


def _with_one_luck(
    knowledge: Knowledge,
    item: str,
    told: Mapping[str | None, ToldByVersion],
    versions: tuple[int, ...],
    paused: frozenset[int],
) -> Array:
    """`[level of each version]`, of length 1 for a version that is not told of."""
    chances: list[Array] = []
    axes: list[int] = []
    ratios: list[tuple[int, float | None]] = []
    for condition, items in told.items():
        chance, first = chance_by_level(knowledge, item, condition), next(iter(items))
        for version, answers in items.items():
            ratios += [(len(chances), answer_ratio(each, knowledge)) for each in answers if isinstance(each, Answer)]
            chances.append(chance)
            axes.append(versions.index(version))
        for version in items:
            if version != first and version in paused and _there(items, first, version):
                ratios.append((len(chances), answer_ratio(GONE, knowledge)))
                chances.append(chance[:1])
                axes.append(len(versions))  # of length 1: all was at its first level then
    pattern = answer_pattern(chances, ratios, axes)
    return pattern.reshape((*pattern.shape, *[1] * len(versions))[: len(versions)])


def _there(told: ToldByVersion, before: int, now: int) -> bool:
    """Whether a finding was told as present in both of two versions."""
    return all(any(isinstance(each, Answer) and each.answer == PRESENT for each in told[v]) for v in (before, now))


def outcome_factors(
    knowledge: Knowledge,
    engine: Engine,
    question: Question,
    told: ToldByVersion,
    current: int,
    framed: Sequence[tuple[Frame, float]] = (),
    given: Mapping[Question, ToldByVersion] | None = None,
) -> tuple[tuple[str, ...], Factor] | None:
    """What the question could still bring about the current version, given what was told: names and chances.

    The factor is P(outcome | levels, what was told of this question), `[outcome, level of each version]`; it sums to
    1 over the outcomes wherever what was told is possible. None where nothing could come of it. `framed`: what a shift
    shared by all cylinders may be by now, with chances. `given`: what was told of the same finding under other
    conditions.
    """
    if question.item in knowledge.findings:
        return answer_outcomes(knowledge, (question,), {question: told, **(given or {})}, current)
    return _reading_outcomes(knowledge, engine, question, told, current, framed)


def answer_outcomes(
    knowledge: Knowledge, questions: Sequence[Question], told: Mapping[Question, ToldByVersion], current: int
) -> tuple[tuple[str, ...], Factor] | None:
    """'present' and 'absent' of a finding, under one condition or several at once, given what was `told` of it under
    any; none where the current version has an answer already, be it 'not sure'."""
    if any(current in told.get(question, {}) for question in questions):
        return None
    known = {question.condition: items for question, items in told.items() if items}
    first, names = questions[0], list(product((PRESENT, ABSENT), repeat=len(questions)))
    if len(questions) == 1 and not known:
        chance = chance_by_level(knowledge, first.item, first.condition)
        plain = np.stack([chance, 1.0 - chance])
        return (PRESENT, ABSENT), Factor(key_of(knowledge, first), (current,), plain)
    joint: list[Array] = []
    versions: tuple[int, ...] = ()
    for words in names:
        new = {
            question.condition: {
                **told.get(question, {}),
                current: (Answer(question.item, question.place, word, question.condition),),
            }
            for question, word in zip(questions, words, strict=True)
        }
        versions, pattern = _together(knowledge, first.item, {**known, **new})
        joint.append(pattern)
    return tuple(map("; ".join, names)), Factor(key_of(knowledge, first), versions, _conditional(np.stack(joint)))


def _reading_outcomes(
    knowledge: Knowledge,
    engine: Engine,
    question: Question,
    told: ToldByVersion,
    current: int,
    framed: Sequence[tuple[Frame, float]],
) -> tuple[tuple[str, ...], Factor] | None:
    """A few bins of the reading; none where it has no effect on this engine.

    With a shift shared by all cylinders, the next number is predicted by averaging over what the shift may be, and
    what an older version showed is left aside.
    """
    reading, key = knowledge.readings[question.item], key_of(knowledge, question)
    if without_limit(reading, engine):
        return None
    measured = {version: [each for each in told[version] if isinstance(each, Measured)] for version in told}
    earlier, levels = tuple(measured.get(current, ())), levels_of(knowledge, key[0])
    if reading.shift is None:
        outcomes = reading_outcomes(reading, engine, levels, earlier=earlier)
    elif framed:
        laws = unshifted_spreads(reading, engine, levels)
        outcomes = reading_outcomes(reading, engine, levels, earlier=earlier, framed=framed, laws=laws)
    else:
        outcomes = reading_outcomes(reading, engine, levels, framed=frames_before(reading, engine, levels))
    turned = -1.0 if question.item in engine.opposite_sign else 1.0
    names = tuple(f"{turned * value:.{reading.decimals}f} {reading.unit}" for value in outcomes.values)
    versions = (current,) if reading.shift is not None else tuple(sorted({*told, current}))
    if len(versions) == 1:
        return names, Factor(key, versions, np.asarray(outcomes.likelihood))
    laws, error = laws_of(knowledge, engine, question.item), instrument_error(reading)
    known = {version: taken(reading, engine, measured.get(version, ())) for version in versions}
    below = [reading_pattern(laws, [known[version] for version in versions])]
    for edge in outcomes.edges:
        shown_now = {**known, current: (*known[current], Taken(float(edge), "below", error))}
        below.append(reading_pattern(laws, [shown_now[version] for version in versions]))
    up_to = np.exp(np.stack([*below[1:], below[0]]) - below[0].max())
    bins = np.maximum(np.diff(up_to, axis=0, prepend=0.0), 0.0)
    return names, Factor(key, versions, _conditional(bins))


def _conditional(joint: Array) -> Array:
    """Chances of the outcomes given what was told, from chances of both together; zero where that is impossible."""
    total = joint.sum(axis=0)
    return np.asarray(np.divide(joint, total, out=np.zeros_like(joint), where=total > 0))
