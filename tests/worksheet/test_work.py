"""What a work sheet holds follows from the plan, on every engine and for every plan."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given

from diag.casebook import Case, TrimCode, load_case
from diag.decision import Job
from diag.knowledge_base import EngineLayout, Torque, TrimCodeFormat, cautions_at, new_engine_text, read_engine
from diag.report import WorkSheet, render, sheet_blocks, sheet_html
from tests.support.effort import effort
from tests.worksheet.plans import (
    ENGINES,
    KNOWLEDGE,
    case_of,
    chosen,
    injector_plans,
    opened,
    plans,
    sheet,
    with_torques,
    without_torques,
    work,
)

FUEL_AGAIN = ("bleed", "first_start", "leak_check")
NEW_AT_EVERY_REMOVAL = ("washer", "o_ring", "clamp_bolt", "return_seal")  # common practice, no source

# What the words of a step do, and words of the warning that must then stand at it. Read off the text of the step, not
# off its hazards, so that a hazard that was forgotten is found. HSE FOD 4-2014 for the jet; else common practice.
DOES = {
    "opens fuel pressure": (
        r"unions? of the pressure pipe|Loosen both unions|Draw the return joint|pump's pipes off"
        r"|metering valve, take it out|sensor, take it out|Change the filter|Pump the fuel off|hold the injector down"
        r"|Clean tank, lines and rail|Look for fuel and bubbles",
        "Fuel jet cuts the body",
    ),
    "pressure read as gone": (
        r"Loosen both unions|Draw the return joint|pump's pipes off|Change the filter|Look for fuel and bubbles",
        "read that the pressure has gone",
    ),
    "unplugs an injector": (r"^Unplug the injector|^Unplug, and measure", "100 to 250 volts"),
    "runs the engine": (r"\bStart\b|at idle and after|Warm it up", "Exhaust gas poisons"),
    "turns the engine": (r"Crank 15|Start, let|Start and let|at idle and after|Warm it up", "It may turn"),
}


def steps_of(made: WorkSheet) -> list:  # type: ignore[type-arg]
    return [step for section in made.sections for step in section.steps]


@given(injector_plans())
@effort(60)
def test_n_injectors_removed_give_n_of_each_single_use_part(plan: tuple[Case, dict[int, str]]) -> None:
    case, repairs = plan
    made = sheet(case, *(Job(repair, cylinder) for cylinder, repair in repairs.items()))
    counts = {piece.part: piece.count for piece in made.parts}
    out = [row.cylinder for row in made.rack]
    assert out == sorted(repairs)
    assert {part: counts[part] for part in NEW_AT_EVERY_REMOVAL} == dict.fromkeys(NEW_AT_EVERY_REMOVAL, len(out))
    assert counts.get("injector", 0) == sum(repair == "replace_injector" for repair in repairs.values())
    drawn = next(step for step in steps_of(made) if step.injector_out)
    assert set(drawn.places) <= set(out)


@given(plans())
@effort(80)
def test_every_part_is_fitted_at_a_step_and_the_steps_add_up_to_the_list(plan: tuple[Case, tuple[Job, ...]]) -> None:
    case, jobs = plan
    made = sheet(case, *jobs)
    at_steps: dict[str, int] = {}
    for step in steps_of(made):
        for piece in step.parts:
            at_steps[piece.part] = at_steps.get(piece.part, 0) + piece.count
    assert at_steps == {piece.part: piece.count for piece in made.parts}


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("how_many", ["one", "all"])
def test_a_reseal_shows_as_many_of_each_part_as_cylinders(engine: str, how_many: str) -> None:
    case = case_of(engine)
    cylinders = case.engine.cylinders[: 1 if how_many == "one" else None]
    made = sheet(case, *(Job("reseal", cylinder) for cylinder in cylinders))
    assert {piece.part: piece.count for piece in made.parts} == dict.fromkeys(NEW_AT_EVERY_REMOVAL, len(cylinders))
    assert all(piece.single_use for piece in made.parts)


def test_a_six_cylinder_reseal_shows_six_of_each() -> None:
    """A seal kit for a six-cylinder engine: six washers, six O-rings, six clamp bolts (common practice, no source)."""
    made = sheet(case_of("karrick_v6"), *(Job("reseal", cylinder) for cylinder in range(1, 7)))
    page = render(sheet_blocks(made), 100)
    for name in ("combustion seal washer", "O-ring of the injector", "clamp bolt"):
        assert re.search(rf"^ +6  {name} +new, never used twice$", page, re.MULTILINE)
    assert len(made.rack) == len(made.codes) == 6
    assert (
        sum(len(step.places) for step in steps_of(made) for torque in step.torques if torque.name == "clamp bolt") == 6
    )


def test_values_of_the_engine_file_are_printed_and_blanks_where_it_has_none() -> None:
    """Clamp bolt 6 N·m then 90 degrees, union 25 N·m: values that occur together (common practice, no source)."""
    engine = KNOWLEDGE.engines["karrick_v6"]
    told = with_torques(
        engine,
        clamp_bolt=Torque(newton_metres=6, then_degrees=90),
        pressure_union=Torque(newton_metres=25),
    )
    page = " ".join(render(sheet_blocks(sheet(case_of(told), Job("reseal", 2))), 100).split())
    assert "clamp bolt: 6 N·m, then 90 degrees; reached 2:____N·m+____°" in page
    assert "pressure union: 25 N·m; reached 2:____N·m" in page
    assert "return joint: maker's value ____; reached 2:____N·m" in page
    blank = " ".join(render(sheet_blocks(sheet(case_of(without_torques(engine)), Job("reseal", 2))), 100).split())
    assert "clamp bolt: maker's value ____; reached 2:____N·m" in blank
    assert "pressure union: maker's value ____" in blank
    assert not re.search(r"\d N·m", blank)


@pytest.mark.parametrize("engine", ENGINES)
def test_the_values_of_the_demo_engines_are_marked_as_valid_for_no_real_engine(engine: str) -> None:
    known = KNOWLEDGE.engines[engine]
    values = [torque for torque in known.torques.values() if torque.newton_metres is not None]
    assert values
    assert all("valid for no real engine" in (torque.note or "") for torque in values)
    made = sheet(case_of(engine), Job("reseal", 1))
    assert "valid for no real engine" in render(sheet_blocks(made), 100)


@pytest.mark.parametrize("name", KNOWLEDGE.steps)
@pytest.mark.parametrize("deed", DOES)
def test_what_a_step_says_it_does_has_its_warning_in_the_knowledge(name: str, deed: str) -> None:
    pattern, words = DOES[deed]
    step = KNOWLEDGE.steps[name]
    if not re.search(pattern, step.do):
        return
    assert any(words in (each.short or each.text) for each in cautions_at(KNOWLEDGE, step).values()), step.do


@given(plans())
@effort(80)
def test_no_step_that_can_hurt_lacks_its_warning_where_it_stands(plan: tuple[Case, tuple[Job, ...]]) -> None:
    case, jobs = plan
    made = sheet(case, *jobs)
    head = " ".join(made.read_first)
    for step in steps_of(made):
        for pattern, words in DOES.values():
            if re.search(pattern, step.text):
                assert any(words in caution for caution in step.cautions), (step.text, words)
        for hazard in step.hazards:
            texts = [each for each in KNOWLEDGE.cautions.values() if hazard in each.hazards and not each.head_only]
            assert texts
            assert all((each.short or each.text) in step.cautions for each in texts)
            assert all(each.text in head for each in KNOWLEDGE.cautions.values() if hazard in each.hazards)


@given(plans())
@effort(80)
def test_pressure_is_read_as_gone_before_anything_is_opened(plan: tuple[Case, tuple[Job, ...]]) -> None:
    case, jobs = plan
    steps = steps_of(sheet(case, *jobs))
    opening = [
        step.number
        for step in steps
        if "opens fuel pressure" in step.hazards and KNOWLEDGE.steps[step.step].stage in ("open", "work")
    ]
    if opening:
        gone = next(step for step in steps if step.step == "pressure_gone")
        assert gone.number < min(opening)
        assert f"Wait {case.engine.wait_after_stop_minutes:g} min." in gone.text


@given(plans())
@effort(80)
def test_everything_is_opened_once_and_closed_once_around_the_work(plan: tuple[Case, tuple[Job, ...]]) -> None:
    case, jobs = plan
    found = work(case, *jobs)
    keys = [key for section in found.sections for key in section.opens]
    assert len(keys) == len(set(keys))
    for section in found.sections:
        stages = [at.step.stage for at in section.steps]
        order = {"before": 0, "open": 0, "work": 1, "codes": 1, "after": 1, "close": 2}
        assert [order[stage] for stage in stages] == sorted(order[stage] for stage in stages)
        for kind, bank in section.opens:
            known = KNOWLEDGE.vocabulary.access[kind]
            for name in (*known.open, *known.close):
                assert sum(at.id == name and _touches(case, at.places, bank) for at in section.steps) == 1, name
            for inner in known.includes:
                assert section.opens.index((inner, bank)) < section.opens.index((kind, bank))
    assert [
        job for section in found.sections for job in section.jobs if job not in chosen(case.engine, *jobs).jobs
    ] == []
    done = {job for section in found.sections for job in section.jobs}
    codes_only = {job for job in chosen(case.engine, *jobs).jobs if not _has_work(job)}
    assert set(chosen(case.engine, *jobs).jobs) - done <= codes_only


def _touches(case: Case, places: tuple[object, ...], bank: str) -> bool:
    return not places or bank in places or bool(set(places) & set(case.engine.banks[bank]))


def _has_work(job: Job) -> bool:
    return any(KNOWLEDGE.steps[name].stage == "work" for name in KNOWLEDGE.repairs[job.repair].steps)


@given(plans())
@effort(40)
def test_steps_are_numbered_through_and_no_step_is_ticked_twice_at_a_place(plan: tuple[Case, tuple[Job, ...]]) -> None:
    case, jobs = plan
    steps = steps_of(sheet(case, *jobs))
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    assert all(len(set(step.places)) == len(step.places) for step in steps)


def test_work_on_both_banks_of_a_v_engine_is_two_groups_each_with_its_own_cylinders() -> None:
    made = sheet(case_of("karrick_v6"), *(Job("reseal", cylinder) for cylinder in (1, 2, 3, 4, 5, 6)))
    banks = [section for section in made.sections if section.kind == "opened"]
    assert [section.title for section in banks] == ["Bank A: open, work, close", "Bank B: open, work, close"]
    for section, cylinders in zip(banks, ((1, 2, 3), (4, 5, 6)), strict=True):
        assert next(step for step in section.steps if step.injector_out).places == cylinders


def test_an_exchange_has_a_box_for_each_of_its_two_cylinders_and_is_charged_once() -> None:
    """Injectors of 2 and 6, one on each bank of the V6: both banks open at a time, parts of one exchange, minutes of
    one and the awkward ones of 6; each bank closes with a seal of its own."""
    case, jobs = case_of("karrick_v6"), (Job("swap_injectors", 2), Job("swap_injectors", 6))
    made, swap = sheet(case, *jobs), KNOWLEDGE.repairs["swap_injectors"]
    assert [row.cylinder for row in made.rack] == [row.cylinder for row in made.codes if row.written] == [2, 6]
    assert {piece.part: piece.count for piece in made.parts} == swap.parts
    exchanged = next(step for step in steps_of(made) if step.step == "exchange_injectors")
    assert exchanged.places == (2, 6)
    section = next(each for each in made.sections if exchanged in each.steps)
    assert {step.places for step in section.steps if step.step == "pipe_off"} == {(2,), (6,)}
    seals = [(step.places, piece.count) for step in steps_of(made) for piece in step.parts if step.step == "return_on"]
    assert sorted(seals) == [((2,), 1), ((6,), 1)]
    opened = sum(m for by_bank in ("covers", "injectors") for m in case.engine.access_minutes[by_bank].values())
    finish = KNOWLEDGE.prices.finish_minutes.value
    assert made.minutes == opened + swap.minutes.value + case.engine.awkward_minutes[6] + finish


@given(injector_plans())
@effort(20)
def test_exchanges_take_half_of_what_as_many_single_jobs_would(plan: tuple[Case, dict[int, str]]) -> None:
    """Any two cylinders, in any order: the two injectors are worked at in one section."""
    case, cylinders = plan[0], list(plan[1])[:2]
    if len(cylinders) < 2:
        return
    found = work(case, *(Job("swap_injectors", each) for each in cylinders))
    assert sum(len(section.jobs) for section in found.sections if section.kind == "opened") == 2
    assert len([section for section in found.sections if section.kind == "opened"]) == 1
    assert {each.part: each.count for each in found.parts} == KNOWLEDGE.repairs["swap_injectors"].parts
    assert found.rack == found.new_codes == tuple(sorted(cylinders))


def test_a_value_before_says_how_it_was_read(tmp_path: Path) -> None:
    """What is compared must be alike: the rail pressure of a return flow stands beside it. A value read cold does not
    stand for the warm one that is read again; where there is no other, it says that it is cold."""
    path = tmp_path / "case.yaml"
    path.write_text(
        "title: values\nengine: ostrel_4\nreadings:\n"
        "  correction: {1: -0.3 mg/stroke, 4: -1.2 +/- 0.05 mg/stroke}\n"
        "  correction under cold: {1: 0.9 mg/stroke, 2: 1.4 mg/stroke}\n"
        "  return_flow: {1: 60 mL/min at 400 bar, 3: '< 5 mL/min'}\n"
    )
    rows = sheet(load_case(path, KNOWLEDGE), Job("replace_injector", 2)).values
    assert [row.before for row in rows if row.reading == "correction"] == [
        "-0.3 mg/stroke",
        "1.4 mg/stroke, engine cold",
        "not measured",
        "-1.20 +/- 0.05 mg/stroke",
    ]
    flows = [row.before for row in rows if row.reading == "return_flow"]
    assert flows == ["60 mL/min at 400 bar", "not measured", "below 5 mL/min", "not measured"]


def test_whatever_was_complained_of_is_looked_for_again(tmp_path: Path) -> None:
    """Told as likely, a bit, or pending, it is to be gone as well; 'better' does not end it, 'gone' and
    'clearly not' do."""
    path = tmp_path / "case.yaml"
    path.write_text(
        "title: soft\nengine: ostrel_4\ncodes: [P0301 pending]\n"
        "findings: {fumes: clearly, rough_idle: think so, hard_start: unlikely, stalls: maybe,\n"
        "  chuff under cold: {2: likely, 3: a bit}, tar: {2: present, 3: absent}}\n"
        "tried: [{did: write_code, cylinder: 1, helped: better, then: {findings: {chuff under cold: {3: absent}}}}]\n"
    )
    case = load_case(path, KNOWLEDGE)
    rows = [(row.what, row.place) for row in sheet(case, Job("reseal", 2)).complaints]
    names = {each: KNOWLEDGE.findings[each].name for each in ("fumes", "rough_idle", "chuff", "tar", "misfire_code")}
    assert {(names[item], place) for item, place in (("fumes", None), ("rough_idle", None), ("tar", 2))} <= set(rows)
    assert (names["misfire_code"], 1) in rows
    assert [place for what, place in rows if what.startswith(names["chuff"])] == [2]
    assert len(rows) == 5


def test_what_is_open_already_is_said_and_its_steps_still_stand() -> None:
    made = sheet(opened(case_of("karrick_v6"), ("covers", "B")), Job("reseal", 5))
    section = next(each for each in made.sections if each.kind == "opened")
    assert "open already" in section.opens[0]
    assert "open already" not in section.opens[1]
    assert section.steps[0].step == "covers_off"


def test_a_new_injector_brings_its_code_to_the_cylinder_in_which_it_sits() -> None:
    made = sheet(case_of("ostrel_4"), Job("replace_injector", 3), Job("reseal", 1))
    assert [(row.cylinder, row.replaced) for row in made.rack] == [(1, False), (3, True)]
    assert [(row.cylinder, row.written) for row in made.codes] == [(1, False), (3, True)]
    written = next(step for step in steps_of(made) if step.step == "code_write")
    assert written.places == (3,)
    check = next(step for step in steps_of(made) if step.step == "code_check")
    assert "16 characters out of 0123456789ABCDEF" in check.text


def test_the_ledger_of_the_sheet_holds_what_the_case_notes() -> None:
    """A code that was told stands there; on the part only where that part stays."""
    ledger = (TrimCode(1, part="A1", unit="A1"), TrimCode(3, part="B2", unit=""), TrimCode(4, unit="C3"))
    case = replace(case_of("ostrel_4"), trim_codes=ledger)
    made = sheet(case, Job("replace_injector", 3), Job("reseal", 1), Job("reseal", 2), Job("write_code", 4))
    assert [(row.cylinder, row.on_part, row.in_unit) for row in made.codes] == [
        (1, "A1", "A1"),
        (2, None, None),
        (3, None, ""),
        (4, None, "C3"),
    ]
    for page in (render(sheet_blocks(made), 160), sheet_html(made)):
        assert [page.count(f"noted: {code}") for code in ("A1", "B2", "none stored", "C3")] == [2, 0, 1, 1]


def test_another_control_unit_has_every_code_written() -> None:
    made = sheet(case_of("velm_5"), Job("replace_control_unit", None))
    assert [row.cylinder for row in made.codes if row.written] == [1, 2, 3, 4, 5]


def test_what_only_the_maker_knows_is_left_blank() -> None:
    """The waiting time, the form of the code and a limit that an engine file leaves out."""
    engine = KNOWLEDGE.engines["ostrel_4"].model_copy(
        update={"wait_after_stop_minutes": None, "trim_code": TrimCodeFormat(), "limits": {}}
    )
    page = " ".join(render(sheet_blocks(sheet(case_of(engine), Job("replace_injector", 1))), 100).split())
    assert "Wait maker's value ____ (never less than 5 min)." in page
    assert "maker's value ____ characters out of maker's value ____" in page
    assert "limit of this engine: maker's value ____" in page


def test_a_repair_on_the_one_bank_of_an_engine_in_line_needs_no_letter() -> None:
    page = render(sheet_blocks(sheet(case_of("ostrel_4"), Job("mend_bank_circuit", "A"))), 100)
    assert "all cylinders" in page
    assert not re.search(r"[Bb]ank.A", page)


@pytest.mark.parametrize("jobs", [(Job("replace_injector", 5),), (Job("write_code", 5),), ()])
def test_what_stands_open_on_the_other_bank_is_closed_before_the_engine_turns(jobs: tuple[Job, ...]) -> None:
    """Pressure pipes are off on bank A, and the work is on bank B or nowhere (common practice, no source)."""
    case = opened(case_of("karrick_v6"), ("injectors", "A"))
    made = sheet(case, *jobs)
    steps = [(each.step, section.kind) for section in made.sections for each in section.steps]
    standing = next(section for section in made.sections if section.kind == "standing")
    assert [each.step for each in standing.steps] == ["pipe_on", "return_on", "plug_on", "covers_on"]
    assert "the new seals that its steps name come on top" in made.notes[0]
    assert not any("come on top" in each for each in sheet(case_of("karrick_v6"), *jobs).notes)
    assert all(each.places == case.engine.banks["A"] for each in standing.steps[:3])
    assert standing.steps[0].torques and not any(each.parts for each in standing.steps)
    turning = [number for number, (step, _) in enumerate(steps) if step in ("oil_and_turn", "bleed", "first_start")]
    assert turning or not any(job.repair == "replace_injector" for job in jobs)
    assert all(steps.index(("covers_on", "standing")) < number for number in turning)
    assert not any(section.kind == "standing" for section in sheet(case_of("karrick_v6"), *jobs).sections)


@pytest.mark.parametrize("kind", ["injectors", "filter", "tank", "pump"])
@pytest.mark.parametrize("jobs", [(Job("write_code", 5),), ()])
def test_where_fuel_stood_open_the_joints_are_looked_at_under_pressure(jobs: tuple[Job, ...], kind: str) -> None:
    """Also where the plan opens nothing itself: bled, started from a distance, looked at for fuel, with the cautions of
    these steps (common practice, no source)."""
    made = sheet(opened(case_of("karrick_v6"), (kind, "A")), *jobs)
    steps = [each for section in made.sections for each in section.steps]
    (bleed,), (start,), (check,) = ([each for each in steps if each.step == name] for name in FUEL_AGAIN)
    assert bleed.number < start.number < check.number
    assert all(each.number < bleed.number for section in made.sections if section.kind == "standing"
               for each in section.steps)  # fmt: skip
    assert all(each.cautions for each in (bleed, start, check))
    assert not any(each.step in FUEL_AGAIN for section in sheet(case_of("karrick_v6"), *jobs).sections
                   for each in section.steps)  # fmt: skip
    air = sheet(opened(case_of("karrick_v6"), ("air", "A")), *jobs)
    assert not any(each.step in FUEL_AGAIN for section in air.sections for each in section.steps)


def test_what_stands_open_for_the_work_is_closed_once() -> None:
    case = opened(case_of("karrick_v6"), ("injectors", "A"))
    made = sheet(case, Job("reseal", case.engine.banks["A"][0]))
    assert not any(section.kind == "standing" for section in made.sections)
    assert [each.step for section in made.sections for each in section.steps].count("pipe_on") == 1


def test_a_limit_of_a_new_engine_is_called_a_default_once(tmp_path: Path) -> None:
    path = tmp_path / "two.yaml"
    path.write_text(new_engine_text(KNOWLEDGE, EngineLayout("two", "Two", 2, "inline", "solenoid")))
    engine = read_engine(path, KNOWLEDGE)
    made = sheet(case_of(engine), Job("replace_injector", 2))
    limits = {each.limit for each in made.values}
    assert limits and all(each.count("a default, not the maker's") == 1 for each in limits)
    bare = engine.model_copy(
        update={"limits": {k: v.model_copy(update={"note": None}) for k, v in engine.limits.items()}}
    )
    told = {each.limit for each in sheet(case_of(bare), Job("replace_injector", 2)).values}
    assert all("a default, not the maker's" in each for each in told)


def test_work_that_needs_no_tool_has_no_heading_for_tools() -> None:
    made = sheet(opened(case_of("ostrel_4"), ("covers", "A")))
    assert made.sections and not made.tools
    assert "Tools" not in render(sheet_blocks(made), 100)
    assert "Tools" not in sheet_html(made)
