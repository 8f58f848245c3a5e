"""Injectors: swapped, cut out, corrected, measured by what they return, and found out by what they leave behind."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, SOME, told
from tests.sense.claims import above_everything, at_least, at_most, falls, likelier, rises
from tests.sense.statements import MEMORY, PRACTICE, Statement, crossed

SMOOTH_RUNNING = "a published text on smooth-running control, whose title is not known to us"
LIMPING = "rough_idle: present, misfire_felt: present, weak_cutout: {2: present}"

STATEMENTS = (
    Statement(
        "a misfire that moves with the swapped injector blames the injector",
        ALL,
        told(findings="misfire_felt: present, weak_cutout: {2: present}, misfire_follows_injector: {2: present}"),
        (above_everything("injector 2", times=2), at_least("injector 2", 0.5)),
    ),
    Statement(
        "a misfire that stays when the injectors are swapped blames the wires or the cylinder",
        ALL,
        told(findings="misfire_felt: present, weak_cutout: {2: present}, misfire_follows_injector: {2: absent}"),
        (likelier("wiring 2 + compression 2", "injector 2", times=1.5), falls("injector 2", times=3)),
        before=told(findings="misfire_felt: present, weak_cutout: {2: present}"),
    ),
    Statement(
        "a cylinder corrected far up may be a poor injector, poor compression or a poor seal",
        ALL,
        told(readings="correction: {2: 5.5 mg/stroke}"),
        (
            rises("injector 2 restricted", times=10),
            rises("compression 2", times=10),
            rises("seal 2", times=3),
            likelier("injector 2 restricted", "injector 2 dribbling", times=3),
        ),
        source=SMOOTH_RUNNING,
    ),
    Statement(
        "corrected far up with good compression: the injector",
        SOME,
        told(readings="correction: {2: 5.5 mg/stroke}, relative_compression: {2: 2 per cent}"),
        (likelier("injector 2 restricted", "compression 2", times=3), rises("injector 2 restricted", times=1.1)),
        before=told(readings="correction: {2: 5.5 mg/stroke}"),
    ),
    Statement(
        "corrected far up with poor compression: the cylinder",
        SOME,
        told(readings="correction: {2: 5.5 mg/stroke}, relative_compression: {2: 28 per cent}"),
        (above_everything("compression 2", times=1.5, among="2"), falls("injector 2 restricted", times=3)),
        before=told(readings="correction: {2: 5.5 mg/stroke}"),
    ),
    Statement(
        "a cylinder corrected far down dribbles rather than starves",
        SOME,
        told(readings="correction: {2: -5 mg/stroke}"),
        (likelier("injector 2 dribbling", "injector 2 restricted", times=5), rises("injector 2 dribbling", times=10)),
    ),
    Statement(
        "corrected far down, with thin oil and black smoke: it dribbles",
        SOME,
        told(readings="correction: {2: -5 mg/stroke}", findings="oil_smells_of_fuel: present, black_smoke: present"),
        (rises("injector 2 dribbling", times=1.1), above_everything("injector 2", times=2)),
        before=told(readings="correction: {2: -5 mg/stroke}"),
    ),
    Statement(
        "one high return behind a hard start is that injector",
        ALL,
        told(
            findings="hard_start: present",
            readings="return_flow: <2: 2 x limit return_flow, others: 0.4 x limit return_flow>",
        ),
        (above_everything("injector 2", times=3), at_least("injector 2 excess_return", 0.8)),
    ),
    Statement(
        "all returns high points away from a single injector",
        ALL,
        told(findings="hard_start: present", readings="return_flow: <all: 2 x limit return_flow>"),
        (at_most("just one injector", 0.05), at_least("injector every", 0.5), rises("fuel_debris", times=5)),
        before=told(findings="hard_start: present"),
    ),
    Statement(
        "all returns low behind a hard start acquit the injectors and blame the supply of pressure",
        ALL,
        told(findings="hard_start: present", readings="return_flow: <all: 0.4 x limit return_flow>"),
        (
            falls("injector every excess_return", times=3),
            rises("supply + air_ingress + high_pressure_pump + pressure_control", times=1.1),
        ),
        before=told(findings="hard_start: present"),
    ),
    Statement(
        "a knock with white smoke and rising oil is an injector that does not shut",
        ALL,
        told(findings="knock: present, white_smoke: present, oil_level_rising: present"),
        (at_least("some injector dribbling stuck_open", 0.5),),
    ),
    Statement(
        "rising oil alone proves no injector: cleaning the particle filter raises it too",
        SOME,
        told(findings="oil_level_rising: present"),
        (at_most("some injector dribbling stuck_open", 0.5), rises("some injector dribbling stuck_open", times=1.5)),
        source=MEMORY,
    ),
    Statement(
        "little fuel in the oil speaks against an injector that does not shut",
        SOME,
        told(readings="oil_dilution: 0.4 per cent"),
        (falls("some injector dribbling stuck_open", times=1.2),),
        source="oil laboratories' fleet mean of 0.36 per cent (no document named), from memory",
    ),
    Statement(
        "five per cent of fuel in the oil speaks for an injector that does not shut",
        SOME,
        told(readings="oil_dilution: 5 per cent"),
        (rises("some injector dribbling stuck_open", times=3),),
        source="oil laboratories' limit of 4 to 7 per cent (no document named), from memory",
    ),
    Statement(
        "a misfiring cylinder whose injector passes on the bench: its wires, its compression",
        SOME,
        told(findings=f"{LIMPING}, bench_fails: {{2: absent}}"),
        (falls("injector 2", times=5), rises("wiring 2 + compression 2", times=1.3)),
        before=told(findings=LIMPING),
    ),
    Statement(
        "a wet nozzle and a knock are a dribbler or one stuck open, not a starved one",
        SOME,
        told(findings="knock: present, nozzle_wet: {2: present}"),
        (
            above_everything("injector 2", times=2),
            likelier("injector 2 dribbling stuck_open", "injector 2 restricted excess_return electrical", times=5),
        ),
    ),
    Statement(
        "metal in the filter behind a hard start means debris that harms every injector",
        SOME,
        told(findings="metal_in_fuel: present, hard_start: present"),
        (above_everything("fuel_debris", times=1.2), rises("injector every", times=1.5)),
        before=told(findings="hard_start: present"),
        source=PRACTICE,
    ),
    Statement(
        "every injector corrected to zero and a rough idle: not the injectors",
        SOME,
        told(findings="rough_idle: present", readings="correction: <all: 0 mg/stroke>"),
        (falls("injector every", times=1.5),),
        before=told(findings="rough_idle: present"),
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine; the row names its source."""
    assert not statement.complaints(engine)
