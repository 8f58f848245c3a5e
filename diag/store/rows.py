"""Writes the rows of a case: its events, and the line by which it is listed and searched.

May import: within the room the records, the fold and `sql`.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from diag.store.codec import payload_text
from diag.store.folding import Standing
from diag.store.records import Customer, Event
from diag.store.sql import Session, Value

__all__ = ["place_text", "search_words", "write_customer", "write_events", "write_summary"]

_WORD = re.compile(r"[^\W_]+")

_SUMMARY = (
    "uid", "revision", "title", "engine", "is_open", "opened_at", "changed_at", "closed_at", "cured", "come_back_of",
    "words",
)  # fmt: skip
_WRITE_SUMMARY = (
    f"INSERT INTO cases (number, {', '.join(_SUMMARY)}) VALUES (:number, {', '.join(f':{name}' for name in _SUMMARY)}) "
    f"ON CONFLICT (number) DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in _SUMMARY)}"
)
_WRITE_EVENT = (
    "INSERT INTO events (number, revision, kind, at, by_whom, data) VALUES (:number, :revision, :kind, :at, :by, :data)"
)
_WRITE_FOUND = (
    "INSERT INTO found (number, component, state, place, sure) VALUES (:number, :component, :state, :place, :sure)"
)


def write_events(session: Session, number: int, events: Sequence[Event]) -> None:
    """Add events to a journal."""
    session.many(
        _WRITE_EVENT,
        [
            {
                "number": number,
                "revision": event.revision,
                "kind": event.kind,
                "at": event.at,
                "by": event.by,
                "data": payload_text(event.payload),
            }
            for event in events
        ],
    )


def write_summary(session: Session, number: int, uid: str, events: Sequence[Event], standing: Standing) -> None:
    """Write the line of a case, new or over the one that is there, and what was found in it."""
    outcome, links = standing.outcome, standing.links
    values: dict[str, Value] = {
        "number": number,
        "uid": uid,
        "revision": events[-1].revision,
        "title": standing.draft.title.replace("\0", " "),
        "engine": standing.draft.engine_id,
        "is_open": int(outcome is None),
        "opened_at": events[0].at,
        "changed_at": events[-1].at,
        "closed_at": standing.closed_at,
        "cured": outcome.cured if outcome is not None else "",
        "come_back_of": links[-1].uid if links else "",
        "words": " ".join(_words(standing)),
    }
    session.run(_WRITE_SUMMARY, **values)
    session.run("DELETE FROM found WHERE number = :number", number=number)
    if outcome is not None:
        session.many(
            _WRITE_FOUND,
            [
                {
                    "number": number,
                    "component": found.component,
                    "state": found.state,
                    "place": place_text(found.place),
                    "sure": found.sure,
                }
                for found in outcome.found
            ],
        )


def write_customer(session: Session, number: int, customer: Customer) -> None:
    """Write who the customer of a case is, over what is there."""
    session.run(
        "INSERT INTO customers (number, name, plate) VALUES (:number, :name, :plate) "
        "ON CONFLICT (number) DO UPDATE SET name = excluded.name, plate = excluded.plate",
        number=number,
        name=customer.name,
        plate=customer.plate,
    )


def place_text(place: int | str | None) -> str:
    """A place as the tables keep it: '2', 'A', or nothing for the vehicle."""
    return "" if place is None else str(place)


def search_words(text: str) -> list[str]:
    """The words of a text as they are searched: small letters, without accents, letters and digits only."""
    spread = unicodedata.normalize("NFKD", text.casefold())
    return _WORD.findall("".join(each for each in spread if not unicodedata.combining(each)))


def _words(standing: Standing) -> list[str]:
    """Every word by which a case can be found, each once, in order."""
    draft, outcome = standing.draft, standing.outcome
    epochs = draft.epochs
    texts = [
        draft.title,
        draft.note,
        draft.engine_id,
        *(
            f"{work.repair} {work.note}"
            for work in (*draft.history, *(each for epoch in epochs for each in epoch.work))
        ),
        *(answer.item for epoch in epochs for answer in epoch.answers),
        *(measured.item for epoch in epochs for measured in epoch.measured),
        *standing.remarks,
        *(attached.name for attached in standing.files),
    ]
    if outcome is not None:
        texts += [outcome.note, *(f"{found.component} {found.state}" for found in outcome.found)]
        texts += [fitted.item for fitted in outcome.fitted]
    return list(dict.fromkeys(word for text in texts for word in search_words(text)))
