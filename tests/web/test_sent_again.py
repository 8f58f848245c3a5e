"""A form that is sent after diag was started anew is shown in the words of its screen, and sent on as it was."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import diag.web
from diag.knowledge_base import load_knowledge
from diag.web.sent_again import LABELS, TOGETHER, UNSAID, entry_words
from tests.web.served import served

KNOWLEDGE = load_knowledge()
ENTRIES: dict[tuple[str, tuple[tuple[str, str], ...]], tuple[str, ...]] = {
    ("/case/1/tell", (("item", "chuff"), ("place", "3"), ("under", "cold"), ("answer", "present"), ("on", "4"))): (
        "chuffing in time with this cylinder, engine cold, cylinder 3: there",
    ),
    ("/case/1/tell", (("item", "fumes"), ("place", "vehicle"), ("under", ""), ("answer", "clear"))): (
        "smell of exhaust or fumes at the engine: Clear",
    ),
    ("/case/1/measure", (("item", "rail_pressure_cranking"), ("place", "vehicle"), ("value", "180"), ("unit", "bar"),
                         ("bound", "below"))): ("rail pressure while cranking: below 180 bar",),
    ("/case/1/measure", (("item", "correction"), ("place", "2"), ("value", ""), ("unit", "mg"), ("clear", "yes"))): (
        "idle correction of the cylinder, cylinder 2: Clear",
    ),
    ("/case/1/check/look_into_wells/2", (("on", "4"), ("chuff:2:cold", "not_looked"), ("tar:2:", "absent"))): (
        "chuffing in time with this cylinder, engine cold, cylinder 2: not looked at",
        "black tar-like carbon around the injector, cylinder 2: not there",
    ),
    ("/case/1/check/idle_correction/vehicle", (("correction:unit", "mg/stroke"), ("correction:2:", "1,5"),
                                               ("correction:3:", ""))): (
        "idle correction of the cylinder, cylinder 2: 1,5 mg/stroke",
    ),
    ("/case/1/undo", (("on", "4"), ("at", "3"))): ("Take the last entry back",),
    ("/case/1/tried", (("repair", "reseal"), ("place", "2"), ("helped", "better"), ("but", "old_washer"))): (
        "Work: reseal the injector", "Where: cylinder 2", "Did it help?: better",
        "Something was left undone: old washer used again",
    ),
    ("/case/1/close", (("cured", "not_known"), ("found1", "seal weeping 2"), ("sure1", "seen"), ("fitted1", "reseal"),
                       ("fitted_where1", "2"), ("time", "95 min"))): (
        "Close the case", "Is the complaint gone?: not known",
        "What was found (1): combustion seal: weeping, cylinder 2", "How sure (1): seen",
        "What was fitted or done (1): reseal the injector", "Where it was done (1): cylinder 2", "Time it took: 95 min",
    ),
    ("/case/1/trim", (("part:2", "0A1B"), ("unit:2", ""))): ("On the injector, cylinder 2: 0A1B",),
    ("/case/1/chosen", (("language", "de"), ("chosen", ""))): ("The customer chose: none of these for now",),
    ("/case/1/log/take", (("reading", '["rail_pressure_cranking", null, "180 bar"]'),)): (
        "Log: rail pressure while cranking: 180 bar",
    ),
    ("/case/1/log", (("kept", "x"), ("heads", "y"), ("channel2", ""), ("column_unit2", ""), ("warm", "yes"),
                     ("channel10", "correction@3"), ("column_unit10", "mg/stroke"))): (
        "The engine was warm all the time; the log does not say it",
        "Column 10: correction of the cylinder, cylinder 3", "Unit of column 10: mg/stroke",
    ),
    ("/classroom/work", (("job", "reseal@2"), ("how", "plan"), ("told", "it is the seal"))): (
        "Work: reseal the injector, cylinder 2", "This is my plan: end the case",
        "What you tell the customer: it is the seal",
    ),
    ("/classroom/open", (("study", "smell_under_the_bonnet"), ("count", "1"), ("history", "yes"))): (
        "Case studies: smell under the bonnet", "How many: 1", "with earlier work",
    ),
    ("/case/1/tell", (("item", "no such"), ("place", "here"), ("answer", "what"))): ("no such, here: what",),
    ("/case/1/log/take", (("reading", "[[["),)): ("Log: [[[",),
}  # fmt: skip


@pytest.mark.parametrize("sent", ENTRIES, ids=lambda sent: sent[0])
def test_a_form_is_said_in_the_words_of_its_screen(sent: tuple[str, tuple[tuple[str, str], ...]]) -> None:
    """It had been listed as `item: chuff`, `place: 3`, `under: cold`, `answer: present`."""
    assert entry_words(KNOWLEDGE, *sent) == ENTRIES[sent]


def test_every_field_of_a_form_that_writes_has_words() -> None:
    """A new field cannot be forgotten: what the templates name is held against the words."""
    named = set()
    for path in (Path(diag.web.__file__).parent / "templates").glob("*.html"):
        for form in re.findall(r'<form method="post".*?</form>', path.read_text(encoding="utf-8"), re.DOTALL):
            fields = re.findall(r'<(?:input|select|button|textarea)\b[^<]*?\bname="([^"]+)"', form)
            named |= {re.sub(r"\{\{.*", "", each).rstrip(":") for each in fields}
    assert {"repair", "cured", "found"} <= named
    assert named - {""} - {*LABELS, *TOGETHER, *UNSAID, "log"} == set()


def test_what_is_sent_again_stands_in_words_and_is_sent_as_it_was(tmp_path: Path) -> None:
    """On the page itself: words to read, and the fields behind them; what a hand typed is escaped."""
    with served(tmp_path) as browser:
        number = browser.demo("one_blown_seal")
        sent = {"token": "of before", "on": browser.revision(number), "item": "tar", "place": "3", "under": ""}
        answer = browser.client.post(f"/case/{number}/tell", data=sent | {"answer": "present"})
        assert answer.status_code == 403
        assert "<li>black tar-like carbon around the injector, cylinder 3: there</li>" in answer.text
        assert not re.search(r"<li>(item|place|answer)", answer.text)
        assert 'name="item" value="tar"' in answer.text
        remark = browser.client.post(f"/case/{number}/remark", data={"token": "x", "text": "a <b>note</b>"})
        assert "<li>A remark: a &lt;b&gt;note&lt;/b&gt;</li>" in remark.text
