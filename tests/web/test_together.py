"""Two tablets at one case lose nothing: what does not touch is kept from both, what does is said to both."""

from __future__ import annotations

import random
import re

import pytest

from tests.support.effort import LONG
from tests.web.served import Browser


def _tell(browser: Browser, number: int, on: int, item: str, place: str, answer: str) -> int:
    sent = browser.send(f"/case/{number}/tell", on=on, item=item, place=place, under="", answer=answer)
    return sent.status_code


def test_entries_about_different_things_are_kept_from_both(browser: Browser) -> None:
    """The second tablet had not seen the first one's entry; both stand, and it is told of the other's."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    assert _tell(browser, number, on, "bubbles", "2", "present") == 200
    fields = {"item": "bubbles", "place": "3", "under": "", "answer": "absent"}
    answer = browser.send(f"/case/{number}/tell", on=on, **fields)
    assert answer.status_code == 200
    assert "said=added_to_others" in str(answer.url)
    text = browser.client.get(f"/case/{number}").text
    assert "cylinder 2: present" in text
    assert "cylinder 3: absent" in text


def test_entries_about_the_same_thing_are_refused_and_both_are_shown(browser: Browser) -> None:
    """The later one is not written over the earlier; the page names what was written meanwhile."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    assert _tell(browser, number, on, "bubbles", "2", "present") == 200
    fields = {"item": "bubbles", "place": "2", "under": "", "answer": "absent"}
    answer = browser.send(f"/case/{number}/tell", on=on, **fields)
    assert answer.status_code == 409
    assert "What somebody else wrote meanwhile" in answer.text
    assert "<li>growing bubbles in leak fluid at the base, cylinder 2: present" in answer.text
    assert browser.revision(number) == on + 1


def test_what_met_another_entry_is_not_lost_and_may_be_sent_after_a_look(browser: Browser) -> None:
    """A closing with all that was typed had been gone, and the other's entry was called 'reading, ?'."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    browser.send("/name", by="Anna")
    told = {"item": "correction", "place": "2", "under": "", "value": "1.5", "unit": "mg/stroke"}
    assert browser.send(f"/case/{number}/measure", on=on, **told).status_code == 200
    closing = {"cured": "yes", "found1": "seal weeping 2", "sure1": "seen", "note": "tar up to the rim"}
    answer = browser.send(f"/case/{number}/close", on=on, **closing)
    assert answer.status_code == 409
    assert re.search(r"<li>idle correction of the cylinder, cylinder 2: 1.5 mg/stroke <[^>]*>\(Anna, ", answer.text)
    assert "<li>What was found (1): combustion seal: weeping, cylinder 2</li>" in answer.text
    form = answer.text[answer.text.index("<h2>What you sent</h2>") - 2000 :]
    sent = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form))
    assert {name: sent[name] for name in closing} == closing
    assert int(sent["on"]) == browser.revision(number)
    again = browser.client.post(f"/case/{number}/close", data=sent, follow_redirects=True)
    assert "The case is closed and in the book." in again.text


def test_what_takes_back_the_last_entry_is_not_offered_again(browser: Browser) -> None:
    """It would take back what somebody else wrote."""
    number = browser.demo("one_blown_seal")
    _tell(browser, number, browser.revision(number), "bubbles", "2", "present")
    on = browser.revision(number)
    _tell(browser, number, on, "bubbles", "3", "present")
    answer = browser.send(f"/case/{number}/undo", on=on)
    assert answer.status_code == 409
    assert "Send it again" not in answer.text


def test_a_remark_meets_nothing(browser: Browser) -> None:
    """It had been refused, as being about the same thing, and what was typed was lost."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    _tell(browser, number, on, "bubbles", "2", "present")
    answer = browser.send(f"/case/{number}/remark", on=on, text="the owner calls at four")
    assert answer.status_code == 200
    assert "Taken, beside what somebody else wrote meanwhile." in answer.text
    assert "the owner calls at four" in answer.text


def test_the_same_answer_twice_is_one_entry_and_no_quarrel(browser: Browser) -> None:
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    assert _tell(browser, number, on, "bubbles", "2", "present") == 200
    assert _tell(browser, number, on, "bubbles", "2", "present") == 200
    assert browser.revision(number) == on + 1


