"""What the trade says of codes with their state, of codes that are missing, and of trim codes held side by side."""

from __future__ import annotations

import pytest

from diag.network import expected_codes
from tests.sense.asking import ALL, SOME, Asked, ask, knowledge, told

HISTORY = "{did: replace_injector, cylinder: 2, ago: 1 months}"
ROUGH = "rough_idle: present"


def own(engine: str, cylinder: int, spare: int = 0) -> str:
    """A code in the engine's own format that no other cylinder has."""
    form = knowledge().engines[engine].trim_code
    assert form.alphabet is not None
    assert form.length is not None
    return form.alphabet[cylinder + 8 * spare] + form.alphabet[-1] * (form.length - 1)


def ledger(engine: str, stored: dict[int, str]) -> str:
    """The ledger of the whole engine: every injector with its own code, these stored, the others as they should be."""
    cylinders = knowledge().engines[engine].cylinders
    lines = [
        f"  {number}: {{part: '{own(engine, number)}', unit: '{stored.get(number, own(engine, number))}'}}"
        for number in cylinders
    ]
    return "trim_codes:\n" + "\n".join(lines) + "\n"


def asked(engine: str, stored: dict[int, str] | None, history: str = HISTORY) -> Asked:
    text = told(history=history, findings=ROUGH)
    return ask(engine, text if stored is None else text + ledger(engine, stored))


@pytest.mark.parametrize("engine", ALL)
def test_codes_that_all_agree_clear_the_trim_code(engine: str) -> None:
    """Rough since the change, all codes read back and the same: the code is not it. Common practice, no source."""
    before, after = asked(engine, None).p("trim_code", 2), asked(engine, {}).p("trim_code", 2)
    assert after < before / 5


@pytest.mark.parametrize("engine", ALL)
def test_no_code_stored_for_the_new_injector_is_the_cause(engine: str) -> None:
    """The control unit holds none for it: not coded. Common practice, no source."""
    found = asked(engine, {2: "none"})
    assert found.p("trim_code", 2, "not_written") > 0.9


@pytest.mark.parametrize("engine", ALL)
def test_the_code_of_another_injector_is_on_the_wrong_cylinder(engine: str) -> None:
    """Stored for 2 is what is printed on 1: swapped, not unwritten. Common practice, no source."""
    found = asked(engine, {2: own(engine, 1), 1: own(engine, 2)})
    wrong, unwritten = found.p("trim_code", 2, "wrong_cylinder"), found.p("trim_code", 2, "not_written")
    assert wrong > 0.7
    assert wrong > 3 * unwritten


@pytest.mark.parametrize("engine", ALL)
def test_a_code_that_no_injector_carries_is_not_right(engine: str) -> None:
    """It differs from the part and is of no other: most likely the old one, never written anew. Common practice."""
    found = asked(engine, {2: own(engine, 2, spare=1)})
    assert found.p("trim_code", 2) > 0.9
    assert found.p("trim_code", 2, "not_written") > found.p("trim_code", 2, "wrong_cylinder")


@pytest.mark.parametrize("engine", ("ostrel_4", "karrick_v6", "karrick_v8"))
def test_codes_in_the_order_of_firing_point_to_the_numbering(engine: str) -> None:
    """Some control units count injectors by firing order: from memory, no source."""
    order = knowledge().engines[engine].firing_order
    stored = {place: own(engine, number) for place, number in enumerate(order, start=1)}
    history = ", ".join(f"{{did: [replace_injector, write_code], cylinder: {n}, ago: 1 months}}" for n in (2, 3))
    before, after = asked(engine, None, history), asked(engine, stored, history)
    assert after.p("code_numbering") > 0.6
    assert after.p("code_numbering") > 3 * before.p("code_numbering")


@pytest.mark.parametrize("engine", SOME)
def test_a_confirmed_code_says_more_than_a_pending_one_and_one_not_tested_nothing(engine: str) -> None:
    """Stored > pending > nothing told = not tested > tested and passed, for the circuit of cylinder 2 (P0202).
    Common practice, no source."""
    chances = {
        state: ask(engine, told(findings="misfire_felt: present", codes=f"P0202 {state}")).level("circuit", 2, "broken")
        for state in ("stored", "intermittent", "pending", "not tested", "passed")
    }
    nothing = ask(engine, told(findings="misfire_felt: present")).level("circuit", 2, "broken")
    assert chances["stored"] == pytest.approx(chances["intermittent"], abs=1e-12)
    assert chances["stored"] > 2 * chances["pending"] > 4 * nothing
    assert chances["not tested"] == pytest.approx(nothing, abs=1e-12)
    assert chances["passed"] < nothing


@pytest.mark.parametrize("engine", SOME)
def test_a_dead_circuit_without_its_code_is_missing_one(engine: str) -> None:
    """An open wire found on 2 and codes read: its circuit code would be expected. Common practice, no source."""
    text = told(findings="wire_open: {2: present}, weak_cutout: {2: present}", codes="P0300")
    found = ask(engine, text).weighed
    missing = {(each.item, each.place): each for each in expected_codes(found.network, found.posterior)}
    assert ("circuit_code", 2) in missing
    assert not missing["circuit_code", 2].looked_for
    looked = ask(engine, text.replace("{wire_open:", "{circuit_code: {2: absent}, wire_open:")).weighed
    still = {(each.item, each.place): each for each in expected_codes(looked.network, looked.posterior)}
    assert still["circuit_code", 2].looked_for


@pytest.mark.parametrize("engine", SOME)
def test_where_nobody_read_codes_none_is_missing(engine: str) -> None:
    found = ask(engine, told(findings="wire_open: {2: present}")).weighed
    assert expected_codes(found.network, found.posterior) == ()


@pytest.mark.parametrize("engine", SOME)
def test_no_stored_code_proves_little(engine: str) -> None:
    """Everything read and nothing stored: a worn seal is hardly less likely. Common practice, no source."""
    text = told(findings="chuff: {2: present}, fumes: present")
    before, after = ask(engine, text), ask(engine, text + "other_codes: none\n")
    assert after.p("seal", 2) > 0.8 * before.p("seal", 2)
