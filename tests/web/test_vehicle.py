"""The vehicle's own page without any script: distance and age, history, trim codes, and the link to an earlier case."""

from __future__ import annotations

import re

import pytest

from diag.casebook import Answer, Case, read_case
from diag.store import KINDS, Kept
from tests.web.served import Browser
from tests.worksheet.plans import KNOWLEDGE

CODES = {1: "0A1B2C3D4E5F6071", 2: "1B2C3D4E5F607182", 3: "2C3D4E5F60718293", 4: "3D4E5F60718293A4"}


def _begin(browser: Browser, engine: str = "ostrel_4") -> int:
    answer = browser.send("/cases/new", title="Skerry van", engine=engine, distance="150000", age="9")
    return int(str(answer.url).split("/case/")[1].split("?")[0])


def _stands(browser: Browser, number: int) -> tuple[Kept, Case]:
    found: tuple[Kept, Case] = browser.client.app.state.shop.keeping.read(number)  # type: ignore[attr-defined]
    return found


def _send(browser: Browser, number: int, form: str, status: int = 200, **fields: str) -> str:
    on = browser.revision(number)
    answer = browser.client.post(
        f"/case/{number}/{form}",
        data={"token": browser.token(), "on": on, **fields},
        follow_redirects=True,
    )
    assert answer.status_code == status, answer.text
    return answer.text


def _undo(browser: Browser, number: int) -> str:
    return _send(browser, number, "undo", to="vehicle")


def _as_file(text: str) -> Case:
    """What a case file says, which is what the command line reads."""
    return read_case("case.yaml", KNOWLEDGE, f"title: Skerry van\nengine: ostrel_4\n{text}")


def test_the_vehicle_is_kept_as_a_case_file_would_say_it_and_taken_back(browser: Browser) -> None:
    number = _begin(browser)
    text = _send(browser, number, "vehicle", title="Skerry van", distance="187000 km", age="11 years 4 months")
    assert "Taken." in text and 'value="187000 km"' in text
    told = _as_file("distance: 187000 km\nage: 11 years 4 months\n")
    _, case = _stands(browser, number)
    assert (case.distance_km, case.age_years) == (told.distance_km, told.age_years)
    shown = browser.client.get(f"/case/{number}/vehicle").text
    assert 'value="11 years 4 months"' in shown
    assert "what is known of the vehicle" in text
    _undo(browser, number)
    _, case = _stands(browser, number)
    assert (case.distance_km, case.age_years) == (150000.0, 9.0)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"distance": "far", "age": ""}, "is not a number with a unit"),
        ({"distance": "9000000 km", "age": ""}, "it lies between 0 and 5000000 km"),
        ({"distance": "", "age": "11 bar"}, "bar"),
        ({"distance": "", "age": "", "numbering": "as I like"}, "no numbering"),
    ],
)
def test_a_vehicle_that_cannot_be_is_refused_and_what_was_typed_stays(
    browser: Browser, fields: dict[str, str], said: str
) -> None:
    number = _begin(browser)
    before = _stands(browser, number)
    text = _send(browser, number, "vehicle", 422, title="Skerry van", **fields)
    alert = text.split('role="alert"')[1].split("</div>")[0]
    assert said in alert
    assert f'name="distance" maxlength="30" autocomplete="off" value="{fields["distance"]}"' in text
    assert _stands(browser, number) == before


