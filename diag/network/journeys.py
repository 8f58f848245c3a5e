"""What a case tells of things that changed their cylinder: what was heard of them, and the configuration with them.

May import: knowledge_base, casebook, evidence, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from diag.casebook import Answer, Case
from diag.evidence import answer_ratio
from diag.knowledge_base import Knowledge
from diag.network.exchanged import Heard, travellers
from diag.network.instances import Key
from diag.network.plates import Layout, traveller_prior
from diag.network.questions import Question, Told, shown
from diag.network.shifted import is_shifted

__all__ = ["heard_in", "known_alone", "with_travellers"]


def known_alone(
    knowledge: Knowledge,
    case: Case,
    told: Mapping[Question, Sequence[Told]],
    standing: Mapping[Key, tuple[int, ...]],
) -> frozenset[Question]:
    """The readings of components that share a shift, taken while nothing of the kind was renewed or moved. Those of a
    part that an exchange took away are told where it is now: nothing joins them to what stands there instead."""
    epochs: dict[str, set[int]] = {}
    for question, items in told.items():
        if shown(knowledge, question.item) in knowledge.components and is_shifted(knowledge, case.engine, question):
            epochs.setdefault(question.item, set()).update(item.epoch for item in items)
    once = {
        item
        for item, read in epochs.items()
        if all(
            len({standing[shown(knowledge, item), cylinder][epoch] for epoch in read}) == 1
            for cylinder in case.engine.cylinders
        )
    }
    return frozenset(question for question in told if question.item in once)


def heard_in(
    knowledge: Knowledge, case: Case, told: Mapping[Question, Sequence[Told]], alone: Collection[Question] = ()
) -> Heard:
    """Which severities and states of the cylinders anything was told of, straight or by way of the vehicle's; what is
    told of a part `alone` need not be known where it was."""
    severities: set[tuple[Key, int]] = set()
    states: set[tuple[Key, int]] = set()
    for question, items in told.items():
        for item in items:
            if isinstance(item.what, Answer) and answer_ratio(item.what, knowledge) in (None, 1.0):
                continue  # it tells nothing
            hears = () if question in alone else _hears(knowledge, case, question)
            for key in hears:
                (states if key[0] in knowledge.components else severities).add((key, item.epoch))
    return Heard(frozenset(severities), frozenset(states))


def _hears(knowledge: Knowledge, case: Case, question: Question) -> Iterator[Key]:
    """The cylinders' severities and components that an answer hears; with a shift that all share, those of all."""
    name = shown(knowledge, question.item)
    severity = knowledge.severities.get(name)
    if severity is not None and severity.per == "vehicle":
        for cause in _above(knowledge, name):
            known = knowledge.components.get(cause) or knowledge.severities[cause]
            if known.per == "cylinder":
                yield from ((cause, cylinder) for cylinder in case.engine.cylinders)
    elif is_shifted(knowledge, case.engine, question):
        yield from ((name, cylinder) for cylinder in case.engine.cylinders)
    else:
        yield name, question.place


def _above(knowledge: Knowledge, severity_id: str) -> set[str]:
    """The causes of a vehicle severity, and those of the vehicle severities among them."""
    found: set[str] = set()
    waiting = [severity_id]
    while waiting:
        for cause in knowledge.severities[waiting.pop()].causes:
            if cause not in found:
                found.add(cause)
                known = knowledge.severities.get(cause)
                waiting += [cause] if known is not None and known.per == "vehicle" else []
    return found


def with_travellers(layout: Layout, heard: Heard) -> Layout:
    """The layout with everything that changed its cylinder, and their classes in the configuration."""
    knowledge = layout.knowledge
    own = [name for name, component in knowledge.components.items() if component.per == "cylinder"]
    moved = {
        name for name in own for (key, _), known in layout.versions.items() for one in known.versions
        if key == name and one.source is not None
    }  # fmt: skip
    if not moved:
        return layout
    tables = {
        name: {
            severity_id: layout.table(severity_id, name)
            for severity_id, severity in knowledge.severities.items()
            if severity.per == "cylinder" and name in severity.causes
        }
        for name in moved
    }
    states = {name: len(knowledge.components[name].states) for name in moved}
    found = travellers(layout.versions, layout.severities, tables, states, heard)
    layout = replace(layout, travellers=found)
    for traveller in found:
        chance = traveller_prior(layout, traveller) @ traveller.chance
        layout = replace(layout, configurations=layout.configurations.with_classes(chance))
    return layout
