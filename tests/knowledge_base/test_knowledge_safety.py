"""What hurts people in a workshop, held against everything that ships: each rule over all checks, repairs and steps."""

from __future__ import annotations

import re

from diag.knowledge_base import Check, Knowledge, Repair


def _doings(knowledge: Knowledge) -> dict[str, Check | Repair]:
    return {
        **{f"checks.{name}": check for name, check in knowledge.checks.items()},
        **{f"repairs.{name}": repair for name, repair in knowledge.repairs.items()},
    }


def test_what_wants_a_running_or_a_warm_engine_runs_it(shipped: Knowledge) -> None:
    """An engine gets warm by running, so what bars running bars that too (common practice, no source)."""
    running = {"engine_running", "engine_warm"}
    wants = {name: each for name, each in _doings(shipped).items() if running & set(each.needs)}
    assert wants
    assert [name for name, each in wants.items() if "engine running" not in each.hazards] == []


def test_what_runs_the_engine_names_its_exhaust_gas_except_on_the_road(shipped: Knowledge) -> None:
    runs = {name: each for name, each in _doings(shipped).items() if "engine running" in each.hazards}
    assert runs
    silent = [name for name, each in runs.items() if not {"exhaust gas", "driving"} & set(each.hazards)]
    assert silent == []


def test_what_bars_running_bars_cranking_and_driving(shipped: Knowledge) -> None:
    """The starter turns the high-pressure pump as well, and fills a cylinder under an injector that stays open."""
    bars = {name: each for name, each in shipped.cautions.items() if "engine running" in each.forbids}
    assert set(bars) == {"fuel_jet", "runaway"}
    assert [name for name, each in bars.items() if not {"moving parts", "driving"} <= set(each.forbids)] == []


def test_a_check_that_stands_for_an_exchange_starts_the_engine(shipped: Knowledge) -> None:
    """Whether a fault moved along with an injector shows only when the engine runs, on a good cylinder at that."""
    shown = {finding for repair in shipped.repairs.values() for finding in repair.stands_for}
    checks = {name: each for name, each in shipped.checks.items() if shown & {one.item for one in each.yields}}
    assert checks
    for name, check in checks.items():
        assert {"engine running", "moving parts", "exhaust gas"} <= set(check.hazards), name


def test_what_shows_fuel_outside_is_not_driven_with(shipped: Knowledge) -> None:
    """Fuel that is seen, heard or coded outside can fall on hot metal, whichever pipe it leaves; a smell may be old."""
    leaks = {"fuel_outside", "fuel_leak", "return_pipe", "pressure_pipe"}
    shown = {name: each for name, each in shipped.findings.items() if each.shows in leaks and each.kind != "symptom"}
    assert {each.shows for each in shown.values()} == leaks
    assert [name for name, each in shown.items() if "fuel_fire" not in each.danger] == []


def test_leaving_it_stand_repeats_what_every_danger_says(shipped: Knowledge) -> None:
    """The way out is taken because of a danger, so each caution that one brings stands there and at its step."""
    danger = {name for each in shipped.findings.values() for name in each.danger}
    danger |= {name for each in shipped.readings.values() for name in each.danger}
    states = (state for part in shipped.components.values() for state in part.states.values())
    danger |= {name for state in states for name in state.danger}
    assert danger == set(shipped.repairs["stop_driving"].cautions)
    assert danger == set(shipped.steps["leave_standing"].cautions)


def test_work_waits_for_the_pressure_where_it_opens_it_and_says_so(shipped: Knowledge) -> None:
    """What a repair needs and what its sheet tells to do are one: the pressure is waited for, and named as a hazard."""
    for name, repair in shipped.repairs.items():
        waits = "pressure_gone" in repair.steps
        assert waits == ("pressure_gone" in repair.needs), name
        assert waits == ("opens fuel pressure" in repair.hazards), name


def test_a_check_that_opens_pressure_waits_for_it(shipped: Knowledge) -> None:
    """By what it needs, or in its words where the engine runs first (common practice, no source)."""
    opens = {name: each for name, each in shipped.checks.items() if "opens fuel pressure" in each.hazards}
    assert opens
    for name, check in opens.items():
        assert "pressure_gone" in check.needs or "wait until the pressure has gone" in check.how, name


