"""Air, exhaust recirculation, mounts, compression, and what is on nobody's list."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, SOME, told
from tests.sense.claims import above_everything, at_least, at_most, falls, keeps, likelier, rises
from tests.sense.statements import DESIGN, Statement, crossed

ROUGH = told(findings="rough_idle: present")
SMOKING = "black_smoke: present, no_power: present, misfire_felt: absent"
ALL_LOOKED_AT = (
    "rough_idle: present, well_dry_and_clean: <all: present>, circuit_code: <all: absent>, mounts_torn: absent, "
    "glow_plug_dead: absent, egr_stuck: absent, intake_blocked: absent, air_joint_sooty: absent"
)
ALL_MEASURED = (
    "correction: <all: 0 mg/stroke>, relative_compression: <all: 2 per cent>, "
    "rail_pressure_cranking: 1.5 x limit rail_pressure_start"
)

STATEMENTS = (
    Statement(
        "a shake with an even beat, even corrections and a torn mount is not the engine",
        ALL,
        told(
            findings="vibration_without_misfire: present, misfire_felt: absent, mounts_torn: present",
            readings="correction: <all: 0 mg/stroke>",
        ),
        (above_everything("mounts", times=3), at_least("mounts", 0.5)),
    ),
    Statement(
        "a shake at idle with normal corrections is not fuel: mounts rise, injectors fall",
        ALL,
        told(findings="rough_idle: present", readings="correction: <all: 0.1 x limit correction>"),
        (rises("mounts", times=1.3), falls("injector every", times=1.5)),
        before=ROUGH,
    ),
    Statement(
        "a shake that is gone above idle speaks for the mounts",
        SOME,
        told(findings="rough_idle: present, steady_when_accelerated: present"),
        (rises("mounts", times=1.5),),
        before=ROUGH,
    ),
    Statement(
        "a limping beat speaks for a cylinder and against the mounts",
        SOME,
        told(findings="rough_idle: present, misfire_felt: present"),
        (falls("mounts", times=2), rises("some injector", times=1.03)),
        before=ROUGH,
    ),
    Statement(
        "black smoke and missing power with an even beat: air",
        ALL,
        told(findings=SMOKING),
        (above_everything("air_path", times=2),),
    ),
    Statement(
        "the same with a recirculation valve that stays open, and its code: that valve",
        ALL,
        told(findings=f"{SMOKING}, egr_stuck: present", codes="P0402"),
        (at_least("air_path egr_stuck_open", 0.9), above_everything("air_path", times=5)),
        source="SAE J2012 for the number of the code; common practice for the rest, no source",
    ),
    Statement(
        "the same with a blocked intake: restricted, not leaking",
        SOME,
        told(findings=f"{SMOKING}, intake_blocked: present"),
        (likelier("air_path restricted", "air_path leaking + air_path egr_stuck_open", times=1.5),),
    ),
    Statement(
        "soot at a joint of the exhaust explains the smell and clears the seals",
        SOME,
        told(findings="fumes: present, air_joint_sooty: present"),
        (above_everything("air_path", times=2), falls("seal every", times=1.5)),
        before=told(findings="fumes: present"),
    ),
    Statement(
        "air heard in the crankcase in the leak-down test is the cylinder, not the injector",
        SOME,
        told(
            findings="weak_cutout: {2: present}, air_into_crankcase: {2: present}",
            readings="relative_compression: {2: 28 per cent}",
        ),
        (above_everything("compression 2", times=5), falls("injector 2", times=3)),
        before=told(findings="weak_cutout: {2: present}"),
    ),
    Statement(
        "air heard at the injector in the leak-down test is the seal",
        SOME,
        told(
            findings="air_at_well: {2: present}, air_into_crankcase: {2: absent}",
            readings="relative_compression: {2: 28 per cent}",
        ),
        (above_everything("seal 2", times=1.5), likelier("seal 2", "compression 2", times=1.5)),
    ),
    Statement(
        "with a complaint something is wrong, without one most likely nothing is",
        ALL,
        ROUGH,
        (at_least("any fault", 0.8), rises("any fault", times=2.5)),
        source=DESIGN,
    ),
    Statement(
        "a rough idle leaves room for what is on nobody's list",
        ALL,
        ROUGH,
        (at_least("unlisted", 0.03), at_most("unlisted", 0.15)),
        source=DESIGN,
    ),
    Statement(
        "everything looked at and good, and still a rough idle: what is not listed grows",
        SOME,
        told(findings=ALL_LOOKED_AT, readings=ALL_MEASURED),
        (rises("unlisted", times=1.3),),
        before=ROUGH,
        source=DESIGN,
    ),
    Statement(
        "a shake told in two ways is one shake",
        SOME,
        told(findings="rough_idle: present, vibration_without_misfire: present"),
        (keeps("mounts", within=0.3), keeps("some injector", within=0.3)),
        before=ROUGH,
        source=DESIGN,
    ),
    Statement(
        "an engine about which nothing was told is most likely sound in any one thing",
        SOME,
        told(),
        (at_most("seal every", 0.05), at_most("injector every", 0.05), at_most("glow + mounts", 0.1)),
        source=DESIGN,
    ),
    Statement(
        "no complaint of power and no black smoke speak for the air path",
        SOME,
        told(findings="rough_idle: present, no_power: absent, black_smoke: absent"),
        (falls("air_path", times=2),),
        before=ROUGH,
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine; the row names its source."""
    assert not statement.complaints(engine)
