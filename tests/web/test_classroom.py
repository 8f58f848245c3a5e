"""The classroom: the truth stays on the server until the end, and only the trainer compares."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from diag.training import TruthPart, load_journal, study_named
from diag.web.schooling import School
from tests.web.served import HOST, Browser, served
from tests.worksheet.plans import KNOWLEDGE

STUDY = "smell_under_the_bonnet"


@pytest.fixture
def trainer(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path) as browser:
        yield browser


def _app(browser: Browser) -> FastAPI:
    app: FastAPI = browser.client.app  # type: ignore[attr-defined]
    return app


def _another(browser: Browser, address: str = "127.0.0.1") -> Browser:
    """Another browser at the same page."""
    client = TestClient(
        _app(browser), base_url=f"http://{HOST}", raise_server_exceptions=False, client=(address, 50_000)
    )
    return Browser(client)


def _school(browser: Browser) -> School:
    school: School = _app(browser).state.school
    return school


def _plain(text: str) -> str:
    return re.sub(r'name="token" value="[^"]+"', "", text)


def test_pages_do_not_depend_on_the_truth(trainer: Browser) -> None:
    """Two trainees whose vehicles hide different faults get the same page, letter by letter."""
    trainer.send("/classroom/open", study=STUDY)
    one, other = _another(trainer), _another(trainer)
    one.send("/classroom/join", name="Anna")
    held = _school(trainer).held()
    seat = held.course.cases[0]
    another = replace(seat, hidden=replace(seat.hidden, faults=(TruthPart("mounts", None, "worn"),)))
    held.course = replace(held.course, cases=(another,))
    other.send("/classroom/join", name="Ben")
    pages = [_plain(each.client.get("/classroom/play").text) for each in (one, other)]
    assert pages[0] == pages[1]
    assert "Ask for a check" in pages[0]


def test_what_is_hidden_is_in_no_answer_before_the_end(trainer: Browser) -> None:
    trainer.send("/classroom/open", study=STUDY)
    trainee = _another(trainer)
    trainee.send("/classroom/join", name="Anna")
    told = [
        trainee.client.get("/classroom").text,
        trainee.client.get("/classroom/play").text,
        trainee.send("/classroom/ask", check="look_into_wells@A").text,
        trainee.send("/classroom/sure", component="seal", place="2", chance="70 %").text,
        trainee.send("/classroom/ask", check="nonsense").text,
        trainee.client.get("/classroom/debrief").text,
        trainee.client.get("/classroom/class").text,
    ]
    notes = _school(trainer).held().course.cases[0].hidden.notes
    for secret in (notes.learn, notes.misleads, *notes.ask, *notes.covers, STUDY, "What was wrong"):
        assert not any(secret in text for text in told), secret
    assert trainee.client.get("/classroom/debrief").status_code == 422
    assert trainee.client.get("/classroom/class").status_code == 403
    end = trainee.send("/classroom/work", how="plan", job="reseal@2", told="A new seal.")
    assert "The case has ended." in end.text
    assert "What was wrong" in trainee.client.get("/classroom/debrief").text


def test_only_the_trainer_at_the_machine_opens_and_compares(trainer: Browser) -> None:
    far = _another(trainer, "192.168.1.20")
    assert far.send("/classroom/open", study=STUDY).status_code == 403
    assert "Open a class" not in far.client.get("/classroom").text
    trainer.send("/classroom/open", study=STUDY)
    assert _another(trainer).send("/classroom/open", study=STUDY).status_code == 422
    far.send("/classroom/join", name="Far")
    assert "Far" in trainer.client.get("/classroom").text
    assert "Compare the class" not in far.client.get("/classroom").text
    assert "Far" in trainer.client.get("/classroom/class").text


def test_every_step_is_in_the_journal_beside_the_book(trainer: Browser, tmp_path: Path) -> None:
    trainer.send("/classroom/open", study=STUDY)
    trainer.send("/classroom/join", name="Anna / ../x")
    trainer.send("/classroom/ask", check="look_into_wells@A")
    (file,) = (tmp_path / "classes").glob("*/*.json")
    journal = load_journal(file, KNOWLEDGE)
    assert journal.trainee == "Anna / ../x"
    assert [each.check for each in journal.seat.play.events if hasattr(each, "check")] == ["look_into_wells"]


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("/classroom/join", {"name": "  "}, "say your name"),
        ("/classroom/join", {"name": "ANNA"}, "somebody of that name"),
        ("/classroom/open", {"study": "../x"}, "no such case study"),
    ],
)
def test_what_makes_no_sense_is_told(trainer: Browser, path: str, fields: dict[str, str], said: str) -> None:
    trainer.send("/classroom/open", study=STUDY)
    _another(trainer).send("/classroom/join", name="Anna")
    answer = trainer.send(path, **fields)
    assert answer.status_code == 422
    assert said in answer.text


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("/classroom/ask", {"check": "look_into_wells@Z"}, "bank"),
        ("/classroom/sure", {"component": "seal", "place": "2", "chance": "much"}, "per cent"),
        ("/classroom/sure", {"component": "seal", "place": "2", "chance": "140"}, "between 0 and 100"),
        ("/classroom/work", {"how": "fit"}, "tick the work first"),
        ("/classroom/work", {"how": "fit", "job": "reseal@99"}, "no cylinder"),
    ],
)
def test_a_step_that_makes_no_sense_changes_nothing(
    trainer: Browser, path: str, fields: dict[str, str], said: str
) -> None:
    trainer.send("/classroom/open", study=STUDY)
    trainer.send("/classroom/join", name="Anna")
    before = _plain(trainer.client.get("/classroom/play").text)
    answer = trainer.send(path, **fields)
    assert answer.status_code == 422
    assert said in answer.text
    assert _plain(trainer.client.get("/classroom/play").text) == before


def test_without_a_class_there_is_nothing_to_play(trainer: Browser) -> None:
    assert trainer.client.get("/classroom/play").status_code == 422
    assert trainer.client.get("/classroom/class").status_code == 403


def test_the_study_that_is_played_has_a_truth_to_hide() -> None:
    """Else the tests above could not fail."""
    from diag.training import studies

    _, hidden = study_named(KNOWLEDGE, STUDY, studies()[STUDY], 1)
    assert hidden.faults and hidden.notes.learn


def test_a_step_that_is_sent_twice_is_done_and_paid_once(trainer: Browser) -> None:
    """The answer to the first was lost, or the browser went back to an older page: the part is fitted once."""
    trainer.send("/classroom/open", study=STUDY)
    trainee = _another(trainer)
    trainee.send("/classroom/join", name="Anna")

    def shown() -> str:
        return re.findall(r'name="on" value="([^"]+)"', trainee.client.get("/classroom/play").text)[-1]

    def events() -> list[str]:
        return [type(each).__name__ for each in _school(trainer).held().course.sittings[0].journal.seat.play.events]

    on = shown()
    for _ in range(2):
        answer = trainee.send("/classroom/work", job="replace_rail_sensor@vehicle", how="fit", told="", on=on)
        assert answer.status_code == 200
    assert "had gone on since" in answer.text
    assert events() == ["Fitted"]
    now = shown()
    assert now != on
    for _ in range(2):
        trainee.send("/classroom/sure", component="seal", place="2", chance="70", on=now)
    trainee.send("/classroom/ask", check="look_into_wells@A", on=now)
    trainee.send("/classroom/work", how="plan", told="", on=now)
    assert events() == ["Fitted", "Believed"]
    trainee.send("/classroom/work", how="plan", told="", on=shown())
    assert events() == ["Fitted", "Believed", "Decided"]


def test_a_refused_step_comes_again_with_what_was_ticked_and_typed(trainer: Browser) -> None:
    trainer.send("/classroom/open", study=STUDY)
    trainer.send("/classroom/join", name="Anna")
    fields: dict[str, Any] = {
        "how": "plan",
        "job": ["refer@vehicle", "reseal@2"],
        "told": "The washer <burnt> & leaks.",
    }
    answer = trainer.send("/classroom/work", **fields)
    assert answer.status_code == 422
    assert "name nothing beside it" in answer.text
    for job in ("refer@vehicle", "reseal@2"):
        assert f'name="job" value="{job}" checked' in answer.text
    assert answer.text.count(" checked") == 2
    assert "The washer &lt;burnt&gt; &amp; leaks.</textarea>" in answer.text
    folds = re.findall(r'<details class="asked" open><summary>([^<]+)', answer.text)
    assert folds == ["reseal the injector", "refer to a specialist or the maker"]
    said = trainer.send("/classroom/sure", component="clamp", place="3", chance="much").text
    assert '<option value="clamp" selected>' in said
    assert "<option selected>3</option>" in said
    assert 'name="chance" inputmode="decimal" maxlength="6" required autocomplete="off" value="much"' in said
    assert " checked" not in trainer.client.get("/classroom/play").text
