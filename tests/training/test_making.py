"""Cases by wish, and the secrecy of the key."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from diag.basics import UsageError
from diag.casebook import NOT_LOOKED, NOT_SURE, Answer, Case, Epoch, Measured, Work
from diag.knowledge_base import Knowledge, load_knowledge
from diag.store import Found, Outcome
from diag.training import Asked, Bench, TruthPart, Wish, ask, from_book, grade_of, made, seed_of, start
from diag.training.difficulty import CUTS, obvious_guess
from tests.support.effort import LONG

KEY, OTHER = b"sixteen bytes or more", b"another secret of a trainer"


@pytest.fixture(scope="module")
def known() -> Knowledge:
    return load_knowledge()


def test_the_seed_is_hmac_sha_256_by_its_definition() -> None:
    """RFC 2104: H(K xor opad, H(K xor ipad, text)), with SHA-256's block of 64 bytes, reckoned from that formula."""
    wish = Wish("ostrel_4", fault="seal")
    text = f"diag practice case|{wish.text}|7|0".encode()
    block = KEY.ljust(64, b"\0")
    inner = hashlib.sha256(bytes(b ^ 0x36 for b in block) + text).digest()
    outer = hashlib.sha256(bytes(b ^ 0x5C for b in block) + inner).digest()
    assert seed_of(KEY, wish, 7) == int.from_bytes(outer[:16], "big")


def test_same_key_wish_and_number_same_case(known: Knowledge) -> None:
    wish = Wish("ostrel_4", faults=1)
    one, again = made(known, wish, 3, KEY), made(known, wish, 3, KEY)
    assert one.practice == again.practice
    assert one.hidden == again.hidden


@pytest.mark.parametrize("changed", ["key", "number", "wish"])
def test_another_key_number_or_wish_is_another_vehicle(known: Knowledge, changed: str) -> None:
    """Whoever lacks the key cannot make the case again: of twenty cases none is alike under another key."""
    for number in range(1, 5):
        one = made(known, Wish("ostrel_4", faults=1), number, KEY)
        key = OTHER if changed == "key" else KEY
        wish = Wish("ostrel_4", faults=1, complaint="rough_idle") if changed == "wish" else Wish("ostrel_4", faults=1)
        two = made(known, wish, number + 50 * (changed == "number"), key)
        assert one.hidden.first.seed != two.hidden.first.seed
        assert one.hidden.first.noise != two.hidden.first.noise


def test_a_key_that_could_be_guessed_is_refused(known: Knowledge) -> None:
    with pytest.raises(UsageError, match="could be guessed"):
        made(known, Wish("ostrel_4"), 1, b"secret")


@pytest.mark.parametrize(
    "wish",
    [
        Wish("ostrel_4", fault="seal", state="blown", place=3, faults=1),
        Wish("velm_5", fault="wiring", faults=1, history=True),
        Wish("karrick_v6", fault="bank_circuit", state="loom", place="B", faults=1),
        Wish("ostrel_3", fault="mounts", faults=1, complaint="rough_idle"),
        Wish("ostrel_4", fault="injector", faults=2),
        Wish("ostrel_4", faults=3),
        Wish("ostrel_4", fault="unlisted", faults=1),
        Wish("velm_5", fault="cylinder_unlisted", faults=2),
    ],
    ids=lambda wish: wish.text,
)
def test_a_wish_is_met(known: Knowledge, wish: Wish) -> None:
    """Fault, state, place, number of faults, complaint, history."""
    for number in (1, 2):
        case = made(known, wish, number, KEY)
        faults = case.hidden.faults
        assert wish.faults is None or len(faults) == wish.faults
        if wish.fault:
            mine = [each for each in faults if each.component == wish.fault]
            assert mine
            assert not wish.state or any(each.state == wish.state for each in mine)
            assert wish.place is None or any(each.place == wish.place for each in mine)
        told = case.practice.start.epochs[0].answers
        assert told
        assert not wish.complaint or told[0] == Answer(wish.complaint, None, "present")
        assert bool(case.practice.start.history) == wish.history
        assert all(known.findings[each.item].kind == "symptom" for each in told)


def test_a_fault_that_cannot_be_is_refused(tmp_path: Path) -> None:
    """A workshop's own knowledge may rule one out."""
    overlay = tmp_path / "own.yaml"
    overlay.write_text("components:\n  control_unit: {chance: {faulty: 0 %}}\n", encoding="utf-8")
    with pytest.raises(UsageError, match="no such fault"):
        made(load_knowledge(overlays=[overlay]), Wish("ostrel_4", fault="control_unit", faults=1), 1, KEY)


@pytest.mark.parametrize("wanted", ["little", "much"])
def test_the_obvious_guess_misleads_as_wished(known: Knowledge, wanted: str) -> None:
    case = made(known, Wish("ostrel_3", faults=1, misleading=wanted), 1, KEY)  # type: ignore[arg-type]
    bench = Bench.of(known, case.practice)
    guess, _ = obvious_guess(bench, bench.start)
    right = any((each.component, each.place) == guess for each in case.hidden.faults)
    assert right == (wanted == "little")


@pytest.mark.skipif(not LONG, reason="measuring takes minutes: DIAG_TESTS=long")
@pytest.mark.parametrize("grade", [1, 4])
def test_a_grade_is_met(known: Knowledge, grade: int) -> None:
    case = made(known, Wish("ostrel_3", faults=1, grade=grade), 1, KEY)
    assert case.difficulty is not None
    assert case.difficulty.grade == grade == case.practice.grade


