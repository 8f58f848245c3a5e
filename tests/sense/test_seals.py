"""Seals and clamps: chuffing, carbon, bubbles, dry wells, and what one bad seal says about the others."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, SOME, told
from tests.sense.claims import above_everything, at_least, at_most, falls, keeps, likelier, rises
from tests.sense.statements import DESIGN, Statement, crossed

STATEMENTS = (
    Statement(
        "carbon and chuffing on 2 raise seal 2 above everything",
        ALL,
        told(findings="chuff: {2: present}, tar: {2: present}"),
        (above_everything("seal 2", times=2), at_least("seal 2", 0.5)),
    ),
    Statement(
        "bubbles in leak fluid at 1 mean its seal or its clamp",
        ALL,
        told(findings="bubbles: {1: present}"),
        (above_everything("seal 1 + clamp 1"), rises("seal 1", times=10)),
    ),
    Statement(
        "fumes with dry wells and no bubbles come from a joint of the air path",
        ALL,
        told(findings="fumes: present, tar: <all: absent>, bubbles: <all: absent>"),
        (falls("seal every", times=2), rises("air_path leaking"), likelier("air_path leaking", "seal 1", times=2)),
        before=told(findings="fumes: present"),
    ),
    Statement(
        "no exhaust smell and dry wells lower every seal",
        ALL,
        told(findings="fumes: absent, chuff: <all: absent>, well_dry_and_clean: <all: present>"),
        (falls("seal every", times=2),),
    ),
    Statement(
        "dry wells alone lower every seal",
        SOME,
        told(findings="well_dry_and_clean: <all: present>"),
        (falls("seal every", times=1.5),),
    ),
    Statement(
        "chuffing that is there under load as well makes the seal likelier",
        ALL,
        told(findings="chuff: {2: present}, chuff under load: {2: present}"),
        (rises("seal 2", times=1.2),),
        before=told(findings="chuff: {2: present}"),
    ),
    Statement(
        "no chuffing under load says more for the seal than none at idle",
        ALL,
        told(findings="chuff under load: {2: absent}"),
        (falls("seal 2", times=1.2),),
        before=told(findings="chuff under idle: {2: absent}"),
    ),
    Statement(
        "even no chuffing at idle says a little for the seal",
        SOME,
        told(findings="chuff under idle: {2: absent}"),
        (falls("seal 2", times=1.2),),
    ),
    Statement(
        "one blown seal makes the others likelier, and far from likely",
        ALL,
        told(findings="chuff: {2: present}, tar: {2: present}, bubbles: {2: present}"),
        (rises("seal 1", times=1.2), rises("seal 3", times=1.2), at_most("seal 1", 0.2)),
    ),
    Statement(
        "one blown seal speaks for harsh stress on all of them",
        ALL,
        told(findings="chuff: {2: present}, tar: {2: present}, bubbles: {2: present}"),
        (rises("seal_stress", times=1.5),),
    ),
    Statement(
        "a washer seen burnt settles it",
        SOME,
        told(findings="chuff: {2: present}, washer_burnt: {2: present}"),
        (above_everything("seal 2", times=5), at_least("seal 2", 0.8)),
    ),
    Statement(
        "chuffing, yet the washer is whole and the bolt turns too easily: the clamp",
        SOME,
        told(
            findings="chuff: {2: present}, bubbles: {2: present}, washer_burnt: {2: absent}, bolt_turns: {2: present}"
        ),
        (above_everything("clamp 2", times=1.5),),
    ),
    Statement(
        "chuffing heard somewhere blames no single seal more than another",
        ALL,
        told(findings="chuff_somewhere: present, fumes: present"),
        (
            rises("seal every", times=5),
            likelier("seal 1", "seal 2", times=0.9),
            likelier("seal 2", "seal 1", times=0.9),
        ),
    ),
    Statement(
        "chuffing heard somewhere and carbon on 2 point to seal 2",
        ALL,
        told(findings="chuff_somewhere: present, tar: {2: present}"),
        (above_everything("seal 2", times=1.5), likelier("seal 2", "seal 1", times=5)),
    ),
    Statement(
        "a seal found bad explains the smell, so the air path is off the hook",
        SOME,
        told(findings="fumes: present, chuff: {2: present}, tar: {2: present}"),
        (falls("air_path leaking", times=2),),
        before=told(findings="fumes: present"),
    ),
    Statement(
        "tar as well as bubbles is one leak seen twice and proves less than two leaks would",
        SOME,
        told(findings="bubbles: {2: present}, gas_at_well: {2: present}, chuff: {2: present}, tar: {2: present}"),
        (at_most("seal 2", 0.99), rises("seal 2", times=1.01)),
        before=told(findings="bubbles: {2: present}, gas_at_well: {2: present}"),
        source=DESIGN,
    ),
    Statement(
        "no carbon monoxide in the cabin does not acquit the seals",
        ALL,
        told(findings="fumes: present", readings="cabin_co: 0 ppm"),
        (keeps("some seal", within=0.5),),
        before=told(findings="fumes: present"),
    ),
    Statement(
        "seals of an old engine are no less suspect than those of a young one",
        SOME,
        told(findings="chuff: {1: present}, tar: {1: present}", distance="300000 km"),
        (rises("seal 1", times=1.1), rises("seal 2", times=1.5)),
        before=told(findings="chuff: {1: present}, tar: {1: present}", distance="90000 km"),
    ),
    Statement(
        "leaking gas is no fuel: a tarry well says nothing against the pipes",
        SOME,
        told(findings="tar: {2: present}, wet_joint: {2: absent}"),
        (likelier("seal 2", "return_pipe 2 + pressure_pipe 2", times=5),),
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine; the row names its source."""
    assert not statement.complaints(engine)
