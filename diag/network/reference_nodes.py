"""The reference: the same knowledge as an ordinary Bayesian network, written straight from the records.

It shares no code with the plates: every variable is a node of its own, and a noisy maximum is a chain of pairwise
maxima with its causes (Heckerman & Breese 1996), so that tables stay small. It stands for a case before any repair was
tried in it. Names are slugs: component__place, severity__place, finding__place__condition.
May import: knowledge_base, casebook, evidence, inference, basics, numpy.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from msgspec import Struct, structs

from diag.basics import Place
from diag.casebook import NUMBERING, Case
from diag.evidence import Frame, frames_before, reading_outcomes, without_limit
from diag.inference import Array
from diag.knowledge_base import Engine, Figure, Knowledge, Reading, Severity
from diag.network.ages import origin_of
from diag.network.instances import Version
from diag.network.numbering import numbering_chances
from diag.network.priors import chances, misnumbered
from diag.network.questions import Question

__all__ = ["ReferenceNode", "all_questions", "node_name", "reference_arrays"]


class ReferenceNode(Struct, frozen=True):
    """One variable: `table[parent, ..., state]`, parents in the order of `parents`; every row sums to exactly 1."""

    name: str
    states: tuple[str, ...]
    parents: tuple[str, ...]
    table: Array


def node_name(item: str, place: Place = None, condition: str | None = None) -> str:
    """The name of a variable: letters, digits and underscores only."""
    parts = [item, *([str(place)] if place is not None else []), *([condition] if condition else [])]
    return "__".join(re.sub(r"\W+", "_", part) for part in parts)


def all_questions(knowledge: Knowledge, engine: Engine) -> tuple[Question, ...]:
    """Every finding at every place under every condition told apart, and every reading at every place."""
    found = []
    for item, finding in knowledge.findings.items():
        for place in _places(knowledge, engine, finding.shows):
            found += [Question(item, place, condition) for condition in (None, *finding.under)]
    for item, reading in knowledge.readings.items():
        found += [Question(item, place) for place in _places(knowledge, engine, reading.shows)]
    return tuple(found)


def reference_arrays(
    knowledge: Knowledge, case: Case, leaves: Iterable[Question] | None = None
) -> tuple[ReferenceNode, ...]:
    """All variables of the reference, causes before what they cause.

    `leaves`: the questions that get a leaf; where none are named all that can have more than one answer, for other
    programs refuse a variable of one state. Leaves without evidence change nothing.
    """
    case = replace(case, epochs=case.epochs[:1])
    nodes = [*_components(knowledge, case)]
    cards = {node.name: node.states for node in nodes}
    in_order = sorted(knowledge.severities, key=lambda name: knowledge.severities[name].per != "cylinder")
    for severity_id in in_order:
        for place in _places(knowledge, case.engine, severity_id):
            for node in _severity(knowledge, case.engine, severity_id, place, cards):
                nodes.append(node)
                cards[node.name] = node.states
    asked = tuple(_with_effect(knowledge, case.engine) if leaves is None else leaves)
    lucks = {luck.name: luck for luck in _lucks(knowledge, asked, cards)}
    nodes += lucks.values()
    for question in asked:
        leaf = _leaf(knowledge, case.engine, question, cards)
        luck = lucks.get(_luck_name(question))
        nodes.append(leaf if luck is None else _by_luck(leaf, luck))
    return tuple(structs.replace(node, table=_exact(node.table)) for node in nodes)


def _with_effect(knowledge: Knowledge, engine: Engine) -> Iterator[Question]:
    """All questions but the readings that say nothing of this engine, as it lacks the limit that they are judged by."""
    for question in all_questions(knowledge, engine):
        reading = knowledge.readings.get(question.item)
        if reading is None or not without_limit(reading, engine):
            yield question


def _places(knowledge: Knowledge, engine: Engine, node_id: str) -> Sequence[Place]:
    known = knowledge.components.get(node_id) or knowledge.severities[node_id]
    by_scope: dict[str, Sequence[Place]] = {
        "cylinder": engine.cylinders,
        "bank": tuple(engine.banks),
        "vehicle": (None,),
    }
    return by_scope[known.per]


def _exact(table: Array) -> Array:
    """The same table with rows that sum to 1 as exactly as floating point can."""
    rows = table.reshape(-1, table.shape[-1]).copy()
    for row in rows:
        for _ in range(4):
            row[int(np.argmax(row))] += 1.0 - float(np.sum(row))
    return rows.reshape(table.shape)


# ---- components ----------------------------------------------------------------------------------------------------


def _components(knowledge: Knowledge, case: Case) -> list[ReferenceNode]:
    """Shared causes first, since others depend on them."""
    ordered = sorted(knowledge.components, key=lambda name: not knowledge.components[name].reaches_cylinders)
    return [
        _component(knowledge, case, component_id, place)
        for component_id in ordered
        for place in _places(knowledge, case.engine, component_id)
    ]


def _component(knowledge: Knowledge, case: Case, component_id: str, place: Place) -> ReferenceNode:
    component = knowledge.components[component_id]
    causes = dict.fromkeys((*component.given, *(component.life.scale_under if component.life else ())))
    parents = [(cause, at) for cause in causes for at in _bearing(knowledge, case.engine, cause, place)]
    states = [tuple(knowledge.components[cause].states) for cause, _ in parents]
    origin = origin_of(knowledge, case, component_id, place, Version(0))
    rows = [
        chances(knowledge, case.engine, component_id, place, origin, dict(zip(parents, joint, strict=True)))
        for joint in product(*states)
    ]
    if component_id == NUMBERING:
        moves = [_could_be_misnumbered(knowledge, case, state) for state in component.states]
        rows = [numbering_chances(knowledge, case, moves)]
    table = np.array(rows).reshape(*(len(names) for names in states), len(component.states))
    names = tuple(node_name(cause, at) for cause, at in parents)
    return ReferenceNode(node_name(component_id, place), tuple(component.states), names, table)


def _bearing(knowledge: Knowledge, engine: Engine, cause: str, place: Place) -> Iterator[Place]:
    """Places of a cause that bear upon `place`: the same cylinder, its bank, the vehicle; a vehicle has all of them."""
    for at in _places(knowledge, engine, cause):
        same_bank = isinstance(place, int) and isinstance(at, str) and place in engine.banks[at]
        if at is None or place is None or at == place or same_bank:
            yield at


def _could_be_misnumbered(knowledge: Knowledge, case: Case, state: str) -> bool:
    cause = knowledge.components[NUMBERING]
    affected = [name for name, known in knowledge.components.items() if NUMBERING in known.given]
    return any(
        misnumbered(place, origin_of(knowledge, case, name, place, Version(0)).works, cause, state, case.engine)
        for name in affected
        for place in _places(knowledge, case.engine, name)
    )


# ---- severities ----------------------------------------------------------------------------------------------------


def _severity(
    knowledge: Knowledge, engine: Engine, severity_id: str, place: Place, cards: Mapping[str, tuple[str, ...]]
) -> Iterator[ReferenceNode]:
    """A chain: each node is the maximum of the one before and of what one more cause contributes."""
    severity = knowledge.severities[severity_id]
    causes = [(cause, at) for cause in severity.causes for at in _bearing(knowledge, engine, cause, place)]
    before, row = None, _row(severity, severity.background)
    name = node_name(severity_id, place)
    if not causes:
        yield ReferenceNode(name, severity.levels, (), row)
    for number, (cause, at) in enumerate(causes, start=1):
        parent = node_name(cause, at)
        gives = np.stack([_row(severity, severity.causes[cause].get(state, {})) for state in cards[parent]])
        starts = row[np.newaxis] if before is None else np.eye(len(severity.levels))
        table = np.stack([[_maximum(start, gift) for gift in gives] for start in starts])
        own = name if number == len(causes) else f"{name}__up_to_{number}"
        if before is None:
            yield ReferenceNode(own, severity.levels, (parent,), table[0])
        else:
            yield ReferenceNode(own, severity.levels, (before, parent), table)
        before = own


def _row(severity: Severity, named: Mapping[str, Figure]) -> Array:
    row = np.array([named[level].value if level in named else 0.0 for level in severity.levels])
    row[0] = 1.0 - row[1:].sum()
    return row


def _maximum(first: Array, second: Array) -> Array:
    """Distribution of the larger of two independent levels, by enumeration."""
    found = np.zeros(len(first))
    for one, p_one in enumerate(first):
        for other, p_other in enumerate(second):
            found[max(one, other)] += p_one * p_other
    return found


# ---- leaves --------------------------------------------------------------------------------------------------------


def _leaf(
    knowledge: Knowledge, engine: Engine, question: Question, cards: Mapping[str, tuple[str, ...]]
) -> ReferenceNode:
    """A finding (absent, present), or a reading cut into the bins of `reading_outcomes`."""
    name = node_name(question.item, question.place, question.condition)
    if question.item in knowledge.readings:
        reading = knowledge.readings[question.item]
        parent = node_name(reading.shows, question.place)
        framed = frames_before(reading, engine, cards[parent]) if _has_shift(reading, engine) else ((Frame(), 1.0),)
        outcomes = reading_outcomes(reading, engine, cards[parent], framed=framed)
        states = tuple(f"bin_{number + 1}" for number in range(len(outcomes.values)))
        return ReferenceNode(name, states, (parent,), np.asarray(outcomes.likelihood.T))
    parent = node_name(knowledge.findings[question.item].shows, question.place)
    return ReferenceNode(name, ("absent", "present"), (parent,), np.array(_rows(knowledge, question, cards)))


def _rows(knowledge: Knowledge, question: Question, cards: Mapping[str, tuple[str, ...]]) -> list[tuple[float, float]]:
    """Chances of 'absent' and 'present' of a finding by level."""
    finding = knowledge.findings[question.item]
    rows = []
    for level in cards[node_name(finding.shows, question.place)]:
        named = finding.under.get(question.condition, {}) if question.condition else {}  # type: ignore[call-overload]
        figure = named.get(level, finding.chance.get(level))
        present = figure.value if figure is not None else 0.0
        rows.append((1.0 - present, present))
    return rows


LASTS_NOT = "each_its_own"


def _luck_name(question: Question) -> str:
    return f"{node_name(question.item, question.place)}__luck"


def _lucks(
    knowledge: Knowledge, asked: Sequence[Question], cards: Mapping[str, tuple[str, ...]]
) -> Iterator[ReferenceNode]:
    """What may stand behind a finding under all conditions: that each has its own luck, or the stretch, between the
    chances that occur, into which the one number falls below which it is there."""
    by_name: dict[str, list[Question]] = {}
    for question in asked:
        finding = knowledge.findings.get(question.item)
        if finding is not None and finding.lasting.value:
            by_name.setdefault(_luck_name(question), []).append(question)
    for name, questions in by_name.items():
        if len(questions) < 2:
            continue
        lasting = knowledge.findings[questions[0].item].lasting.value
        chances = (chance for question in questions for _, chance in _rows(knowledge, question, cards))
        borders = sorted({0.0, 1.0, *chances})
        row = np.array([1.0 - lasting, *(lasting * np.diff(borders))])
        states = (LASTS_NOT, *(f"below_{round(1e6 * border)}_of_a_million" for border in borders[1:]))
        yield ReferenceNode(name, states, (), row)


def _by_luck(leaf: ReferenceNode, luck: ReferenceNode) -> ReferenceNode:
    """The leaf of a finding with the luck as its second parent."""
    table = np.empty((len(leaf.table), len(luck.states), 2))
    table[:, 0] = leaf.table
    middles = np.cumsum(luck.table[1:]) - 0.5 * luck.table[1:]
    there = middles / luck.table[1:].sum() < leaf.table[:, 1:]
    table[:, 1:] = np.stack([~there, there], axis=2)
    return structs.replace(leaf, parents=(*leaf.parents, luck.name), table=table)


def _has_shift(reading: Reading, engine: Engine) -> bool:
    return reading.shift is not None and not without_limit(reading, engine)