def test_grades_rise_with_the_hours() -> None:
    """The cuts stand between the grades, and a cut belongs to the harder one."""
    edges = [0.0, *CUTS]
    assert [grade_of(hours) for hours in edges] == [1, 2, 3, 4, 5]
    assert [grade_of(hours - 1e-9) for hours in CUTS] == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        (Wish("ostrel_9"), "did you mean"),
        (Wish("ostrel_4", fault="seel"), "did you mean 'seal'"),
        (Wish("ostrel_4", fault="seal", state="burst"), "no unsound state"),
        (Wish("ostrel_4", fault="seal", place=9), "cylinder"),
        (Wish("ostrel_4", place=2), "goes with a fault"),
        (Wish("ostrel_4", complaint="tar"), "is no complaint"),
        (Wish("ostrel_4", faults=9), "between 1 and 4"),
        (Wish("ostrel_4", grade=9), "between 1"),
    ],
    ids=str,
)
def test_a_wish_that_makes_no_sense_is_refused(known: Knowledge, wish: Wish, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        made(known, wish, 1, KEY)


def book_case(known: Knowledge) -> Case:
    told = (Answer("rough_idle", None, "present"), Answer("tar", 2, "present"), Answer("chuff", 2, "present"))
    return Case(
        "Mrs Example's van, AB 123",
        known.engines["ostrel_4"],
        "ostrel_4",
        distance_km=187_654.0,
        age_years=11.0,
        history=(Work("reseal", 1, months_ago=8.0, note="done at Example's"),),
        epochs=(Epoch(answers=told, measured=(Measured("correction", 2, 2.9, "mg/stroke"),)),),
        note="call Mrs Example",
    )


def test_a_closed_case_loses_its_names_and_keeps_its_answers(known: Knowledge) -> None:
    """What was found is the truth, what was told is answered as it was, and no name, note or exact distance is left."""
    outcome = Outcome("yes", (Found("seal", "blown", 2, "seen"),))
    practice, hidden = from_book(known, 17, book_case(known), outcome, 5)
    assert hidden.faults == (TruthPart("seal", 2, "blown"),)
    assert [each.item for each in practice.start.epochs[0].answers] == ["rough_idle"]
    assert practice.start.distance_km == 188_000.0
    text = repr(practice)
    assert "Example" not in text
    assert "187654" not in text
    event = ask(Bench.of(known, practice), start(practice, hidden), "look_into_wells", "A").play.events[-1]
    assert isinstance(event, Asked)
    assert Answer("tar", 2, "present") in event.found


def test_where_nobody_had_looked_a_trainee_sees_the_vehicle(known: Knowledge) -> None:
    """'Not looked at' and 'could not tell' of the closed case are no answers; what was found stays as it was."""
    case = book_case(known)
    open_ended = (Answer("tar", 1, NOT_LOOKED), Answer("well_clean", 1, NOT_SURE), Answer("tar", 3, "absent"))
    first = replace(case.epochs[0], answers=(*case.epochs[0].answers, *open_ended))
    outcome = Outcome("yes", (Found("seal", "blown", 2, "seen"),))
    practice, hidden = from_book(known, 17, replace(case, epochs=(first,)), outcome, 5)
    assert ("tar", 1, None) not in hidden.scripted
    assert ("well_clean", 1, None) not in hidden.scripted
    event = ask(Bench.of(known, practice), start(practice, hidden), "look_into_wells", "A").play.events[-1]
    assert isinstance(event, Asked)
    assert all(getattr(each, "answer", "") != NOT_LOOKED for each in event.found)
    assert Answer("tar", 3, "absent") in event.found


def test_how_the_control_unit_numbers_stays_open_where_nobody_knew_and_it_was_read(known: Knowledge) -> None:
    """Recorded corrections may be of other cylinders; where none was read, or somebody knew, nothing is open."""
    outcome, case = Outcome("yes", (Found("seal", "blown", 2, "seen"),)), book_case(known)
    told = replace(case.epochs[0], measured=())
    assert from_book(known, 17, case, outcome, 5)[0].start.numbering is None
    assert from_book(known, 17, replace(case, epochs=(told,)), outcome, 5)[0].start.numbering == "by_cylinder"
    looked_up = replace(case, numbering="from_other_end")
    assert from_book(known, 17, looked_up, outcome, 5)[0].start.numbering == "from_other_end"


def test_a_made_case_numbers_as_the_maker_does_whatever_was_done_to_the_vehicle(known: Knowledge) -> None:
    """Also where an injector had been coded, as what leads such work astray is how the control unit numbers."""
    wish = Wish("ostrel_4", fault="trim_code", state="wrong_cylinder", history=True)
    cases = [made(known, wish, number, KEY) for number in range(1, 5)]
    assert any(each.repair == "write_code" for one in cases for each in one.practice.start.history)
    for each in cases:
        assert each.practice.start.numbering == "by_cylinder"
        assert each.hidden.world.states.get(("code_numbering", None), 0) == 0


def test_a_closed_case_that_says_nothing_cannot_be_practised(known: Knowledge) -> None:
    with pytest.raises(UsageError, match="without saying what was found"):
        from_book(known, 17, book_case(known), Outcome("yes"), 5)
