"""Checking the knowledge: each complaint provoked once, the sizes counted by hand, the cautions never left out."""

# ruff: noqa: E501  tables are read across, one row to a line

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from diag import knowledge_base
from diag.knowledge_base import (
    Check,
    Knowledge,
    Repair,
    Sizes,
    basis_of,
    cautions_for,
    check_knowledge,
    load_knowledge,
    walk_figures,
)
from diag.knowledge_base.influence import influence_of

Editor = Callable[[str, str, str], Path]

SEVERITIES, FINDINGS, WORK, REST, COMPONENTS = (
    "severities.yaml",
    "findings.yaml",
    "work.yaml",
    "rest.yaml",
    "components.yaml",
)
ENGINE = "engines/toy_4.yaml"
STEPS = "work_steps.yaml"

# what is spoilt, the kind of complaint, the item, a piece of the sentence, its weight
PROVOKED = [
    (COMPONENTS, "weeping: 60 %, blown: 40 %", "weeping: 50 %, blown: 40 %", "does not sum", "components.seal", "adds up to 0.9", "fault"),
    (SEVERITIES, "{slight: 70 %, strong: 5 %}", "{slight: {value: 70 %, also: [97 %]}, strong: 5 %}", "does not sum", "severities.blow_by", "can add up to 1.02", "note"),
    (SEVERITIES, "levels: [smooth, uneven]", "levels: [smooth, uneven, wild]", "level never reached", "severities.rough", "no cause reaches the level 'wild'", "fault"),
    (WORK, "[starving_code, correction, mount_gap]", "[starving_code, mount_gap]", "no check yields it", "readings.correction", "no check yields this reading", "fault"),
    (WORK, "yields: [starving_code, ", "yields: [", "no check yields it", "findings.starving_code", "no check yields this code", "fault"),
    (COMPONENTS, "blown: {name: blown", "blown: {name: Weeping", "name used twice", "components.seal", "its states 'weeping' and 'blown' are both called 'Weeping'", "fault"),
    (COMPONENTS, "name: engine mounts", "name: Combustion  seal", "name used twice", "components.mounts", "as components.seal is", "fault"),
    (FINDINGS, "{none: 3 %, slight: 45 %, strong: 88 %}", "{none: 45 %, slight: 45 %, strong: 45 %}", "tells nothing", "findings.chuff", "its chance is the same, 0.45, whatever 'blow_by' is", "fault"),
    (WORK, "renews: [mounts]", "renews: []", "no repair cures it", "components.mounts", "no repair renews it", "fault"),
    (FINDINGS, "kind: symptom", "kind: observation", "no check yields it", "findings.shakes", "no check yields this observation", "fault"),
    (WORK, "hazards: [engine running]", "hazards: [engine running, solvent]", "hazard without caution", "checks.listen", "'solvent'", "fault"),
    (WORK, "    hazards: [engine running]\n", "", "hazard not named", "checks.listen", "'engine running'", "fault"),
    (WORK, "    hazards: [opens fuel pressure, unplugs an injector]\n    risks", "    risks", "hazard not named", "repairs.reseal", "'opens fuel pressure'", "fault"),
    (WORK, "{washer: 1, o_ring: 1, clamp_bolt: 1}", "{washer: 1}", "single-use part missing", "repairs.reseal", "fits no new o-ring and no bolt", "fault"),
    (REST, "price: 6, single_use: true", "price: 6", "single-use part missing", "repairs.reseal", "the part 'clamp_bolt' is never fitted twice", "fault"),
    (WORK, "    then: [write_code]\n", "", "trim code not written", "repairs.replace_injector", "the trim code is not written afterwards", "fault"),
    (ENGINE, "limits: {correction:", "limits: {other:", "limit missing", "engines.toy_4", "the limit 'correction'", "note"),
    (ENGINE, "covers: {A: 8}, ", "", "access minutes missing", "engines.toy_4", "the access 'covers'", "fault"),
    (COMPONENTS, "source: published, cite: book", "source: elicited", "unused", "sources.book", "no number cites it", "note"),
    (WORK, "injector: 1, washer", "washer", "unused", "prices.parts.injector", "no check or repair needs it", "note"),
    (WORK, "    steps: [mounts]\n", "", "no steps", "repairs.replace_mounts", "it has no steps", "fault"),
    (REST, ", open: [off], close: [on]", ", open: [off]", "no steps", "vocabulary.access.covers", "no steps for closing", "fault"),
    (STEPS, "do: Fit rubber., stage: work", "do: Fit rubber., stage: work, hazards: [solvent]", "hazard without caution", "steps.mounts", "'solvent'", "fault"),
    (STEPS, "do: Fit rubber., stage: work", "do: Fit rubber., stage: work, hazards: [moving parts]", "hazard not named", "repairs.replace_mounts", "'moving parts'", "fault"),
    (STEPS, "stage: open, hazards: [opens fuel pressure]", "stage: open", "hazard at no step", "repairs.reseal", "'opens fuel pressure' stands at none", "fault"),
    (STEPS, "hazards: [unplugs an injector], removes", "removes", "hazard at no step", "repairs.reseal", "takes an injector out, and no step", "fault"),
    (REST, "{text: Fuel jets cut., hazards", "{text: Fuel jets cut., head_only: true, hazards", "hazard without caution", "steps.pipe", "'opens fuel pressure'", "fault"),
    (STEPS, "torques: [clamp_bolt]", "torques: [clamp_bolts]", "torque unknown", "steps.fit", "'clamp_bolts'", "fault"),
    (STEPS, "parts: [washer, o_ring, clamp_bolt]", "parts: [o_ring, clamp_bolt]", "part at no step", "repairs.reseal", "no step of it fits or uses up washer", "fault"),
    (STEPS, "stage: close}", "stage: close, parts: [injector]}", "part at no step", "repairs.reseal", "does not count that among its parts", "fault"),
    (WORK, "steps: [draw, fit, fit_new]", "steps: [draw, fit]", "unused", "steps.fit_new", "no repair and no dismantling", "note"),
    (FINDINGS, "danger: [beware]", "danger: []", "unused", "cautions.beware", "nothing would ever print it", "note"),
]  # fmt: skip


