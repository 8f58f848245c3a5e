"""A technician's entries without any script: answers, readings, codes, checks, work tried, taking back."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from diag.casebook import read_case
from diag.knowledge_base import load_knowledge
from diag.network import weigh
from diag.report import weigh_sheet
from diag.web.settings import Settings
from tests.web.served import NEVER, Browser, held_up, served


def _case(browser: Browser, engine: str = "ostrel_4") -> int:
    answer = browser.send("/cases/new", title="Skerry van", engine=engine, distance="150000", age="9")
    return int(str(answer.url).split("/case/")[1].split("?")[0])


def _told(browser: Browser, number: int) -> str:
    """What the bay lists as told."""
    text = browser.client.get(f"/case/{number}").text
    return text.split('id="entries-head"')[1] if 'id="entries-head"' in text else ""


def _tell(browser: Browser, number: int, item: str, place: str, answer: str, under: str = "") -> str:
    on = browser.revision(number)
    sent = browser.send(f"/case/{number}/tell", on=on, item=item, place=place, under=under, answer=answer)
    assert sent.status_code == 200, sent.text
    return sent.text


def test_an_answer_is_taken_and_pressed_on_the_page(browser: Browser) -> None:
    number = _case(browser)
    text = _tell(browser, number, "tar", "2", "present")
    assert re.search(r'id="b-tar%3A2%3A-present" aria-pressed="true"', text)
    assert "black tar-like carbon around the injector, cylinder 2: present" in _told(browser, number)


def test_a_soft_answer_counts_for_less_than_a_plain_one(browser: Browser) -> None:
    """'A bit' moves the belief the same way as 'there', and less far."""

    def believed(answer: str) -> int:
        number = _case(browser)
        _tell(browser, number, "tar", "2", answer)
        text = browser.client.get(f"/case/{number}").text
        words = re.search(r'aria-label="cylinder 2, (under )?(\d+) % ', text)
        assert words is not None
        return int(words.group(2))

    assert believed("absent") <= believed("a_bit") < believed("present")


def test_clearing_an_answer_leaves_the_case_as_before(browser: Browser) -> None:
    number = _case(browser)
    _tell(browser, number, "tar", "2", "present")
    _tell(browser, number, "tar", "2", "clear")
    assert "tar-like" not in _told(browser, number)


@pytest.mark.parametrize(
    ("value", "unit", "bound", "shown"),
    [
        ("2.4", "mg/stroke", "", "2.4 mg/stroke"),
        ("−1.5", "mg/stroke", "", "-1.5 mg/stroke"),
        ("3", "mg/stroke", "above", "above 3.0 mg/stroke"),
    ],
)
def test_a_reading_is_taken_with_its_unit(browser: Browser, value: str, unit: str, bound: str, shown: str) -> None:
    number = _case(browser)
    fields = {"item": "correction", "place": "2", "under": "", "value": value, "unit": unit, "bound": bound}
    sent = browser.send(f"/case/{number}/measure", on=browser.revision(number), **fields)
    assert sent.status_code == 200
    assert f"idle correction of the cylinder, cylinder 2: {shown}" in _told(browser, number)


def test_a_reading_in_another_unit_is_turned_into_the_readings_own(browser: Browser) -> None:
    """20 MPa are 200 bar (SI brochure: 1 bar is 100 kPa)."""
    number = _case(browser)
    fields = {"item": "rail_pressure_cranking", "place": "vehicle", "under": "", "value": "20", "unit": "MPa"}
    browser.send(f"/case/{number}/measure", on=browser.revision(number), **fields)
    assert "rail pressure while cranking: 200 bar" in _told(browser, number)


def test_the_same_reading_once_more_is_named_where_it_can_be_taken_back(browser: Browser) -> None:
    """It had been called 'the last change', as nothing was told that had not been told before."""
    number = browser.demo("one_blown_seal")
    for _ in range(2):
        answer = browser.send(
            f"/case/{number}/measure",
            **{"on": browser.revision(number), "item": "correction", "place": "2", "under": ""},
            value="1,5",
            unit="mg/stroke",
        )
        assert "last entry: idle correction of the cylinder, cylinder 2: 1.5 mg/stroke" in answer.text


def test_codes_are_taken_and_the_rest_is_absent_when_nothing_else_is_stored(browser: Browser) -> None:
    """P0263 is the balance code of cylinder 1 (SAE J2012: contribution/balance, three codes a cylinder)."""
    number = _case(browser)
    sent = browser.send(f"/case/{number}/codes", on=browser.revision(number), codes="p0263", all="yes")
    assert sent.status_code == 200
    told = _told(browser, number)
    assert re.search(r"balance code, cylinder 1: present", told)
    assert re.search(r"balance code, cylinder 2: absent", told)


def test_a_code_is_told_with_its_state_or_status_byte(browser: Browser) -> None:
    """Of ISO 14229-1: 0x2E is confirmed and not failing now, 0x50 was never tested. The same byte stands in the case as
    the command line writes it, and taking the entry back takes the state with it."""
    number = _case(browser)
    fields = {"codes": "P0266 0x2E, P0300 pending; P0201 not tested P0272"}
    sent = browser.send(f"/case/{number}/codes", on=browser.revision(number), **fields)
    assert sent.status_code == 200
    told = _told(browser, number)
    assert re.search(r"balance code, cylinder 2: present", told)
    assert re.search(r"balance code, cylinder 4: present", told)
    assert re.search(r"misfire[^:]*: pending", told)
    assert re.search(r"circuit code, cylinder 1: not looked at", told)
    assert "P0266 0x2E, stored, comes and goes" in browser.client.get(f"/case/{number}/at/vehicle").text
    _, case = browser.client.app.state.shop.keeping.read(number)  # type: ignore[attr-defined]
    assert [(each.code, each.state, each.status) for each in case.epochs[-1].codes] == [
        ("P0266", "intermittent", 0x2E),
        ("P0300", "pending", None),
        ("P0201", "not_tested", None),
    ]
    browser.send(f"/case/{number}/codes", on=browser.revision(number), codes="P0266 passed")
    assert re.search(r"balance code, cylinder 2: absent", _told(browser, number))
    browser.send(f"/case/{number}/undo", on=browser.revision(number))
    browser.send(f"/case/{number}/undo", on=browser.revision(number))
    _, case = browser.client.app.state.shop.keeping.read(number)  # type: ignore[attr-defined]
    assert case.epochs[-1].codes == () and case.epochs[-1].answers == ()


def test_a_whole_check_is_answered_in_one_go_and_taken_back_in_one_step(browser: Browser) -> None:
    """Eight numbers of one check are one entry; taking it back takes all of them."""
    number = _case(browser, "karrick_v8")
    page = browser.client.get(f"/case/{number}/check/idle_correction/vehicle").text
    assert page.count('name="correction:') >= 8
    before = browser.revision(number)
    values = {f"correction:{each}:": text for each, text in zip(range(1, 9), ["0.1"] * 7 + ["-0.7"], strict=True)}
    sent = browser.send(f"/case/{number}/check/idle_correction/vehicle", on=before, **values)
    assert sent.status_code == 200
    assert _told(browser, number).count("idle correction of the cylinder") == 8
    browser.send(f"/case/{number}/undo", on=browser.revision(number))
    assert "idle correction" not in _told(browser, number)


def test_what_a_check_opened_stands_open_and_can_be_shut(browser: Browser) -> None:
    number = _case(browser)
    sent = browser.send(f"/case/{number}/check/look_into_wells/A", on=browser.revision(number), **{"tar:2:": "present"})
    assert sent.status_code == 200
    assert "Stands open" in browser.client.get(f"/case/{number}/next").text
    browser.send(f"/case/{number}/shut", on=browser.revision(number))
    assert "Stands open" not in browser.client.get(f"/case/{number}/next").text


def test_cannot_do_it_ranks_anew_and_can_be_taken_back(browser: Browser) -> None:
    """The check that cannot be done is offered no more, and stands among those that cannot."""
    number = browser.demo("excess_return_behind_hard_start")

    def offered() -> list[str]:
        return re.findall(rf'<a class="card" href="/case/{number}/check/([a-z_]+)/', _next(browser, number))

    first = offered()[0]
    browser.send(f"/case/{number}/cannot", on=browser.revision(number), check=first)
    assert first not in offered()
    browser.send(f"/case/{number}/cannot", on=browser.revision(number), check=first, again="yes")
    assert offered()[0] == first


def _next(browser: Browser, number: int) -> str:
    return browser.client.get(f"/case/{number}/next").text


def test_work_that_did_not_help_begins_a_new_stretch(browser: Browser) -> None:
    """'No better' says that the symptom is still there after the work."""
    number = _case(browser)
    _tell(browser, number, "rough_idle", "vehicle", "present")
    sent = browser.send(
        f"/case/{number}/tried",
        on=browser.revision(number),
        repair="replace_injector",
        place="3",
        helped="no",
        fault="",
        other="",
    )
    assert sent.status_code == 200, sent.text
    told = _told(browser, number)
    assert "replace the injector, cylinder 3" in told
    assert told.count("rough idle: present") == 2


def test_work_on_several_cylinders_is_one_stretch_as_a_case_file_has_it(browser: Browser) -> None:
    number = _case(browser)
    _tell(browser, number, "chuff", "2", "present")
    fields: dict[str, Any] = {"repair": "reseal", "place": ["1", "2", "3", "4"], "helped": "no", "but": "old_bolt"}
    browser.send(f"/case/{number}/tried", on=browser.revision(number), **fields)
    told = browser.client.get(f"/api/cases/{number}/weigh").json()
    by_hand = "engine: ostrel_4\ndistance: 150000 km\nage: 9 years\nfindings: {chuff: {2: present}}\n"
    by_hand += "tried: [{did: reseal, cylinder: [1, 2, 3, 4], but: old bolt, helped: no}]\n"
    knowledge = load_knowledge()
    weighed = weigh(knowledge, read_case(Path("case.yaml"), knowledge, by_hand))
    assert told["log_evidence"] == pytest.approx(weighed.log_evidence, abs=1e-9)
    assert [each["chance"] for each in told["faults"]] == pytest.approx(
        [each.chance for each in weigh_sheet(weighed).faults], abs=1e-12
    )


def test_an_exchange_that_took_the_fault_along_moves_its_findings(browser: Browser) -> None:
    number = _case(browser)
    _tell(browser, number, "weak_cutout", "2", "present")
    sent = browser.send(
        f"/case/{number}/tried",
        on=browser.revision(number),
        repair="swap_injectors",
        place="2",
        other="4",
        fault="moved",
        helped="",
    )
    assert sent.status_code == 200, sent.text
    told = _told(browser, number)
    assert "cylinder 4: present" in told
    assert "cylinder 2: absent" in told


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("tell", {"item": "no_such", "place": "2", "answer": "present"}, "no such question"),
        ("tell", {"item": "tar", "place": "9", "answer": "present"}, "no such question"),
        ("tell", {"item": "tar", "place": "2", "answer": "perhaps"}, "is no answer"),
        ("tell", {"item": "tar", "place": "2", "under": "at sea", "answer": "present"}, "no condition"),
        ("measure", {"item": "correction", "place": "2", "value": "much", "unit": "mg/stroke"}, "not a number"),
        ("measure", {"item": "correction", "place": "2", "value": "900", "unit": "mg/stroke"}, "not plausible"),
        ("measure", {"item": "correction", "place": "2", "value": "1", "unit": "furlong"}, "furlong"),
        ("codes", {"codes": "P9ZZZ"}, "no fault code"),
        ("codes", {"codes": "P0263 0x1FF"}, "out of range"),
        ("codes", {"codes": "P0263 pendign"}, "did you mean"),
        ("codes", {"codes": "P0263 pending P0263 stored"}, "stands there twice"),
        ("codes", {"codes": " , "}, "no fault code"),
        ("cannot", {"check": "no_such"}, "no such check"),
        ("tried", {"repair": "reseal", "place": "9"}, "no cylinder 9"),
        ("tried", {"repair": "no_such", "place": "2"}, "choose the work"),
        ("tried", {"repair": "reseal"}, "tick which"),
        ("tried", {"repair": "reseal", "place": "2", "but": "code_not_written"}, "left undone at this work"),
        ("tried", {"repair": "reseal", "place": "2", "fault": "moved"}, "asked after an exchange"),
        ("tried", {"repair": "reseal", "place": "2", "other": "3"}, "moves nothing"),
        ("tried", {"repair": "swap_injectors", "place": ["2", "3"], "other": "4"}, "begins at one cylinder"),
        ("history", {"repair": "reseal", "at": "2", "but": "code_not_written"}, "left undone at this work"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words_and_not_written(
    browser: Browser, path: str, fields: dict[str, str | list[str]], said: str
) -> None:
    number = _case(browser)
    before = browser.revision(number)
    answer = browser.send(f"/case/{number}/{path}", on=before, **fields)
    assert answer.status_code == 422
    assert said in answer.text
    assert browser.revision(number) == before


def test_what_cannot_all_be_true_is_refused_before_it_is_written(tmp_path: Path) -> None:
    """Under knowledge in which a finding cannot be, telling it is refused, and the case stays as it was; a case of the
    book that holds it is shown all the same, with what is the matter."""
    overlay = tmp_path / "never.yaml"
    overlay.write_text(NEVER, encoding="utf-8")
    with served(tmp_path, Settings(overlays=(overlay,))) as browser:
        number = _case(browser)
        before = browser.revision(number)
        fields = {"item": "fumes", "place": "vehicle", "under": "", "answer": "present"}
        answer = browser.send(f"/case/{number}/tell", on=before, **fields)
        assert answer.status_code == 422
        assert "cannot all be true at once" in answer.text
        assert browser.revision(number) == before
        text = browser.client.get(f"/case/{browser.demo('one_blown_seal')}").text
        assert "This cannot be weighed" in text


def test_a_case_told_in_the_browser_is_found_by_its_likeness(browser: Browser) -> None:
    """What the book compares cases by is noted after each entry, so that 'similar cases' knows this one."""
    from diag.store import similar_cases

    number = browser.demo("one_blown_seal")
    _tell(browser, number, "bubbles", "2", "present")
    shop = browser.client.app.state.shop  # type: ignore[attr-defined]
    _, case = shop.keeping.read(number)
    alike = shop.reckoner.alike(case)
    found = [each.number for each in similar_cases(shop.keeping.book, alike, 50)]
    assert number in found


def test_all_that_is_believed_says_whether_the_findings_agree(browser: Browser) -> None:
    number = browser.demo("findings_that_contradict")
    text = browser.client.get(f"/case/{number}/belief").text
    assert "Faults, likeliest first" in text
    assert "Likeliest combinations" in text


def test_an_entry_is_taken_though_the_belief_takes_its_time(tmp_path: Path) -> None:
    """Where many ask at once: the answer is in the book at once, and the page says that the belief is on its way."""
    with served(tmp_path, in_time=False) as browser:
        with held_up():
            number = _case(browser)
            text = _tell(browser, number, "tar", "2", "present")
        assert re.search(r'id="b-tar%3A2%3A-present" aria-pressed="true"', text)
        assert "Being worked out" in text
        shop = browser.client.app.state.shop  # type: ignore[attr-defined]
        kept, case = shop.keeping.read(number)
        assert kept.events[-1].kind == "finding"
        shop.reckoner.belief(case)
        assert "Being worked out" not in browser.client.get(f"/case/{number}/at/2").text


def test_a_check_may_be_answered_softly(browser: Browser) -> None:
    """'A bit' and 'think so' are among the answers of a check, as they are at a cylinder."""
    number = _case(browser)
    page = browser.client.get(f"/case/{number}/check/look_into_wells/A").text
    assert re.search(r'name="tar:2:" value="a_bit"', page)
    fields = {"tar:2:": "a_bit", "tar:3:": "think_so"}
    sent = browser.send(f"/case/{number}/check/look_into_wells/A", on=browser.revision(number), **fields)
    assert sent.status_code == 200, sent.text
    told = _told(browser, number)
    assert re.search(r"injector, cylinder 2: a bit, or at times", told)
    assert re.search(r"injector, cylinder 3: think so", told)
    page = browser.client.get(f"/case/{number}/check/look_into_wells/A").text
    assert re.search(r'name="tar:2:" value="a_bit" checked', page)
