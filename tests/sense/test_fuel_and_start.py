"""Starting, rail pressure, cranking, glow, the fuel itself, and fuel where it should not be."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, SOME, told
from tests.sense.claims import above_everything, at_least, falls, keeps, likelier, rises
from tests.sense.statements import Statement, crossed

HARD = told(findings="hard_start: present")
GLOW = "hard_start: present, rough_cold: present, white_smoke: present, hard_start_hot: absent"
FEED = "supply + air_ingress + high_pressure_pump + pressure_control"
FLAT = "cranking_speed: 0.65 x limit cranking_speed, battery_voltage_cranking: 8.2 V"

STATEMENTS = (
    Statement(
        "low rail pressure while cranking acquits the glow plugs and accuses the pump",
        ALL,
        told(findings="hard_start: present", readings="rail_pressure_cranking: 0.6 x limit rail_pressure_start"),
        (falls("glow", times=2), rises("high_pressure_pump", times=1.3)),
        before=HARD,
    ),
    Statement(
        "good rail pressure while cranking acquits pump and supply and accuses the glow plugs",
        SOME,
        told(findings="hard_start: present", readings="rail_pressure_cranking: 1.5 x limit rail_pressure_start"),
        (falls("high_pressure_pump", times=2), falls("supply", times=2), rises("glow", times=1.5)),
        before=HARD,
    ),
    Statement(
        "hard to start, rough and smoking white when cold, and fine when hot: the glow system",
        SOME,
        told(findings=GLOW),
        (above_everything("glow", times=1.5, among="vehicle"),),
    ),
    Statement(
        "the same with the glow system proved good: think of compression",
        SOME,
        told(findings=f"{GLOW}, glow_plug_dead: absent", readings="glow_current: 99 per cent"),
        (falls("glow", times=3), rises("compression every", times=1.3)),
        before=told(findings=GLOW),
    ),
    Statement(
        "hard to start hot as well is not the glow system",
        SOME,
        told(findings="hard_start: present, hard_start_hot: present"),
        (falls("glow", times=2), rises(FEED, times=1.1)),
        before=HARD,
    ),
    Statement(
        "no start after standing, with bubbles in the feed: it draws air",
        SOME,
        told(findings="no_start: present, worse_after_standing: present, air_bubbles_in_feed: present"),
        (above_everything("air_ingress", times=3),),
    ),
    Statement(
        "no start with a starter that turns slowly at a low voltage: battery, cables, starter",
        SOME,
        told(findings="no_start: present", readings=FLAT),
        (above_everything("cranking", times=3), at_least("cranking", 0.9)),
    ),
    Statement(
        "slow cranking looks like a fuel fault, and explains the hard start by itself",
        ALL,
        told(findings="hard_start: present", readings=FLAT),
        (falls("high_pressure_pump", times=1.5), falls("injector every", times=1.3)),
        before=HARD,
    ),
    Statement(
        "a hard start with the code for low rail pressure is pressure not made or lost, and not glow",
        ALL,
        told(findings="hard_start: present", codes="P0087"),
        (
            falls("glow", times=1.5),
            at_least(f"{FEED} + some injector excess_return", 0.6),
        ),
        before=HARD,
        source="SAE J2012 for the number of the code; common practice for the rest, no source",
    ),
    Statement(
        "the code for low rail pressure says nothing of the mounts",
        SOME,
        told(findings="hard_start: present", codes="P0087"),
        (keeps("mounts", within=0.1),),
        before=HARD,
        source="SAE J2012 for the number of the code; common practice for the rest, no source",
    ),
    Statement(
        "a pump that builds full pressure alone is good, and the loss is behind it",
        SOME,
        told(findings="hard_start: present", readings="pump_alone: 1.3 x limit pump_alone"),
        (falls("high_pressure_pump", times=3), rises("some injector excess_return", times=1.02)),
        before=HARD,
    ),
    Statement(
        "a rail that loses its pressure quickly leaks inside",
        SOME,
        told(findings="hard_start: present", readings="rail_decay: 2 s"),
        (falls("glow", times=1.2), rises("some injector excess_return", times=1.05)),
        before=HARD,
    ),
    Statement(
        "a blocked filter and missing power: the supply",
        SOME,
        told(findings="no_power: present, filter_blocked: present"),
        (above_everything("supply", times=1.5), likelier("supply restricted", "supply weak_pump", times=3)),
    ),
    Statement(
        "a silent feed pump is the feed pump, not the filter",
        SOME,
        told(findings="no_start: present, feed_pump_silent: present"),
        (above_everything("supply", times=1.2), likelier("supply weak_pump", "supply restricted", times=3)),
    ),
    Statement(
        "a sensor that shows pressure at rest, with its code, is false, and no injector is to blame for the start",
        ALL,
        told(findings="sensor_false_at_rest: present, hard_start: present", codes="P0190"),
        (above_everything("rail_sensor", times=3), falls("injector every excess_return", times=2)),
        before=HARD,
        source="SAE J2012 for the number of the code; common practice for the rest, no source",
    ),
    Statement(
        "no start and no speed signal, with its code: the speed sensor",
        SOME,
        told(findings="no_start: present, speed_signal_missing: present", codes="P0335"),
        (above_everything("cam_crank_sensor", times=3), at_least("cam_crank_sensor", 0.9)),
        source="SAE J2012 for the number of the code; common practice for the rest, no source",
    ),
    Statement(
        "a bad fuel sample with misfire and knock is the fuel",
        SOME,
        told(findings="fuel_sample_bad: present, misfire_felt: present, knock: present"),
        (above_everything("fuel_quality", times=1.1),),
    ),
    Statement(
        "fuel lighter than the standard allows is suspect",
        SOME,
        told(readings="fuel_density: 802 kg/m3"),
        (rises("fuel_quality", times=5),),
        before=told(readings="fuel_density: 833 kg/m3"),
        source="EN 590: 820 to 845 kg/m3 at 15 °C",
    ),
    Statement(
        "wet at 2 with a wet union of the pressure pipe: the pressure pipe",
        ALL,
        told(findings="wet_joint: {2: present}, union_wet: {2: present}"),
        (above_everything("pressure_pipe 2", times=2),),
    ),
    Statement(
        "wet at 2 and its union wet again once dried: more likely than not it leaks there",
        ALL,
        told(findings="wet_joint: {2: present}, union_wet: {2: present}"),
        (at_least("pressure_pipe 2", 0.5),),
    ),
    Statement(
        "wet at 2 with a wet return joint and a dry union: the return pipe",
        ALL,
        told(findings="wet_joint: {2: present}, return_joint_wet: {2: present}, union_wet: {2: absent}"),
        (
            above_everything("return_pipe 2", times=2),
            likelier("return_pipe 2", "pressure_pipe 2", times=5),
            likelier("return_pipe 2", "seal 2", times=5),
        ),
    ),
    Statement(
        "wet is fuel and tarry is gas",
        SOME,
        told(findings="tar: {2: present}"),
        (rises("seal 2", times=3), falls("return_pipe 2 + pressure_pipe 2", times=3)),
        before=told(findings="wet_joint: {2: present}"),
    ),
    Statement(
        "diesel dripping under the engine, and one cylinder wet: that cylinder's joints",
        SOME,
        told(findings="fuel_drips: present, wet_joint: <2: present, others: absent>"),
        (above_everything("return_pipe 2 + pressure_pipe 2", times=1.5),),
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine; the row names its source."""
    assert not statement.complaints(engine)