def test_the_small_knowledge_has_nothing_to_complain_of(small: Knowledge) -> None:
    """Apart from what only the customer tells."""
    report = check_knowledge(small)
    assert [str(one) for one in report.faults] == []
    assert [one.item for one in report.notes] == ["findings.shakes"]
    assert report.of_kind("no check yields it") == report.notes


@pytest.mark.parametrize("row", PROVOKED, ids=[f"{row[3]}:{row[4]}" for row in PROVOKED])
def test_each_complaint(row: tuple[str, ...], spoilt: Editor) -> None:
    """It loads, and is complained of by kind, item and sentence."""
    file, old, new, kind, item, sentence, weight = row
    found = check_knowledge(load_knowledge(spoilt(file, old, new))).of_kind(kind)
    assert any(one.item == item and sentence in one.sentence and one.weight == weight for one in found), found


def test_a_state_that_never_occurs(spoilt: Editor) -> None:
    """Only chances that are zero, and no life, shared cause or work that brings it."""
    report = check_knowledge(load_knowledge(spoilt(COMPONENTS, "torn: {value: 2 %,", "torn: {value: 0 %,")))
    assert [one.item for one in report.of_kind("state never occurs")] == ["components.mounts"]


def test_states_that_nothing_tells_apart(spoilt: Editor) -> None:
    """Two states with the same effects, however many severities lie between; a state without any."""
    alike = "seal: {weeping: {slight: 20 %, strong: 79 %}, blown"
    folder = spoilt(SEVERITIES, "seal: {weeping: {slight: 70 %, strong: 5 %}, blown", alike)
    path = folder / SEVERITIES
    path.write_text(path.read_text().replace(", seal: {blown: {some: 10 %}}", ""))
    found = check_knowledge(load_knowledge(folder)).of_kind("not told apart")
    assert [one.sentence for one in found] == ["no finding or reading tells 'seal weeping' from 'seal blown'"]


def test_a_state_that_shows_nowhere(spoilt: Editor) -> None:
    """It cannot be told from sound."""
    folder = spoilt(SEVERITIES, "injector: {worn: {some: 80 %}}, seal", "seal")
    found = check_knowledge(load_knowledge(folder)).of_kind("not told apart")
    assert [one.sentence for one in found] == ["no finding or reading tells 'injector sound' from 'injector worn'"]


