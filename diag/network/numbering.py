"""Which cylinder belongs to what the control unit shows: one hidden numbering for all codes and columns of a case.

A code or a correction 'of cylinder 2' is of the cylinder that the control unit calls 2. That may be the maker's 2; the
one that fires second; the second from the other end; the one across, banks exchanged; or its neighbour, where two
plugs or columns are exchanged. This is one state of `code_numbering` for the whole case, so all codes and columns speak
about it together, with everything that was found at the cylinders themselves. Each *numbering* is one node (or several,
with a shift) of the configuration axis, at which a factor belongs to another cylinder; where nothing was told that
depends on it, or somebody has looked it up, there is one, and it costs nothing. What is still to be read counts as read
at its cylinder: who plans a check looks the numbering up first. May import: knowledge_base, casebook, evidence, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from msgspec import Struct, structs
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import NUMBERING, Answer, Case
from diag.evidence import answer_ratio
from diag.inference import Array
from diag.knowledge_base import Engine, Knowledge
from diag.network.questions import Question, Told, told_in

__all__ = [
    "Numbering",
    "cylinder_behind",
    "is_numbered",
    "is_numbered_told",
    "lands_elsewhere",
    "log_shares",
    "numbering_chances",
    "numberings",
    "real_question",
    "told_anywhere",
    "told_under",
]

PAIR = "pair_exchanged"


class Numbering(Struct, frozen=True):
    """One numbering: the index of its state, its `share` of that state's chance, the cylinder `real[shown]`."""

    state: int
    share: float
    real: Mapping[int, int]


def is_numbered(knowledge: Knowledge, question: Question) -> bool:
    """Whether a question is answered by the control unit's own numbering of the cylinders."""
    if not isinstance(question.place, int):
        return False
    finding = knowledge.findings.get(question.item)
    return finding.kind == "code" if finding is not None else knowledge.readings[question.item].numbered


def real_question(question: Question, numbering: Numbering) -> Question:
    """The question at the cylinder to which it belongs, of one that `is_numbered`."""
    place: Place = numbering.real[question.place] if isinstance(question.place, int) else question.place
    return question._replace(place=place)


def cylinder_behind(knowledge: Knowledge, engine: Engine, question: Question, state: int) -> Place:
    """The place that answers a question where the control unit numbers in that state, the place that it names where the
    numbering does not move it. Neighbours exchanged (of which there are several) are not among these states."""
    if not isinstance(question.place, int) or not is_numbered(knowledge, question):
        return question.place
    maps = _maps(list(knowledge.components[NUMBERING].states)[state], engine) if state else []
    return maps[0][question.place] if maps else question.place


def is_numbered_told(knowledge: Knowledge, case: Case) -> bool:
    """Whether anything was told that the numbering moves, and that tells anything."""
    return any(
        is_numbered(knowledge, question) and any(_tells(knowledge, item) for item in told)
        for question, told in told_in(case).items()
        if question.item in knowledge.findings or question.item in knowledge.readings
    )


def _tells(knowledge: Knowledge, item: Told) -> bool:
    return not isinstance(item.what, Answer) or answer_ratio(item.what, knowledge) not in (None, 1.0)


def numbering_chances(knowledge: Knowledge, case: Case, moves_work: Sequence[bool]) -> tuple[float, ...]:
    """The chance of each state of the numbering; the first alone where nothing in the case depends on it.

    `moves_work[state]`: whether it may have led work that was told astray. States that are the same as the first on
    this engine have none of their own.
    """
    known = knowledge.components[NUMBERING]
    states = list(known.states)
    if case.numbering is not None:
        return tuple(float(state == case.numbering) for state in states)
    told = is_numbered_told(knowledge, case)
    if not told and not any(moves_work):
        return (1.0, *(0.0 for _ in states[1:]))
    possible = {state for state in states[1:] if _maps(state, case.engine) and (told or state != PAIR)}
    unlike = [known.chance[state].value if state in possible and state in known.chance else 0.0 for state in states]
    return (1.0 - sum(unlike[1:]), *unlike[1:])


