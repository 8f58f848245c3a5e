"""The journal of one trainee at one case: a JSON file that is written whole or not at all after every step.

It holds the hidden truth, too, so it belongs on the trainer's side; alone at a terminal the trainee owns it, and only
their word keeps them from reading it.
May import: store, casebook, decision, knowledge_base, basics, and `records`, `worlds`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import cast

from diag.basics import CaseError, Problem, UsageError, write_whole
from diag.casebook import Answer, Measured, Work, dump_case, read_case
from diag.decision import Job
from diag.knowledge_base import Knowledge
from diag.store import lacking_of_case
from diag.training.records import (
    Asked,
    Belief,
    Believed,
    Decided,
    Fitted,
    HiddenTruth,
    Notes,
    Play,
    Practice,
    Seat,
    Source,
    TruthPart,
)
from diag.training.worlds import World

__all__ = ["JOURNAL_FORM", "Journal", "load_journal", "save_journal"]

JOURNAL_FORM = "diag.practice.journal/1"

_KINDS: dict[str, Callable[..., object]] = {
    each.__name__: each
    for each in (
        Answer, Measured, Work, Job, Asked, Fitted, Believed, Belief, Decided, World, HiddenTruth, TruthPart, Notes,
    )
}  # fmt: skip
_LEFT_OUT = ("at",)  # where an answer was read; no part of what it says


@dataclass(frozen=True)
class Journal:
    """One trainee at one case. `begun`: when, ISO 8601, as it was told; `trainee`: a name, or empty."""

    trainee: str
    begun: str
    seat: Seat


def save_journal(path: Path, journal: Journal, overwrite: bool = True) -> None:
    """Write it, whole or not at all. Raises UsageError where it cannot be written, or is there and may not be; and
    where it holds steps that this one does not go on from, which are those of another window."""
    practice = journal.seat.play.practice
    content = {
        "form": JOURNAL_FORM,
        "trainee": journal.trainee,
        "begun": journal.begun,
        "practice": {name: getattr(practice, name) for name in ("id", "title", "source", "grade", "currency")},
        "start": dump_case(practice.start),
        "events": _plain(journal.seat.play.events),
        "hidden": _plain(journal.seat.hidden),
    }
    if overwrite and not _goes_on(path, content["events"]):
        raise UsageError(f"the case in {path.name} went on meanwhile, in another window; nothing was written")
    write_whole(path, json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n", overwrite=overwrite)


def _goes_on(path: Path, events: object) -> bool:
    """Whether these are the events that a journal holds, and those after them."""
    try:
        held = json.loads(path.read_text(encoding="utf-8"))["events"]
    except (OSError, ValueError, RecursionError, KeyError, TypeError):  # none, or no journal: nothing is lost
        return True
    return isinstance(events, list) and isinstance(held, list) and held == json.loads(json.dumps(events[: len(held)]))


def load_journal(path: Path, knowledge: Knowledge) -> Journal:
    """Read it. Raises CaseError for what is no such file, or no longer fits the knowledge."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise _wrong(path, "there is no such journal", "'diag practice begin' begins one") from None
    except (OSError, ValueError, RecursionError) as error:
        raise _wrong(path, f"this is no journal of a practice case: {error}") from error
    if not isinstance(content, dict) or content.get("form") != JOURNAL_FORM:
        raise _wrong(path, "this is no journal of a practice case", f"its form should be {JOURNAL_FORM}")
    try:
        about = content["practice"]
        start = read_case(path, knowledge, content["start"])
        source, money = cast(Source, about["source"]), knowledge.prices.currency
        practice = Practice(about["id"], about["title"], start, source, about["grade"], money)
        hidden, events = _read(content["hidden"]), _read(content["events"])
        if not isinstance(hidden, HiddenTruth) or not isinstance(events, tuple):
            raise TypeError("its parts are not what they should be")
        play = Play(practice, events)
        spent = about.get("currency") or money  # journals from before do not say
        if events and spent != money:
            what = f"this journal counts money in {spent}, and the prices given are in {money}"
            raise _wrong(path, what, "give the overlays that it was begun with (--overlay)")
        told = next(_lacking(play, knowledge), None)
        if told is not None or _hides_more(hidden, knowledge):  # what is hidden is not named
            what = "was begun with other knowledge"
            what = f"tells of '{told}', which this knowledge does not have" if told is not None else what
            raise _wrong(path, f"this journal {what}", "give the overlays that it was begun with (--overlay)")
        return Journal(content["trainee"], content["begun"], Seat(play, hidden))
    except (KeyError, TypeError, ValueError) as error:
        raise _wrong(path, f"this journal is damaged: {error}", "take a copy of it from before") from error


def _lacking(play: Play, knowledge: Knowledge) -> Iterator[str]:
    """The ids of what was done, said or found that the knowledge does not have."""
    yield from lacking_of_case(play.case_at(), knowledge)
    for event in play.events:
        if isinstance(event, Asked) and event.check not in knowledge.checks:
            yield event.check
        jobs = event.jobs if isinstance(event, Fitted | Decided) else ()
        yield from (job.repair for job in jobs if job.repair not in knowledge.repairs)
        beliefs = event.beliefs if isinstance(event, Believed) else ()
        yield from (each.component for each in beliefs if each.component not in knowledge.components)


def _hides_more(hidden: HiddenTruth, knowledge: Knowledge) -> bool:
    """Whether the truth holds a fault, or an answer, that the knowledge does not have."""
    scripted = {item for item, _, _ in hidden.scripted}
    known = {*knowledge.findings, *knowledge.readings}
    return not (scripted <= known and all(each.component in knowledge.components for each in hidden.faults))


def _wrong(path: Path, message: str, hint: str = "") -> CaseError:
    return CaseError([Problem(str(path), 0, 0, message, hint)])


def _plain(value: object) -> object:
    """A value as JSON: records with their kind, mappings as pairs (their keys are no text)."""
    if is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in fields(value) if field.name not in _LEFT_OUT]
        return {"is": type(value).__name__, **{name: _plain(getattr(value, name)) for name in names}}
    if isinstance(value, Job):  # a tuple, but with a kind
        return {"is": Job.__name__, **{name: _plain(each) for name, each in value._asdict().items()}}
    if isinstance(value, Mapping):
        return {"is": "pairs", "pairs": [[_plain(key), _plain(each)] for key, each in value.items()]}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    assert value is None or isinstance(value, str | int | float), type(value)
    return value


def _read(value: object) -> object:
    if isinstance(value, list):
        return tuple(_read(each) for each in value)
    if not isinstance(value, dict):
        return value
    kind = value["is"]
    if kind == "pairs":
        return {_read(key): _read(each) for key, each in value["pairs"]}
    return _KINDS[kind](**{name: _read(each) for name, each in value.items() if name != "is"})