def test_history_is_told_changed_and_taken_out(browser: Browser) -> None:
    """As `history: [{did: replace_injector, cylinder: [2, 3], ago: [4 months, 6000 km], helped: yes}]` says it."""
    number = _begin(browser)
    on, token = browser.revision(number), browser.token()
    sent = {"token": token, "on": on, "repair": "replace_injector", "at": ["2", "3"], "months": "4", "km": "6000"}
    answer = browser.client.post(f"/case/{number}/history", data={**sent, "helped": "yes"}, follow_redirects=True)
    assert answer.status_code == 200, answer.text
    told = _as_file("history: [{did: replace_injector, cylinder: [2, 3], ago: [4 months, 6000 km], helped: yes}]\n")
    assert _stands(browser, number)[1].history == told.history
    assert "replace the injector, cylinder 2, 4 months ago" in answer.text
    page = browser.client.get(f"/case/{number}/vehicle", params={"change": 2}).text
    assert 'value="4 months"' in page and re.search(r'name="at" value="3" checked', page)
    _send(browser, number, "history", which="2", repair="reseal", at="4", months="1 year", helped="")
    history = _stands(browser, number)[1].history
    assert [(work.repair, work.place, work.months_ago) for work in history] == [
        ("replace_injector", 2, 4.0),
        ("reseal", 4, 12.0),
    ]
    _send(browser, number, "history", remove="1")
    assert [work.repair for work in _stands(browser, number)[1].history] == ["reseal"]
    _undo(browser, number)
    assert len(_stands(browser, number)[1].history) == 2


def test_an_exchange_in_the_history_names_both_cylinders(browser: Browser) -> None:
    number = _begin(browser)
    _send(browser, number, "history", repair="swap_injectors", at="1", other="4", months="2")
    assert _stands(browser, number)[1].history[0].places == (1, 4)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"repair": "no_such"}, "choose the work"),
        ({"repair": "reseal"}, "tick which"),
        ({"repair": "reseal", "at": "9"}, "no cylinder 9"),
        ({"repair": "reseal", "at": "2", "months": "40 years"}, "the vehicle did not exist"),
        ({"repair": "reseal", "at": "2", "km": "900000"}, "before the vehicle had run at all"),
        ({"repair": "reseal", "at": "2", "months": "4 bar"}, "no unit of time or distance"),
        ({"repair": "swap_injectors", "at": "2"}, "two cylinders"),
        ({"repair": "reseal", "at": "2", "helped": "perhaps"}, "does not say whether it helped"),
        ({"which": "7", "repair": "reseal", "at": "2"}, "stands no longer in the history"),
        ({"remove": "x"}, "stands no longer in the history"),
    ],
)
def test_work_that_cannot_be_is_refused_in_words(browser: Browser, fields: dict[str, str], said: str) -> None:
    number = _begin(browser)
    before = _stands(browser, number)
    assert said in _send(browser, number, "history", 422, **fields)
    assert _stands(browser, number) == before


def test_no_work_can_be_older_than_the_vehicle_is_made_afterwards(browser: Browser) -> None:
    number = _begin(browser)
    _send(browser, number, "history", repair="reseal", at="2", km="100000")
    text = _send(browser, number, "vehicle", 422, title="Skerry van", distance="50000 km", age="9 years")
    assert "before the vehicle had run at all" in text


def _ledger(**changed: str) -> dict[str, str]:
    told = {f"{where}:{cylinder}": code for cylinder, code in CODES.items() for where in ("part", "unit")}
    return told | {name.replace("_at_", ":"): code for name, code in changed.items()}


def test_codes_side_by_side_answer_what_a_case_file_with_them_would(browser: Browser) -> None:
    number = _begin(browser)
    text = _send(browser, number, "trim", **_ledger(unit_at_2="none"))
    lines = [f'  {each}: {{part: "{code}", unit: {code if each != 2 else "none"!r}}}' for each, code in CODES.items()]
    told = _as_file("trim_codes:\n" + "\n".join(lines).replace("'none'", "none") + "\n")
    _, case = _stands(browser, number)
    assert case.trim_codes == told.trim_codes
    assert set(case.epochs[-1].answers) == set(told.epochs[-1].answers)
    assert Answer("code_not_stored", 2, "present") in case.epochs[-1].answers
    assert 'value="none"' in text


def test_a_ledger_that_is_set_right_no_longer_says_what_it_said(browser: Browser) -> None:
    number = _begin(browser)
    _send(browser, number, "trim", **_ledger(unit_at_2="none"))
    _send(browser, number, "trim", **_ledger())
    answers = _stands(browser, number)[1].epochs[-1].answers
    assert Answer("code_not_stored", 2, "present") not in answers
    assert Answer("code_mismatch", 2, "absent") in answers
    _undo(browser, number)
    assert Answer("code_not_stored", 2, "present") in _stands(browser, number)[1].epochs[-1].answers