def test_influence_is_what_one_works_out_by_hand(small: Knowledge) -> None:
    """A blown seal: P(chuff) = .01 * .03 + .20 * .45 + .79 * .88, and under load .01 * .03 + .20 * .60 + .79 * .95."""
    effects = influence_of(small, "seal", "blown")
    assert effects[0] == pytest.approx(0.01 * 0.03 + 0.20 * 0.45 + 0.79 * 0.88, abs=1e-12)
    assert effects[1] == pytest.approx(0.01 * 0.03 + 0.20 * 0.60 + 0.79 * 0.95, abs=1e-12)
    starving = 1 - 0.99 * 0.90  # background or seal
    uneven = 1 - (1 - 0.79 * 0.60) * (1 - starving * 0.70)
    felt = uneven * 0.90
    assert effects[2] == pytest.approx(felt * 0.95 + (1 - felt) * 0.02, abs=1e-12)


def test_numbers_of_a_real_engine_need_an_origin(spoilt: Editor) -> None:
    """A limit that is no default, of an engine that is not invented, says where it is from."""
    folder = spoilt(ENGINE, "invented: true", "invented: false")
    path = folder / ENGINE
    path.write_text(path.read_text().replace("default: true, note: a look", "default: false"))
    found = check_knowledge(load_knowledge(folder)).of_kind("no source")
    assert [one.item for one in found] == ["engines.toy_4"]


def test_a_source_that_went_missing_after_loading(small: Knowledge) -> None:
    """Knowledge that was put together by a program is checked as well."""
    found = check_knowledge(small.model_copy(update={"sources": {}})).of_kind("cite missing")
    assert [one.item for one in found] == ["components.injector"]


def test_sizes_counted_by_hand(small: Knowledge) -> None:
    """stress 2; blow_by 3 x starving 2; seal 3 x injector 2; rough 2 and shaking 2; shakes, mount_gap."""
    assert check_knowledge(small).sizes == (
        Sizes(
            engine="toy_4",
            cylinders=4,
            configurations=2,
            local_states=6,
            component_states=6,
            shared_severities=2,
            shared_levels=4,
            shared_symptoms=2,
        ),
    )


def test_every_figure_has_a_basis(small: Knowledge, shipped: Knowledge) -> None:
    """Its own or its entry's, whichever is nearer."""
    placed = {one.path: one for one in walk_figures(small)}
    torn = placed["components", "mounts", "chance", "torn"]
    assert torn.basis is not None and torn.basis.source == "learned"
    assert basis_of(torn.figure, small.components["mounts"]) == torn.basis
    part = placed["prices", "parts", "washer", "price"]
    assert part.basis == small.prices.basis == basis_of(part.figure, small.prices)
    assert basis_of(part.figure, small.prices.parts["washer"]) is None
    assert ("components", "seal", "settles_months") not in placed  # the program's, not the file's
    assert all(one.basis is not None for one in walk_figures(shipped))


def test_cautions_named_first_then_by_hazard_each_once(small: Knowledge) -> None:
    """In the order of cautions.yaml within each."""
    check = small.checks["listen"].model_copy(
        update={"cautions": ("beware",), "hazards": ("unplugs an injector", "opens fuel pressure", "engine running")}
    )
    texts = [caution.text for caution in cautions_for(small, check)]
    assert texts == ["Do not drive on.", "Keep away from moving parts.", "Fuel jets cut."]


def test_what_must_be_opened_first_brings_its_cautions(shipped: Knowledge) -> None:
    """Over the wells may stand a coolant vessel, whatever the check is; bare injectors were unplugged (common practice)."""
    reached = [one for one in (*shipped.checks.values(), *shipped.repairs.values()) if one.access != "none"]
    assert reached
    for doing in reached:
        kinds = [shipped.vocabulary.access[doing.access]]
        kinds += [shipped.vocabulary.access[name] for name in kinds[0].includes]
        steps = [shipped.steps[name] for kind in kinds for name in (*kind.open, *kind.close)]
        told = cautions_for(shipped, doing)
        assert {hazard for step in steps for hazard in step.hazards} <= {
            hazard for one in told for hazard in one.hazards
        }
        assert {name for step in steps for name in step.cautions} <= {
            name for name, one in shipped.cautions.items() if one in told
        }, doing.name
    for name, hazard in (("look_into_wells", "hot coolant"), ("pump_alone_test", "unplugs an injector")):
        assert hazard in {each for one in cautions_for(shipped, shipped.checks[name]) for each in one.hazards}


