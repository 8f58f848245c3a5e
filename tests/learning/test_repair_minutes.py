"""Minutes of a repair from the times told at the closing: of a workshop that is as the knowledge says, they stay."""

from __future__ import annotations

import numpy as np
import pytest

from diag.casebook import Case, Work
from diag.decision import Job, tariff_of
from diag.knowledge_base import Engine, Knowledge, load_knowledge
from diag.learning import Lesson, repair_minutes, slips_of_time
from diag.store import Fitted, Found, Outcome
from diag.worksheet import minutes_of

OLDER_YEARS = 14.0


@pytest.fixture(scope="module")
def known() -> Knowledge:
    """What ships."""
    return load_knowledge()


def vehicle(known: Knowledge, engine: str, years: float = 5.0) -> Case:
    return Case("timed", known.engines[engine], engine, age_years=years)


def lesson(case: Case, job: Job, found: tuple[Found, ...], minutes: float, number: int = 1) -> Lesson:
    return Lesson(number, "", case, Outcome("yes", found, (Fitted(job.repair, job.place),), minutes=minutes), "")


def first_place(engine: Engine, on: str) -> int | str | None:
    return {"cylinder": engine.cylinders[-1], "bank": next(iter(engine.banks)), "vehicle": None}[on]


@pytest.mark.parametrize("engine", ["ostrel_3", "ostrel_4", "velm_5", "karrick_v6", "karrick_v8"])
def test_the_time_of_an_estimate_teaches_nothing_new_where_nothing_can_go_wrong(known: Knowledge, engine: str) -> None:
    """Every repair without risks, in just the time of its estimate: what the opening includes, awkward cylinders, the
    work that must follow, leak check and road test are none of its own minutes."""
    case, seen = vehicle(known, engine), 0
    for name, repair in known.repairs.items():
        job = Job(name, first_place(case.engine, repair.on))
        jobs = tariff_of(known, case.engine).with_followers(job)
        if any(known.repairs[each.repair].risks for each in jobs) or repair.minutes.value <= 0:
            continue
        minutes = minutes_of(tariff_of(known, case.engine), case, jobs)
        (learned,) = repair_minutes(known, [lesson(case, job, (), minutes, n) for n in range(6)], 5.0)
        assert learned.after == pytest.approx(repair.minutes.value), name
        seen += 1
    assert seen > 10


@pytest.mark.parametrize(("years", "state"), [(5.0, "weeping"), (OLDER_YEARS, "blown")])
def test_what_went_wrong_on_the_way_is_not_learned_as_work(known: Knowledge, years: float, state: str) -> None:
    """4,000 seals done by a workshop of which all is as the knowledge says, the injector that sticks included: that
    stands on the estimate by itself, so the 40 minutes of the work stay (it would come on top)."""
    case, job = vehicle(known, "ostrel_4", years), Job("reseal", 2)
    tariff = tariff_of(known, case.engine, dict.fromkeys(case.engine.cylinders, years))
    dice = np.random.default_rng(20261128)
    by_level = known.severities["blow_by"].causes["seal"][state]
    levels = known.severities["blow_by"].levels
    shares = [by_level[level].value for level in levels[1:]]
    lessons = []
    for number in range(4_000):
        level = levels[dice.choice(3, p=[1.0 - sum(shares), *shares])]
        minutes = minutes_of(tariff, case, (job,))
        for risk in known.repairs["reseal"].risks:
            chances = tariff.risk_chances(risk, 2)
            minutes += risk.minutes.value * (dice.random() < chances.get(level, max(chances.values())))
        lessons.append(lesson(case, job, (Found("seal", state, 2, "seen"),), minutes, number))
    (learned,) = repair_minutes(known, lessons, 5.0)
    error = (learned.high - learned.low) / (2 * 1.645)
    assert error < 2.0
    assert learned.after == pytest.approx(known.repairs["reseal"].minutes.value, abs=4.0 * error)


def test_an_injector_that_was_out_lately_sticks_less(known: Knowledge) -> None:
    """The same time told teaches more minutes of work where less was to go wrong."""
    old = vehicle(known, "ostrel_4", OLDER_YEARS)
    lately = Case("timed", old.engine, "ostrel_4", age_years=OLDER_YEARS, history=(Work("reseal", 2, months_ago=24.0),))
    found = (Found("seal", "blown", 2, "seen"),)
    after = [
        repair_minutes(known, [lesson(case, Job("reseal", 2), found, 150.0, n) for n in range(6)], 5.0)[0].after
        for case in (old, lately)
    ]
    assert after[0] + 2.0 < after[1]


@pytest.mark.parametrize("slip", [95 * 60.0, 1300.0, 0.0])
def test_a_slip_of_the_pen_does_not_move_the_minutes(known: Knowledge, slip: float) -> None:
    """Hours for minutes, a nought too many, nothing at all: told in one case of twelve, it is named and left out; work
    that went badly wrong (three times as long) counts."""
    case, job = vehicle(known, "ostrel_4"), Job("reseal", 2)
    found = (Found("seal", "weeping", 2, "seen"),)
    usual = [lesson(case, job, found, 130.0 + number, number) for number in range(10)]
    hard = lesson(case, job, found, 390.0, 10)
    (without,) = repair_minutes(known, usual, 5.0)
    (plain,) = repair_minutes(known, [*usual, hard], 5.0)
    (slipped,) = repair_minutes(known, [*usual, hard, lesson(case, job, found, slip, 11)], 5.0)
    assert plain.after > without.after + 4.0
    assert (slipped.after, slipped.cases) == (pytest.approx(plain.after), 11)
    assert slips_of_time(known, [*usual, hard, lesson(case, job, found, slip, 11)]) == (11,)


def test_a_workshop_that_is_far_quicker_than_reckoned_tells_no_slips(known: Knowledge) -> None:
    """All its times are a tenth of what is reckoned: they are its own, and are learned."""
    case, job = vehicle(known, "ostrel_4"), Job("mend_compression", 2)
    found = (Found("compression", "low", 2, "seen"),)
    minutes = minutes_of(tariff_of(known, case.engine), case, (job,)) / 10.0
    lessons = [lesson(case, job, found, minutes, number) for number in range(8)]
    assert slips_of_time(known, lessons) == ()
    assert repair_minutes(known, lessons, 5.0)[0].after < known.repairs["mend_compression"].minutes.value
