"""Circuits: codes, wires, what the ohmmeter says, and what the injectors of a bank share."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, INLINE, PIEZO, SOLENOID, SOME, V, told
from tests.sense.claims import above_everything, at_least, at_most, falls, keeps, likelier, rises
from tests.sense.statements import Statement, crossed

J2012 = "SAE J2012 for the number of the code; common practice for the rest, no source"

STATEMENTS = (
    Statement(
        "a rough idle with the circuit code of 2 is injector 2's coil or its wires",
        ALL,
        told(findings="rough_idle: present", codes="P0202"),
        (above_everything("injector 2 + wiring 2"), at_least("injector 2 electrical + wiring 2", 0.5)),
        source=J2012,
    ),
    Statement(
        "a wire found open explains the circuit code, and the injector is off the hook",
        ALL,
        told(codes="P0202", findings="wire_open: {2: present}"),
        (likelier("wiring 2", "injector 2", times=3), falls("injector 2 electrical", times=3)),
        before=told(codes="P0202"),
        source=J2012,
    ),
    Statement(
        "a circuit code that moves with the injector is the injector",
        SOME,
        told(codes="P0202", findings="misfire_follows_injector: {2: present}"),
        (likelier("injector 2", "wiring 2", times=3), rises("injector 2", times=1.3)),
        before=told(codes="P0202"),
        source=J2012,
    ),
    Statement(
        "a misfire that changes when the loom is moved is the wiring",
        SOME,
        told(findings="misfire_felt: present, weak_cutout: {2: present}, wiggle_changes: {2: present}"),
        (above_everything("wiring 2", times=2), likelier("wiring 2 intermittent", "wiring 2 open", times=2)),
    ),
    Statement(
        "a green connector and a circuit code: the wiring before the injector",
        SOME,
        told(codes="P0202", findings="connector_green: {2: present}"),
        (likelier("wiring 2", "injector 2", times=3), rises("wiring 2", times=1.2)),
        before=told(codes="P0202"),
        source=J2012,
    ),
    Statement(
        "no stored circuit code speaks against an electrical fault and says nothing of a seal",
        ALL,
        told(findings="rough_idle: present, circuit_code: <all: absent>"),
        (falls("injector 2 electrical", times=2), keeps("seal every", within=0.2)),
        before=told(findings="rough_idle: present"),
    ),
    Statement(
        "a cylinder that gives nothing keeps its wires suspect though no circuit code is stored",
        SOME,
        told(findings="weak_cutout: {2: present}, circuit_code: {2: absent}"),
        (rises("wiring 2", times=3),),
    ),
    Statement(
        "every injector of a bank coded at once points to what they share",
        ALL,
        told(findings="circuit_code: <bank A: present>"),
        (above_everything("bank_circuit A", times=3), at_most("injector 1", 0.1), at_most("wiring 1", 0.1)),
    ),
    Statement(
        "every injector coded at once points to what they share",
        INLINE,
        told(findings="misfire_felt: present, circuit_code: <all: present>"),
        (above_everything("bank_circuit A", times=3), at_most("some injector", 0.1)),
    ),
    Statement(
        "every injector of both banks coded at once points to what they share, not to the injectors",
        V,
        told(findings="misfire_felt: present, circuit_code: <all: present>"),
        (at_least("bank_circuit A", 0.5), at_least("bank_circuit B", 0.5), at_most("injector every", 0.1)),
    ),
    Statement(
        "one injector coded and the others not points to that cylinder, not to the bank",
        SOME,
        told(findings="circuit_code: <2: present, others: absent>"),
        (likelier("injector 2 + wiring 2", "bank_circuit A", times=20),),
    ),
    Statement(
        "a silent bank is its shared circuit and leaves the other bank alone",
        V,
        told(findings="bank_silent: {A: present}"),
        (above_everything("bank_circuit A", times=3), keeps("bank_circuit B", within=0.5)),
    ),
    Statement(
        "a silent bank without its drive signal is the drive stage",
        V,
        told(findings="bank_silent: {A: present}, drive_signal_missing: {A: present}"),
        (likelier("bank_circuit A drive_stage", "bank_circuit A loom", times=2),),
    ),
    Statement(
        "a silent bank without its common feed is the loom",
        V,
        told(findings="bank_silent: {A: present}, common_feed_missing: {A: present}"),
        (likelier("bank_circuit A loom", "bank_circuit A drive_stage", times=2),),
    ),
    Statement(
        "poor insulation and the circuit code of 2 blame a piezo injector before the wires",
        PIEZO,
        told(readings="insulation: {2: 0.3 Mohm}", codes="P0202"),
        (likelier("injector 2 electrical", "wiring 2", times=3),),
        source=J2012,
    ),
    Statement(
        "a solenoid without continuity is the injector",
        SOLENOID,
        told(readings="injector_resistance: {2: above 100 ohm}", codes="P0202"),
        (at_least("injector 2 electrical", 0.9), above_everything("injector 2", times=5)),
        source=J2012,
    ),
    Statement(
        "a solenoid of the right resistance with a circuit code: look at the wires",
        SOLENOID,
        told(readings="injector_resistance: {2: 1 x limit injector_resistance}", codes="P0202"),
        (likelier("wiring 2", "injector 2", times=2),),
        source=J2012,
    ),
    Statement(
        "a dead cylinder with a circuit code is not low compression",
        SOME,
        told(findings="weak_cutout: {2: present}", codes="P0202"),
        (falls("compression 2", times=5), likelier("injector 2 electrical + wiring 2", "compression 2", times=20)),
        before=told(findings="weak_cutout: {2: present}"),
        source=J2012,
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine; the row names its source."""
    assert not statement.complaints(engine)
