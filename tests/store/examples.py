"""Journals made by chance, all of them such as could be written. May import: hypothesis, `diag.store`."""

from __future__ import annotations

from hypothesis import strategies as st

from diag.casebook import Answer, Measured, Work
from diag.store import (
    Attached,
    Closed,
    Draft,
    Event,
    Finding,
    Fitted,
    Found,
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

__all__ = ["as_events", "journals", "outcomes", "steps"]

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
PLACES = st.sampled_from([None, 1, 2, 3, "A"])
NUMBERS = st.floats(0, 1e6)
ANSWERS = st.builds(
    Answer,
    st.sampled_from(["fumes", "tar", "chuff"]),
    PLACES,
    st.sampled_from(["present", "absent", "not_sure"]),
    st.sampled_from([None, "cold", "load"]),
)
MEASURED = st.builds(
    Measured,
    st.sampled_from(["correction", "return_flow"]),
    PLACES,
    NUMBERS,
    st.just("mg/stroke"),
    st.sampled_from(["", "above"]),
    st.none(),
)
WORKS = st.builds(
    Work,
    st.sampled_from(["reseal", "replace_injector"]),
    PLACES,
    st.none() | NUMBERS,
    st.none() | NUMBERS,
    st.sampled_from([None, "no", "for_a_while"]),
    TEXTS,
)
DRAFTS = st.builds(Draft, st.just("ostrel_4"), TEXTS, distance_km=st.none() | NUMBERS, note=TEXTS)


def outcomes() -> st.SearchStrategy[Outcome]:
    """Outcomes of every kind."""
    found = st.builds(
        Found, st.just("seal"), st.just("blown"), PLACES, st.sampled_from(["seen", "measured", "inferred"])
    )
    fitted = st.builds(Fitted, st.just("reseal"), PLACES, st.integers(1, 8))
    return st.builds(
        Outcome,
        st.sampled_from(["yes", "partly", "no", "not_known"]),
        st.lists(found, max_size=3).map(tuple),
        st.lists(fitted, max_size=2).map(tuple),
        st.none() | NUMBERS,
        st.none() | NUMBERS,
        st.just("EUR"),
        TEXTS,
    )


def steps() -> st.SearchStrategy[Payload]:
    """One event that an open case can take."""
    return st.one_of(
        st.builds(Finding, ANSWERS),
        st.builds(Reading, MEASURED),
        st.builds(Repair, st.lists(WORKS, min_size=1, max_size=2).map(tuple)),
        st.builds(Retold, DRAFTS),
        st.builds(Remark, TEXTS),
        st.builds(Linked, st.sampled_from(["u1", "u2"])),
        st.builds(Attached, st.just("ab" * 32), TEXTS, st.integers(0, 10)),
    )


@st.composite
def journals(draw: st.DrawFn, undos: bool = True) -> tuple[Payload, ...]:
    """A journal from its opening, with undos in between, perhaps closed."""
    told: list[Payload] = [Opened(draw(DRAFTS))]
    for _ in range(draw(st.integers(0, 10))):
        back = undos and len(told) > 1 and draw(st.integers(0, 4)) == 0
        told.append(Undo(draw(st.integers(1, len(told) - 1))) if back else draw(steps()))
    if draw(st.booleans()):
        told.append(Closed(draw(outcomes())))
    return tuple(told)


def as_events(payloads: tuple[Payload, ...]) -> tuple[Event, ...]:
    """Payloads as the events of one journal."""
    return tuple(
        Event(number, f"2026-01-01T00:00:{number:02}.000000+00:00", "", payload)
        for number, payload in enumerate(payloads, start=1)
    )
