"""What to do: one seal or all, the code before the parts, a check before a repair, and what danger bars."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, INLINE, NOTHING, PIEZO, SOME, V, told
from tests.sense.deciding import (
    Decision,
    barred,
    best_contains,
    best_is,
    best_stays_within,
    buys_no_part,
    cautions,
    check_first,
    checks_before,
    crossed_decisions,
    dearer,
    follows_every,
    jobs_of,
    most_of_its_parts,
    next_check_buys_no_part,
    no_check_with,
    not_barred,
    repair_now,
    repair_of,
)
from tests.sense.statements import DESIGN, PRACTICE

BLOWN_2 = "chuff: {2: present}, tar: {2: present}, bubbles: {2: present}"
FITTED_LATELY = "{did: reseal, cylinder: 2, ago: 1 months}"
NEW_5 = "{did: replace_injector, cylinder: 5, ago: 1 months}"
FEW = ("ostrel_3", "karrick_v6")  # where all engines agree and deciding takes long
NEW_INJECTOR_2 = ("replace_injector 2", "write_code 2")

DECISIONS = (
    Decision(
        "a new uncoded injector on 5 with rough idle since asks for the code before anything costs money",
        PIEZO,
        told(history=NEW_5, findings="rough_idle: present"),
        (
            best_is("write_code 5"),
            buys_no_part(),
            next_check_buys_no_part(),
            checks_before(("compare_code",), ("swap_injectors", "injector_out_look", "bench")),
            dearer(("replace_injector 5", "write_code 5"), ("write_code 5",), times=1.1),
        ),
    ),
    Decision(
        "a code that differs and was never stored is written, and no part is bought",
        SOME,
        told(findings="rough_idle: present, code_mismatch: {2: present}, code_not_stored: {2: present}"),
        (best_is("write_code 2"), buys_no_part(), dearer((), ("write_code 2",), times=1.1)),
    ),
    Decision(
        "one blown seal at a middling distance: only that one, and no new injector",
        ALL,
        told(findings=BLOWN_2),
        (
            best_is("reseal 2"),
            dearer(("reseal every",), ("reseal 2",), times=1.1),
            dearer(NEW_INJECTOR_2, ("reseal 2",), times=1.2),
        ),
    ),
    Decision(
        "a young engine that was resealed on 2 a month ago: a fitting error, only that one",
        ALL,
        told(findings=BLOWN_2, history=FITTED_LATELY, distance="60000 km", age="3 years"),
        (best_is("reseal 2"), dearer(("reseal every",), ("reseal 2",), times=1.3)),
    ),
    Decision(
        "an old inline engine, where all share the access: all seals",
        INLINE,
        told(findings=BLOWN_2, distance="350000 km", age="19 years"),
        (best_is("reseal every"), dearer(("reseal 2",), ("reseal every",), times=1.03)),
    ),
    Decision(
        "an old V engine: the seals of the bank that is open, and not those of the other",
        V,
        told(findings=BLOWN_2, distance="300000 km", age="16 years"),
        (
            best_contains("reseal 2"),
            best_stays_within("reseal bank A", more_than=1),
            dearer(("reseal every",), ("reseal bank A",), times=1.03),
        ),
    ),
    Decision(
        "every seal that is renewed gets its washer, O-ring and clamp bolt, none of them used twice",
        SOME,
        told(findings=BLOWN_2),
        (most_of_its_parts("reseal", "washer", "o_ring", "clamp_bolt"),),
    ),
    Decision(
        "one high return behind a hard start: that injector and its code, not all of them",
        SOME,
        told(
            findings="hard_start: present",
            readings="return_flow: <2: 2 x limit return_flow, others: 0.4 x limit return_flow>",
        ),
        (best_is(*NEW_INJECTOR_2), dearer(("replace_injector every", "write_code every"), NEW_INJECTOR_2, times=1.5)),
    ),
    Decision(
        "a new injector is followed by its code, whatever the plan",
        SOME,
        told(
            findings="hard_start: present",
            readings="return_flow: <2: 2 x limit return_flow, others: 0.4 x limit return_flow>",
        ),
        (
            follows_every("replace_injector", "write_code"),
            most_of_its_parts("replace_injector", "injector", "washer", "o_ring", "clamp_bolt"),
        ),
    ),
    Decision(
        "a wire found open is mended, and no injector is bought for it",
        FEW,
        told(codes="P0202", findings="rough_idle: present, wire_open: {2: present}"),
        (best_is("mend_wiring 2"), dearer(NEW_INJECTOR_2, ("mend_wiring 2",), times=1.5)),
    ),
    Decision(
        "a silent bank has its shared circuit mended, not its injectors changed",
        V,
        told(findings="bank_silent: {A: present}, misfire_felt: present"),
        (best_is("mend_bank_circuit A"),),
    ),
    Decision(
        "a torn mount and an even beat: the mounts, and nothing on the cylinders",
        FEW,
        told(
            findings="vibration_without_misfire: present, misfire_felt: absent, mounts_torn: present",
            readings="correction: <all: 0 mg/stroke>",
        ),
        (best_is("replace_mounts"),),
    ),
    Decision(
        "a no-start with bubbles in the feed: cure the air, open nothing else",
        FEW,
        told(findings="no_start: present, worse_after_standing: present, air_bubbles_in_feed: present"),
        (best_is("cure_air_ingress"),),
    ),
    Decision(
        "a starter that turns slowly is mended before the fuel system is touched",
        FEW,
        told(
            findings="no_start: present",
            readings="cranking_speed: 0.65 x limit cranking_speed, battery_voltage_cranking: 8.2 V",
        ),
        (best_is("mend_cranking"),),
    ),
    Decision(
        "nothing complained of: nothing is done, and nothing more is checked",
        ("ostrel_3", "ostrel_4"),
        NOTHING,
        (best_is(), repair_now()),
        source=DESIGN,
    ),
    Decision(
        "a hard start and nothing else known: check first, and buy nothing on suspicion",
        ("ostrel_3", "ostrel_4"),
        told(findings="hard_start: present"),
        (check_first(), buys_no_part(), next_check_buys_no_part()),
    ),
    Decision(
        "a smell of exhaust and nothing else known: look and listen at the wells before anything is taken off",
        ("ostrel_4", "karrick_v6"),
        told(findings="fumes: present"),
        (check_first("look_into_wells", "listen_cold_and_loaded", "gas_tester_at_wells"), buys_no_part()),
    ),
    Decision(
        "exhaust in the cabin: not to be left as it is, whatever the money",
        SOME,
        told(findings="cabin_smell: present"),
        (barred(), cautions("cabin_gas"), no_check_with("driving")),
        source="OSHA and NIOSH limits for carbon monoxide, for the danger; common practice for the rest",
    ),
    Decision(
        "exhaust in the cabin and seal 2 found blowing: it is resealed",
        SOME,
        told(findings=f"cabin_smell: present, {BLOWN_2}"),
        (barred(), best_contains("reseal 2"), not_barred(("reseal 2",))),
        source="OSHA and NIOSH limits for carbon monoxide, for the danger; common practice for the rest",
    ),
    Decision(
        "exhaust in the cabin, told as 'clearly' and not as 'present': barred all the same",
        SOME,
        told(findings="no_power: present, cabin_smell: clearly"),
        (barred(), cautions("cabin_gas")),
        source="OSHA and NIOSH limits for carbon monoxide, for the danger; common practice for the rest",
    ),
    Decision(
        "carbon monoxide measured in the cabin, and no smell told of: barred all the same",
        SOME,
        told(findings="no_power: present", readings="cabin_co: 80 ppm"),
        (barred(), cautions("cabin_gas"), check_first("look_into_wells", "listen_cold_and_loaded", "idle_correction")),
        source="OSHA and NIOSH limits for carbon monoxide, for the danger; common practice for the rest",
    ),
    Decision(
        "a knock with white smoke and rising oil: it may run away, so it is not to be left and not to be driven",
        SOME,
        told(findings="knock: present, white_smoke: present, oil_level_rising: present"),
        (barred(), cautions("runaway"), no_check_with("engine running", "moving parts")),
    ),
    Decision(
        "no knock told of, but the numbers say that an injector may stand open: it is not run to see whether it knocks",
        SOME,
        told(
            findings="white_smoke: present, oil_smells_of_fuel: present, nozzle_wet: {2: present}",
            readings="correction: {2: below -4 mg/stroke}",
        ),
        (barred(), cautions("runaway"), no_check_with("engine running", "moving parts")),
    ),
    Decision(
        "an injector that stands open is changed, and no other work will do",
        ALL,
        told(
            findings="knock: present, white_smoke: present, oil_level_rising: present, nozzle_wet: {2: present}",
            readings="correction: {2: -7 mg/stroke}",
        ),
        (barred(), best_is(*NEW_INJECTOR_2), barred(("write_code 2",)), barred(("reseal every",))),
    ),
    Decision(
        "a fuel leak at the pressure pipe is not to be left, and a jet of fuel is warned of",
        SOME,
        told(findings="wet_joint: {2: present}, union_wet: {2: present}"),
        (barred(), cautions("fuel_jet", "fuel_fire"), no_check_with("engine running")),
        source="HSE FOD 4-2014 for the caution; common practice for the rest, no source",
    ),
    Decision(
        "a fuel leak at the pressure pipe is not answered by work elsewhere",
        SOME,
        told(findings="wet_joint: {2: present}, union_wet: {2: present}"),
        (barred(("write_code 1",)), barred(("reseal 2",)), not_barred(("replace_pressure_pipe 2",))),
        source=PRACTICE,
    ),
    Decision(
        "fuel dripping under the engine is not to be left",
        SOME,
        told(findings="fuel_drips: present"),
        (barred(), cautions("fuel_fire"), no_check_with("driving")),
    ),
)


@pytest.mark.parametrize(("decision", "engine"), crossed_decisions(DECISIONS))
def test_the_trade_does(decision: Decision, engine: str) -> None:
    """Each judgement holds of what the reasoner would do on this engine; the row names its source."""
    assert not decision.complaints(engine)


@pytest.mark.parametrize("engine", ALL)
def test_all_seals_gain_on_one_as_the_engine_ages(engine: str) -> None:
    """The sum by which all seals is dearer than only the blown one shrinks with the distance; common practice."""
    young, old = (
        {frozenset(option.jobs): option.total.amount for option in repair_of(engine, _worn(distance)).options}
        for distance in ("90000 km", "300000 km")
    )
    one = jobs_of(engine, ("reseal 2",))
    every = jobs_of(engine, ("reseal every",))
    assert old[every] - old[one] < young[every] - young[one] - 50


def _worn(distance: str) -> str:
    return told(findings=BLOWN_2, distance=distance)