def test_every_shipped_hazard_prints_its_caution(shipped: Knowledge) -> None:
    """Each check and repair that ships, each hazard of it: at least one caution that speaks of this hazard."""
    doings: list[Check | Repair] = [*shipped.checks.values(), *shipped.repairs.values()]
    assert doings
    for doing in doings:
        spoken = {hazard for caution in cautions_for(shipped, doing) for hazard in caution.hazards}
        assert set(doing.hazards) <= spoken, doing.name


def test_codes_are_read_and_written_with_the_ignition_on(shipped: Knowledge) -> None:
    """A control unit that sleeps answers no tester (common practice, no source)."""
    doings: dict[str, Check | Repair] = {**shipped.checks, **shipped.repairs}
    for name in ("read_stored_codes", "compare_code", "write_code"):
        assert "ignition_on" in doings[name].needs, name
        assert "ignition_off" not in doings[name].needs, name


@pytest.mark.parametrize(
    "check", ["ask_about_starting", "cold_start_watch", "clear_hose", "bank_feed", "wires_of_injector", "road_test"]
)
def test_what_starts_or_runs_the_engine_says_so_although_it_need_not_run_before(shipped: Knowledge, check: str) -> None:
    """What is tried by starting is barred with the rest where the engine must not run (common practice, no source)."""
    assert "engine_running" not in shipped.checks[check].needs
    assert "engine running" in shipped.checks[check].hazards


def test_only_the_road_test_is_driven_and_no_gas_or_leak_is_driven_with(shipped: Knowledge) -> None:
    assert [name for name, check in shipped.checks.items() if "driving" in check.hazards] == ["road_test"]
    assert {"cabin_gas", "fuel_fire"} <= {name for name, each in shipped.cautions.items() if "driving" in each.forbids}


def test_a_dangerous_state_without_a_caution_is_complained_of(shipped: Knowledge) -> None:
    assert not check_knowledge(shipped).of_kind("hazard without caution")
    injector = shipped.components["injector"]
    mute = {name: state.model_copy(update={"danger": ()}) for name, state in injector.states.items()}
    components = {**shipped.components, "injector": injector.model_copy(update={"states": mute})}
    found = check_knowledge(shipped.model_copy(update={"components": components})).of_kind("hazard without caution")
    assert [each.item for each in found] == ["components.injector"]


def test_what_waits_for_the_pressure_to_go_names_that_hazard(shipped: Knowledge) -> None:
    check = next(one for one in shipped.checks.values() if "pressure_gone" in one.needs)
    bare = shipped.model_copy(update={"checks": {"bare": check.model_copy(update={"hazards": ()})}})
    found = check_knowledge(bare).of_kind("hazard not named")
    assert ("checks.bare", "by what it does, its hazards include 'opens fuel pressure'") in [
        (one.item, one.sentence) for one in found
    ]


def test_the_shipped_knowledge_has_no_faults(shipped: Knowledge) -> None:
    """What ships passes its own check."""
    assert [str(one) for one in check_knowledge(shipped).faults] == []


def test_door_is_sorted_and_true() -> None:
    """What the room's door lists is there, each name once, in order."""
    names = knowledge_base.__all__
    assert all(hasattr(knowledge_base, name) for name in names)
    assert names == sorted(set(names))


def test_a_severity_of_the_cylinder_may_stand_below_one_of_the_vehicle_that_it_causes(small: Knowledge) -> None:
    """The file allows it; the check had ended as a fault of diag."""
    turned = small.model_copy(update={"severities": dict(reversed(list(small.severities.items())[:-1]))})
    turned.severities.update(dict(list(small.severities.items())[-1:]))
    assert next(iter(turned.severities.values())).per == "vehicle"
    for name, component in small.components.items():
        for state in component.states:
            assert influence_of(turned, name, state) == influence_of(small, name, state)
