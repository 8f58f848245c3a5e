"""From a journal to the state of its case: a pure fold, so that undo, audit and going on later need nothing else.

May import: `diag.basics`, the records of `diag.casebook`, and within the room the records.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from diag.basics import UsageError
from diag.casebook import Answer, Epoch
from diag.store.records import (
    Attached,
    Closed,
    Draft,
    Erased,
    Event,
    Finding,
    Linked,
    Opened,
    Outcome,
    Payload,
    Reading,
    Remark,
    Repair,
    Retold,
    Undo,
)

__all__ = ["Standing", "changes", "fold", "opening"]


@dataclass(frozen=True)
class Standing:
    """How a case stands after its journal. `step_back` is the revision that a plain undo goes back to; 0: none.

    `outcome` and `closed_at` are none and empty while the case is open.
    """

    draft: Draft
    revision: int = 0
    outcome: Outcome | None = None
    closed_at: str = ""
    links: tuple[Linked, ...] = ()
    remarks: tuple[str, ...] = ()
    files: tuple[Attached, ...] = ()
    step_back: int = 0


def fold(events: Iterable[Event]) -> Standing:
    """The state after these events, from the first. Raises UsageError for an event that makes no sense where it is.

    A second undo goes on from where the first one went back to; an undo to a later revision takes an undo back.
    """
    standing: Standing | None = None
    states: list[Standing] = []
    for event in events:
        if event.revision != len(states) + 1:
            raise UsageError(f"event {len(states) + 1} of the case is missing")
        if isinstance(event.payload, Undo):
            standing = _earlier(states, event.payload)
        elif isinstance(event.payload, Erased):
            standing = _after(standing, event)  # changes nothing of the case, so there is nothing to take back
        else:
            standing = replace(_after(standing, event), step_back=len(states))
        states.append(replace(standing, revision=event.revision))
    if not states:
        raise UsageError("a journal without events is no case")
    return states[-1]


def _earlier(states: Sequence[Standing], undo: Undo) -> Standing:
    if not 1 <= undo.back_to < len(states):
        last = len(states) - 1
        can = f"it can go back to 1 to {last}" if last > 0 else "nothing but its opening was told yet"
        raise UsageError(f"the case cannot be taken back to revision {undo.back_to}; {can}")
    return states[undo.back_to - 1]


def _after(standing: Standing | None, event: Event) -> Standing:
    """The state after one event that is no undo."""
    payload = event.payload
    if isinstance(payload, Opened):
        if standing is not None:
            raise UsageError("the case is open already")
        return Standing(payload.draft)
    if standing is None:
        raise UsageError("a journal begins with the opening of its case")
    match payload:
        case Finding() | Reading() | Repair() | Retold():
            if standing.outcome is not None:
                raise UsageError(
                    "the case is closed; take the closing back first ('undo'), or keep a come-back as a new case"
                )
            return replace(standing, draft=_told(standing.draft, payload))
        case Closed(outcome):
            if standing.outcome is not None:
                raise UsageError("the case is closed already; take that back first ('undo') to close it anew")
            return replace(standing, outcome=outcome, closed_at=event.at)
        case Linked():
            return replace(standing, links=(*(each for each in standing.links if each != payload), payload))
        case Remark(text):
            return replace(standing, remarks=(*standing.remarks, text))
        case Attached():
            return replace(standing, files=(*(each for each in standing.files if each != payload), payload))
        case Erased():
            return standing
    raise TypeError(f"no state after {type(payload).__name__}")


def _told(draft: Draft, payload: Finding | Reading | Repair | Retold) -> Draft:
    """The draft with what was found, measured or done."""
    latest = draft.epochs[-1]
    match payload:
        case Retold():
            return payload.draft
        case Repair(work):
            return replace(draft, epochs=(*draft.epochs, Epoch(work)))
        case Finding(answer):
            kept = tuple(each for each in latest.answers if _question(each) != _question(answer))
            epoch = replace(latest, answers=(*kept, answer))
        case Reading(measured):
            epoch = replace(latest, measured=(*latest.measured, measured))
    return replace(draft, epochs=(*draft.epochs[:-1], epoch))


def _question(answer: Answer) -> tuple[object, ...]:
    return (answer.item, answer.place, answer.condition)


# ---- the other way round: from a case to events -----------------------------------------------------------------


def opening(draft: Draft) -> tuple[Payload, ...]:
    """The events that give this draft."""
    bare = replace(draft, epochs=(Epoch(),))
    return (Opened(bare), *changes(bare, draft))


def changes(before: Draft, after: Draft) -> tuple[Payload, ...]:
    """The events that lead from one draft to another: one thing after the other where that does it, else the whole
    told anew; none where nothing changed."""
    if before == after:
        return ()
    steps: list[Payload] = []
    known = len(before.epochs)
    if len(after.epochs) >= known:
        steps += _found(before.epochs[-1], after.epochs[known - 1])
        for epoch in after.epochs[known:]:
            steps += [Repair(epoch.work), *_found(Epoch(), epoch)]
    draft = before
    for step in steps:
        assert isinstance(step, Finding | Reading | Repair)
        draft = _told(draft, step)
    return tuple(steps) if draft == after else (Retold(after),)


def _found(before: Epoch, after: Epoch) -> list[Payload]:
    told = set(before.answers)
    answers: list[Payload] = [Finding(answer) for answer in after.answers if answer not in told]
    return answers + [Reading(measured) for measured in after.measured[len(before.measured) :]]
