"""The workers: what was worked out is remembered, a killed process is replaced, and nothing waits for ever."""

from __future__ import annotations

import os
import pickle
import signal
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from diag.basics import ImpossibleEvidence
from diag.casebook import Case, demo_cases, load_case, with_access, with_answer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.web import reckoner as module
from diag.web import reckoning
from diag.web.reckoner import Busy, Reckoner, key_of
from diag.web.settings import Settings
from tests.web.served import NEVER


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def case(knowledge: Knowledge) -> Case:
    return load_case(demo_cases()["one_blown_seal"], knowledge)


@pytest.fixture(scope="module")
def workers(knowledge: Knowledge) -> Iterator[Reckoner]:
    made = Reckoner(Settings(workers=1), knowledge)
    yield made
    made.close()


def test_equal_cases_have_one_key_and_different_ones_have_not(knowledge: Knowledge, case: Case) -> None:
    again = with_answer(case, knowledge, "rough_idle", None, "absent")
    assert key_of(case, knowledge) == key_of(load_case(demo_cases()["one_blown_seal"], knowledge), knowledge)
    assert key_of(again, knowledge) != key_of(with_answer(case, knowledge, "rough_idle", None, "present"), knowledge)
    assert key_of(case, knowledge) != key_of(with_access(case, [("covers", "A")]), knowledge)


def test_the_same_question_is_worked_out_once(workers: Reckoner, case: Case) -> None:
    first = workers.begun("belief", case)
    assert first.result(60) is workers.belief(case)
    assert workers.begun("belief", case) is first


def test_a_case_from_elsewhere_is_about_the_engine_that_is_here(knowledge: Knowledge, case: Case) -> None:
    """Each answer came with a copy of the engine, and all that is laid out for an engine was laid out anew."""
    desk = reckoning.Desk(knowledge)
    sent = pickle.loads(pickle.dumps(case))
    assert sent.engine is not knowledge.engines[case.engine_id]
    assert desk.own(sent) == case
    assert desk.own(sent).engine is knowledge.engines[case.engine_id]
    other = sent.engine.model_copy(update={"name": "written anew"})
    own = replace(sent, engine=other, engine_id="own.yaml")
    assert desk.own(own) is own
    assert desk.own(pickle.loads(pickle.dumps(own))).engine is other
    for number in range(200):  # files of many engines: none is kept for ever, and none is taken for another
        named = replace(own, engine_id=f"{number}.yaml", engine=other.model_copy(update={"name": str(number)}))
        assert desk.own(named).engine is named.engine
    anew = replace(own, engine=sent.engine)
    assert desk.own(anew).engine is sent.engine


def test_an_error_comes_back_as_what_it_is(knowledge: Knowledge, case: Case, tmp_path: Path) -> None:
    """The finding that cannot be is named across the processes."""
    overlay = tmp_path / "never.yaml"
    overlay.write_text(NEVER, encoding="utf-8")
    workers = Reckoner(Settings(workers=1, overlays=(overlay,)), knowledge)
    try:
        with pytest.raises(ImpossibleEvidence, match="smell of exhaust") as raised:
            workers.belief(case)
    finally:
        workers.close()
    assert raised.value.findings


def test_a_worker_that_is_killed_is_replaced(workers: Reckoner, knowledge: Knowledge, case: Case) -> None:
    changed = with_answer(case, knowledge, "bubbles", 2, "present")
    workers.belief(case)
    (process,) = workers._lanes["quick0"]._processes  # type: ignore[attr-defined]
    os.kill(process, signal.SIGKILL)
    assert workers.belief(changed).faults


def test_workers_are_warm_before_the_first_case_comes(knowledge: Knowledge) -> None:
    """Rooms are read at their first use: the first answer of the day took three times as long as the next."""
    made = Reckoner(Settings(workers=1), knowledge)
    made.warm()
    try:
        read = {
            lane: made._lanes[f"{lane}0"].submit(eval, f"{room!r} in __import__('sys').modules").result(60)
            for lane, room in (("quick", "diag.inference.passes"), ("deep", "diag.decision.sampled"))
        }
    finally:
        made.close()
    assert read == {"quick": True, "deep": True}


def test_a_knowledge_without_what_the_invented_case_speaks_of_is_no_trouble(
    knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setitem(reckoning.JOBS, "checks", lambda desk, key, case: asked.append(case.engine_id))
    for knows in (knowledge, knowledge.model_copy(update={"findings": {}})):
        monkeypatch.setattr(reckoning, "_desk", reckoning.Desk(knows))
        reckoning.rehearse("checks")
    assert asked == ["ostrel_4"]


def test_workers_and_what_keeps_them_are_gone_when_they_are_let_go(knowledge: Knowledge) -> None:
    """A thread still at it would meet Python's own ending, which wakes it by what it closes: a trace, now and then."""
    before = set(threading.enumerate())
    made = Reckoner(Settings(workers=2), knowledge)
    made.warm()
    begun = [process for lane in made._lanes.values() for process in (lane._processes or {}).values()]  # type: ignore[attr-defined]
    made.close()
    assert begun and not any(process.is_alive() for process in begun)
    assert set(threading.enumerate()) <= before


def test_who_still_waits_when_the_workers_are_let_go_starts_no_new_ones(knowledge: Knowledge, case: Case) -> None:
    """One that ends was taken for one that was killed, and its work begun once more: ending took ten seconds longer."""
    made = Reckoner(Settings(workers=1), knowledge)
    raised: list[Exception] = []

    def wait() -> None:
        try:
            made.checks(case)
        except Exception as error:
            raised.append(error)

    waiting = threading.Thread(target=wait)
    waiting.start()
    until = time.monotonic() + 10
    while not made._known and time.monotonic() < until:
        time.sleep(0.01)
    lanes = dict(made._lanes)
    made.close()
    waiting.join(60)
    assert made._lanes == lanes
    assert [type(each) for each in raised] == [Busy]


def test_what_takes_too_long_is_said_to_do_so(
    workers: Reckoner, knowledge: Knowledge, case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.0)
    with pytest.raises(Busy, match="Ask again in a moment"):
        workers.checks(with_answer(case, knowledge, "bubbles", 3, "present"))


def test_what_waits_of_an_earlier_state_is_dropped(workers: Reckoner, knowledge: Knowledge, case: Case) -> None:
    """The ranking of a state that nobody looks at any more is not worked out where it had not begun."""
    states = [with_answer(case, knowledge, "wet_joint", place, "absent") for place in (1, 2, 3, 4)]
    asked = [workers.begun("checks", state, about="7") for state in states]
    assert asked[-1].result(120).checks
    assert any(future.cancelled() for future in asked[1:-1])


def test_where_many_wait_for_a_process_nobody_waits_long(workers: Reckoner, case: Case, knowledge: Knowledge) -> None:
    """What a request waits is shared out among all jobs before the same process, and whole again once they are done."""
    answers = ("present", "absent")
    several = [
        with_answer(with_answer(case, knowledge, "rough_idle", None, a), knowledge, "misfire_felt", None, b)
        for a in answers for b in answers
    ]  # fmt: skip
    waiting = [workers.begun("belief", each) for each in several]
    assert workers.worth_waiting_s("belief", case, 0.4) < 0.4
    for future in waiting:
        future.exception(60)
    until = time.monotonic() + 10  # a job is counted off just after its result can be had
    while workers.worth_waiting_s("belief", case, 0.4) < 0.4 and time.monotonic() < until:
        time.sleep(0.01)
    assert workers.worth_waiting_s("belief", case, 0.4) == 0.4
