"""The state of a case follows from its journal, whatever was written and taken back."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.basics import BookError, UsageError
from diag.casebook import Answer, Epoch, Measured, Work
from diag.store import (
    Closed,
    Draft,
    Erased,
    Finding,
    Opened,
    Outcome,
    Payload,
    Reading,
    Remark,
    Repair,
    Retold,
    Standing,
    Undo,
    changes,
    fold,
    opening,
)
from diag.store.codec import payload_of, payload_text
from tests.store.examples import DRAFTS, as_events, journals, steps
from tests.support.effort import effort

OPENED = Opened(Draft("ostrel_4", "Skerry van"))


def shown(standing: Standing) -> dict[str, object]:
    """All that a person sees of a case, its revision apart."""
    return {field.name: getattr(standing, field.name) for field in fields(standing) if field.name != "revision"}


@effort(150)
@given(journals(), st.lists(steps(), min_size=1, max_size=6))
def test_any_events_then_an_undo_give_back_the_earlier_state(journal: tuple[Payload, ...], more: list[Payload]) -> None:
    """From whatever state, whatever follows: going back to a revision shows what stood there."""
    if isinstance(journal[-1], Closed):
        more = [each for each in more if isinstance(each, Remark)] or [Remark("late")]
    before = fold(as_events(journal))
    after = fold(as_events((*journal, *more, Undo(len(journal)))))
    assert shown(after) == shown(before)
    assert after.revision == len(journal) + len(more) + 1


@effort(100)
@given(journals(undos=False))
def test_undoing_step_by_step_walks_back_to_the_opening(journal: tuple[Payload, ...]) -> None:
    """Each plain undo goes on from where the last one went; at the end nothing is left to take back."""
    told = journal
    for number in range(len(journal) - 1, 0, -1):
        told = (*told, Undo(fold(as_events(told)).step_back))
        assert shown(fold(as_events(told))) == shown(fold(as_events(journal[:number])))
    assert fold(as_events(told)).step_back == 0


@effort(100)
@given(journals(), st.data())
def test_an_undo_can_be_taken_back(journal: tuple[Payload, ...], data: st.DataObject) -> None:
    """Going to the revision before the undo shows again what the undo took away."""
    if len(journal) < 2:
        journal = (*journal, Remark("one more"))
    back = data.draw(st.integers(1, len(journal) - 1))
    again = fold(as_events((*journal, Undo(back), Undo(len(journal)))))
    assert shown(again) == shown(fold(as_events(journal)))


@effort(150)
@given(journals())
def test_an_event_is_stored_and_read_as_it_was(journal: tuple[Payload, ...]) -> None:
    """Every digit, every character, whether a place is a number or a letter."""
    for event in as_events(journal):
        assert payload_of(event.kind, payload_text(event.payload), "here") == event.payload


@effort(100)
@given(DRAFTS, journals(undos=False), journals(undos=False))
def test_the_changes_from_one_case_to_another_lead_there(
    begun: Draft, one: tuple[Payload, ...], two: tuple[Payload, ...]
) -> None:
    """Whatever differs, and nothing where nothing does."""
    before, after = fold(as_events(one)).draft, fold(as_events(two)).draft
    told = (Opened(before), *changes(before, after))
    assert fold(as_events(told)).draft == after
    assert changes(after, after) == ()
    assert fold(as_events(opening(after))).draft == after


def test_what_was_added_is_added_and_not_told_anew() -> None:
    """A finding, a reading and a visit more are three events."""
    before = Draft("ostrel_4", epochs=(Epoch((), (Answer("fumes", None, "present"),)),))
    seen, taken = Answer("tar", 2, "present"), Measured("correction", 2, 0.9, "mg/stroke")
    work = Work("reseal", 2)
    first = replace(before.epochs[0], answers=(*before.epochs[0].answers, seen), measured=(taken,))
    after = replace(before, epochs=(first, Epoch((work,))))
    assert changes(before, after) == (Finding(seen), Reading(taken), Repair((work,)))
    assert changes(before, replace(before, title="another")) == (Retold(replace(before, title="another")),)


def test_an_answer_takes_the_place_of_the_earlier_one_to_the_same_question() -> None:
    told = (OPENED, Finding(Answer("tar", 2, "present")), Finding(Answer("tar", 2, "absent")))
    assert fold(as_events(told)).draft.epochs[-1].answers == (Answer("tar", 2, "absent"),)


def test_erasing_the_customer_is_no_step_to_take_back() -> None:
    told = (OPENED, Remark("a"), Erased())
    assert fold(as_events(told)).step_back == 1


CLOSED = Closed(Outcome("yes"))


@pytest.mark.parametrize(
    ("told", "message"),
    [
        ((), "a journal without events is no case"),
        ((Remark("x"),), "begins with the opening"),
        ((OPENED, OPENED), "open already"),
        ((OPENED, CLOSED, Finding(Answer("tar", 2, "present"))), "the case is closed; take the closing back first"),
        ((OPENED, CLOSED, CLOSED), "closed already"),
        ((OPENED, Undo(1)), "nothing but its opening was told yet"),
        ((OPENED, Remark("x"), Undo(2)), "cannot be taken back to revision 2; it can go back to 1 to 1"),
        ((OPENED, Remark("x"), Undo(0)), "cannot be taken back to revision 0"),
    ],
)
def test_what_makes_no_sense_is_refused(told: tuple[Payload, ...], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        fold(as_events(told))


def test_a_hole_in_a_journal_is_seen() -> None:
    events = as_events((OPENED, Remark("a"), Remark("b")))
    with pytest.raises(UsageError, match="event 2 of the case is missing"):
        fold((events[0], events[2]))


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [
        ("dreamt", "{}", "there is no kind of event 'dreamt'; a newer diag may have written it"),
        ("note", "{", "this is not JSON"),
        ("note", "[]", "should be a mapping"),
        ("note", "{}", "'text' is missing"),
        ("note", '{"text":"a","mood":1}', "'mood' is not known here"),
        ("undo", '{"back_to":"1"}', '"1" does not belong here'),
        ("undo", '{"back_to":true}', "true does not belong here"),
        ("closed", '{"outcome":{"cured":"maybe"}}', '"maybe" does not belong here'),
        ("reading", '{"measured":{"item":"a","place":1,"value":1e999,"unit":"V"}}', "does not belong here"),
    ],
)
def test_a_line_that_cannot_be_read_says_where_and_what(kind: str, text: str, message: str) -> None:
    with pytest.raises(BookError, match=f"case 7, revision 3.*{message}|{message}") as caught:
        payload_of(kind, text, "case 7, revision 3")
    assert caught.value.message.startswith("case 7, revision 3")


def test_text_that_is_no_text_is_refused_before_anything_is_written() -> None:
    with pytest.raises(UsageError, match="not text in UTF-8"):
        payload_text(Remark("a\ud800b"))