def test_whoever_takes_returns_or_the_feed_apart_opens_pressure(shipped: Knowledge) -> None:
    """Returns of piezo injectors stand under some 10 bar, and a jet goes through skin from about 7; pumps feed too."""
    tools = {"return flow bottles and adapters", "clear hose", "pressure gauge"}
    for name, each in _doings(shipped).items():
        if tools & set(each.tools) or each.access == "filter":
            assert "opens fuel pressure" in each.hazards, name
    parts = {"return_pipe", "pressure_pipe", "filter_seal", "fuel_filter", "feed_hose_set", "metering_valve"}
    for name, step in shipped.steps.items():
        if parts & set(step.parts):
            assert "opens fuel pressure" in step.hazards, name


def test_nothing_is_looked_into_while_it_may_start(shipped: Knowledge) -> None:
    """A check behind covers says whether the engine stands or runs; a fan starts by itself (common practice)."""
    said = {"ignition_off", "ignition_on", "engine_running", "engine_warm", "cranking_possible", "tester_connected"}
    assert [name for name, each in shipped.checks.items() if each.access != "none" and not said & set(each.needs)] == []


def test_no_engine_is_cranked_with_its_fuel_pipes_off(shipped: Knowledge) -> None:
    """Every step that turns or runs it stands before the first that opens a pipe, or after the last that closes one."""
    names = list(shipped.steps)
    first, last = names.index("return_off"), names.index("pipe_on")
    between = names[first : last + 1]
    turning = re.compile(r"crank|gauge|leak-down|start it|run it", re.IGNORECASE)
    assert [name for name in between if turning.search(shipped.steps[name].do)] == []
    assert [name for name in between if "engine running" in shipped.steps[name].hazards] == []


def test_what_sparks_or_glows_says_so_and_is_barred_by_a_fuel_leak(shipped: Knowledge) -> None:
    """A battery lead sparks when it is moved, a plug that glows lights vapour (common practice, no source)."""
    sparking = re.compile(r"battery,|the battery|while glowing", re.IGNORECASE)
    told = {f"steps.{name}": (each.do, each.hazards) for name, each in shipped.steps.items()}
    told |= {f"checks.{name}": (each.how, each.hazards) for name, each in shipped.checks.items()}
    found = {name: hazards for name, (words, hazards) in told.items() if sparking.search(words)}
    assert {name.split(".")[0] for name in found} == {"steps", "checks"}
    measured_only = {"checks.compression_test", "checks.rail_pressure_while_cranking"}  # no lead of it is moved
    assert [name for name, hazards in found.items() if "sparks" not in hazards and name not in measured_only] == []
    assert "sparks" in shipped.cautions["fuel_fire"].forbids


def test_no_engine_is_started_with_an_injector_unplugged(shipped: Knowledge) -> None:
    """A check that unplugs an injector and then runs the engine has it plugged in again first, or does it otherwise."""
    both = {"unplugs an injector", "engine running"}
    found = {name: each.how for name, each in shipped.checks.items() if both <= set(each.hazards)}
    assert "wires_of_injector" in found
    again = re.compile(r"plug in again|never by pulling plugs|exchange it", re.IGNORECASE)
    assert [name for name, how in found.items() if not again.search(how)] == []


def test_whoever_meets_coolant_is_warned_of_it(shipped: Knowledge) -> None:
    named = {name: each.hazards for name, each in shipped.steps.items() if "coolant" in each.do}
    assert {"covers_off", "air_off"} <= set(named)
    assert [name for name, hazards in named.items() if "hot coolant" not in hazards] == []


def test_what_takes_an_injector_out_may_meet_it_stuck(shipped: Knowledge) -> None:
    """It costs the same soaking, pulling and broken joints whatever it comes out for, and more the longer it sat."""
    drawn = {name for name, step in shipped.steps.items() if step.removes_injector}
    out = {f"repairs.{name}": each for name, each in shipped.repairs.items() if drawn & set(each.steps)}
    out |= {f"checks.{name}": each for name, each in shipped.checks.items() if "washer" in each.parts}
    assert {"repairs.swap_injectors", "repairs.mend_compression", "checks.bench"} <= set(out)
    for name, each in out.items():
        risks = {risk.name: risk for risk in each.risks}
        assert {"injector stuck", "return joint broken"} <= set(risks), name
        assert risks["injector stuck"].older is not None and risks["return joint broken"].older is not None, name
        assert ("inspect_seat" in getattr(each, "steps", ())) == ("seat has to be recut" in risks), name
        assert "tar_dust" in each.cautions, name


def test_like_risks_of_repairs_have_like_figures(shipped: Knowledge) -> None:
    """An injector is not stuck less often because another repair takes it out."""
    found: dict[str, set[str]] = {}
    for repair in shipped.repairs.values():
        for risk in repair.risks:
            found.setdefault(risk.name, set()).add(risk.model_dump_json())
    assert [name for name, figures in found.items() if len(figures) > 1] == []