def test_codes_read_again_after_work_are_told_of_the_time_after_it(browser: Browser) -> None:
    """What has not changed is not told a second time: nobody read it again."""
    number = _begin(browser)
    _send(browser, number, "trim", **_ledger(unit_at_2="none"))
    _send(browser, number, "tried", repair="write_code", place="2", helped="", fault="", other="")
    assert _stands(browser, number)[1].epochs[-1].answers == ()
    _send(browser, number, "trim", **_ledger())
    first, latest = _stands(browser, number)[1].epochs
    assert Answer("code_not_stored", 2, "present") in first.answers
    assert latest.answers == (Answer("code_mismatch", 2, "absent"),)


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("0A1B", "cylinder 2: the trim code &#39;0A1B&#39; has 4 characters; this engine&#39;s have 16"),
        ("0A1B2C3D4E5F607O", "cylinder 2: &#39;O&#39;, character 16"),
    ],
)
def test_a_code_that_cannot_be_is_refused_with_its_cylinder(browser: Browser, code: str, said: str) -> None:
    number = _begin(browser)
    before = _stands(browser, number)
    text = _send(browser, number, "trim", 422, **_ledger(part_at_2=code))
    assert said in text
    assert f'value="{code}"' in text
    assert _stands(browser, number) == before


def test_a_come_back_is_linked_to_its_closed_case(browser: Browser) -> None:
    earlier, later = _begin(browser), _begin(browser)
    assert "not closed yet" in _send(browser, later, "earlier", 422, earlier=str(earlier))
    _send(browser, earlier, "close", cured="yes")
    assert "no come-back of itself" in _send(browser, earlier, "earlier", 422, earlier=str(earlier))
    assert f"case {earlier}: Skerry van" in browser.client.get(f"/case/{later}/vehicle").text
    assert f'Came back from <a href="/case/{earlier}/book"' in _send(browser, later, "earlier", earlier=str(earlier))
    kept, _ = _stands(browser, later)
    assert kept.events[-1].payload.__class__ is KINDS["linked"]
    assert "linked to it already" in _send(browser, later, "earlier", 422, earlier=str(earlier))
    assert f'Came back later as <a href="/case/{later}"' in browser.client.get(f"/case/{earlier}/vehicle").text
    assert f"a come-back of case {earlier}" in browser.client.get(f"/case/{later}/book").text
    _send(browser, later, "close", cured="yes")
    assert f"case {later} goes back to this one itself" in _send(browser, earlier, "earlier", 422, earlier=str(later))
    assert _stands(browser, earlier)[0].standing.links == ()
    _undo(browser, later)
    _undo(browser, later)
    assert _stands(browser, later)[0].standing.links == ()


def test_two_tablets_that_change_the_vehicle_at_once_lose_nothing(browser: Browser) -> None:
    """Distance and history are different things: both stand. Twice the same thing is shown to the second."""
    number = _begin(browser)
    on, token = browser.revision(number), browser.token()
    shared = {"token": token, "on": on}
    browser.client.post(f"/case/{number}/vehicle", data={**shared, "title": "Van", "distance": "160000", "age": "9"})
    both = browser.client.post(
        f"/case/{number}/history", data={**shared, "repair": "reseal", "at": "2"}, follow_redirects=True
    )
    assert "beside what somebody else wrote" in both.text
    case = _stands(browser, number)[1]
    assert (case.distance_km, len(case.history)) == (160000.0, 1)
    clash = browser.client.post(f"/case/{number}/vehicle", data={**shared, "title": "Van", "distance": "1", "age": ""})
    assert clash.status_code == 409
    assert _stands(browser, number)[1].distance_km == 160000.0


def test_a_closed_case_is_shown_and_not_changed(browser: Browser) -> None:
    number = _begin(browser)
    _send(browser, number, "close", cured="yes")
    text = browser.client.get(f"/case/{number}/vehicle").text
    assert "This case is closed" in text and 'id="work"' not in text
    assert "the case is closed" in _send(browser, number, "vehicle", 422, title="X", distance="1 km", age="")