def test_work_told_meanwhile_meets_every_answer(browser: Browser) -> None:
    """After work an answer means something else, so one that was given before it was seen is refused."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    work = {"repair": "reseal", "place": "2", "helped": "", "fault": "", "other": ""}
    assert browser.send(f"/case/{number}/tried", on=on, **work).status_code == 200
    assert _tell(browser, number, on, "bubbles", "3", "present") == 409


def test_taking_back_is_refused_where_somebody_wrote_since(browser: Browser) -> None:
    """Otherwise it would take back the other's entry."""
    number = browser.demo("one_blown_seal")
    _tell(browser, number, browser.revision(number), "bubbles", "2", "present")
    on = browser.revision(number)
    _tell(browser, number, on, "bubbles", "3", "present")
    assert browser.send(f"/case/{number}/undo", on=on).status_code == 409


def test_cannot_do_it_and_an_answer_go_together(browser: Browser) -> None:
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    assert browser.send(f"/case/{number}/cannot", on=on, check="leak_fluid").status_code == 200
    assert _tell(browser, number, on, "bubbles", "3", "absent") == 200
    text = browser.client.get(f"/case/{number}/next").text
    assert "Cannot be done here" in text


@pytest.mark.parametrize("seed", range(6 if LONG else 1))
def test_whatever_two_tablets_do_no_acknowledged_answer_is_lost(browser: Browser, seed: int) -> None:
    """Random answers, each on a revision somewhat behind: the last acknowledged answer to each question stands."""
    draw = random.Random(seed)
    number = browser.demo("one_blown_seal")
    seen = [browser.revision(number)] * 2
    stands: dict[tuple[str, str], str] = {}
    for _ in range(12):
        tablet = draw.randrange(2)
        item, place = draw.choice(("bubbles", "wet_joint")), draw.choice("134")
        answer = draw.choice(("present", "absent", "not_sure"))
        status = _tell(browser, number, seen[tablet], item, place, answer)
        assert status in (200, 409)
        if status == 200:
            stands[item, place] = answer
        if draw.random() < 0.5 or status == 409:
            seen[tablet] = browser.revision(number)
    for (item, place), answer in stands.items():
        text = browser.client.get(f"/case/{number}/at/{place}").text
        assert f'id="b-{item}%3A{place}%3A-{answer}" aria-pressed="true"' in text


def _readings(text: str) -> int:
    stands = re.findall(r"There stands: <strong>(.*?)</strong>", text)
    return sum(each.count("2.5 mg/stroke") for each in stands)


def test_a_form_that_was_sent_twice_is_taken_once_and_no_quarrel(browser: Browser) -> None:
    """A glove touches twice, or the answer to the first was lost on the way: nobody else wrote, and nothing is lost."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    path, fields = f"/case/{number}/check/idle_correction/vehicle", {"correction:3:": "2.5"}
    for _ in range(2):
        answer = browser.send(path, on=on, **fields)
        assert answer.status_code == 200, answer.text
        assert "said=taken" in str(answer.url)
    assert _readings(browser.client.get(f"/case/{number}/at/3").text) == 1
    on = browser.revision(number)
    assert browser.send(path, on=on, **fields).status_code == 200
    assert _readings(browser.client.get(f"/case/{number}/at/3").text) == 2, "seen and told again it is a repeat"


@pytest.mark.parametrize(
    ("path", "fields"), [("undo", {}), ("remark", {"text": "ring back"}), ("close", {"cured": "yes"})]
)
def test_what_stands_alone_is_done_once_when_it_is_sent_twice(
    browser: Browser, path: str, fields: dict[str, str]
) -> None:
    """Taking back twice from one page takes one thing back."""
    number = browser.demo("one_blown_seal")
    _tell(browser, number, browser.revision(number), "bubbles", "2", "present")
    _tell(browser, number, browser.revision(number), "bubbles", "3", "present")
    on = browser.revision(number)
    for _ in range(2):
        answer = browser.send(f"/case/{number}/{path}", on=on, **fields)
        assert answer.status_code == 200, answer.text
    assert browser.revision(number) == on + 1


def test_what_two_people_wrote_is_never_taken_for_one_sent_twice(browser: Browser) -> None:
    """Whose name differs measured for himself."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    fields = {"item": "correction", "place": "3", "under": "", "value": "2.5", "unit": "mg/stroke"}
    try:
        assert browser.send("/name", by="Ines").status_code == 200
        assert browser.send(f"/case/{number}/measure", on=on, **fields).status_code == 200
        assert browser.send("/name", by="Ole").status_code == 200
        assert browser.send(f"/case/{number}/measure", on=on, **fields).status_code == 409
    finally:
        browser.send("/name", by="")