def numberings(knowledge: Knowledge, case: Case, told: Mapping[Question, Sequence[Told]]) -> tuple[Numbering, ...]:
    """All numberings between which the case must choose; none where it does not matter.

    Those of one state under which all that was told lies alike are one.
    """
    if NUMBERING not in knowledge.components or not is_numbered_told(knowledge, case):
        return ()
    mine = {question: items for question, items in told.items() if is_numbered(knowledge, question)}
    found: dict[object, Numbering] = {}
    for state, name in enumerate(knowledge.components[NUMBERING].states):
        if case.numbering not in (None, name):
            continue
        maps = _maps(name, case.engine) if state else [{each: each for each in case.engine.cylinders}]
        if state and not maps and case.numbering == name:
            maps = [{each: each for each in case.engine.cylinders}]
        for real in maps:
            one = Numbering(state, 1.0 / len(maps), real)
            lies = frozenset(
                (real_question(question, one), tuple((item.epoch, _plain(item)) for item in items))
                for question, items in mine.items()
            )
            same = found.get((state, lies))
            found[state, lies] = one if same is None else structs.replace(same, share=same.share + one.share)
    return tuple(found.values())


def _plain(item: Told) -> object:
    return replace(item.what, place=None)


def _maps(state: str, engine: Engine) -> list[Mapping[int, int]]:
    """The cylinder behind each number shown, for each way in which a state can be; none for what is as the maker has
    it. Neighbours are those next to each other in a bank: a lead reaches no farther (common practice, no source)."""
    cylinders, banks = engine.cylinders, [list(bank) for bank in engine.banks.values()]
    same = {each: each for each in cylinders}
    if state == "by_firing_order":
        maps = [dict(zip(cylinders, engine.firing_order, strict=True))]
    elif state == "from_other_end":
        maps = [{one: other for bank in banks for one, other in zip(bank, reversed(bank), strict=True)}]
    elif state == "banks_exchanged" and len(banks) == 2 and len(banks[0]) == len(banks[1]):
        first, second = banks
        maps = [dict(zip([*first, *second], [*second, *first], strict=True))]
    elif state == PAIR:
        pairs = [pair for bank in banks for pair in pairwise(bank)]
        maps = [{**same, one: other, other: one} for one, other in pairs]
    else:
        maps = []
    return [each for each in maps if each != same]


def lands_elsewhere(place: Place, state: str, engine: Engine) -> bool:
    """Whether what is written for a cylinder lands elsewhere, where the control unit numbers in this state."""
    maps = _maps(state, engine) if state != PAIR else []
    return isinstance(place, int) and any(each[place] != place for each in maps)


def log_shares(numbers: Sequence[Numbering]) -> tuple[Array, NDArray[np.intp]]:
    """Natural logarithm of each numbering's share of its state, and that state: `[numbering]`."""
    return np.log([each.share for each in numbers]), np.array([each.state for each in numbers], dtype=np.intp)


def told_under(
    knowledge: Knowledge, told: Mapping[Question, tuple[Told, ...]], numbering: Numbering
) -> dict[Question, tuple[Told, ...]]:
    """What was told, under one numbering, at the cylinders to which it belongs."""
    return {
        (real_question(question, numbering) if is_numbered(knowledge, question) else question): items
        for question, items in told.items()
    }


def told_anywhere(
    knowledge: Knowledge, told: Mapping[Question, tuple[Told, ...]], numbers: Sequence[Numbering]
) -> dict[Question, tuple[Told, ...]]:
    """What was told, at every cylinder to which it may belong."""
    found: dict[Question, tuple[Told, ...]] = {}
    for question, items in told.items():
        places = [question]
        if numbers and is_numbered(knowledge, question):
            places = list(dict.fromkeys(real_question(question, each) for each in numbers))
        for each in places:
            found[each] = (*found.get(each, ()), *items)
    return found
