"""Statements of the trade about corrections that sum to zero, and about returns under one pressure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pytest

from tests.sense.asking import ALL, SOME, knowledge, told
from tests.sense.claims import above_everything, at_least, at_most, falls, keeps, likelier, rises
from tests.sense.statements import DESIGN, Statement, crossed

ONE_BAD = "injector 2 + compression 2 + seal 2 + wiring 2"  # one that gives nothing is corrected up as well


def balanced(engine: str, bad: Mapping[int, float], *, left_out: tuple[int, ...] = (), under: str = "") -> str:
    """Corrections of all cylinders: some in multiples of the limit, the others sharing what makes the sum zero."""
    known = knowledge().engines[engine]
    limit = known.limits["correction"].value
    assert limit is not None
    others = [cylinder for cylinder in known.cylinders if cylinder not in bad]
    rest = -sum(bad.values()) * limit / len(others)
    values = {cylinder: bad[cylinder] * limit if cylinder in bad else rest for cylinder in known.cylinders}
    inside = ", ".join(f"{c}: {value:.1f} mg/stroke" for c, value in values.items() if c not in left_out)
    return f"correction{under}: {{{inside}}}"


def saturated(engine: str, cylinder: int) -> str:
    """One cylinder at the controller's end, the others sharing as much."""
    limits = knowledge().engines[engine].limits
    end, limit = limits["correction_authority"].value, limits["correction"].value
    assert end is not None and limit is not None
    return balanced(engine, {cylinder: end / limit})


def of_engine(engine: str) -> Iterator[Statement]:
    """The statements whose numbers depend on how many cylinders share the rest."""
    yield Statement(
        "one very bad cylinder does not make the good ones look bad",
        (engine,),
        told(readings=balanced(engine, {2: 2.2})),
        (
            at_least(ONE_BAD, 0.6), at_most("injector 1", 0.02), at_most("injector 3", 0.02),
            at_most("compression 1", 0.02), at_most("compression 3", 0.02),
        ),
    )  # fmt: skip
    yield Statement(
        "all corrections near zero clear every cylinder of a rough idle",
        (engine,),
        told(findings="rough_idle: present", readings=balanced(engine, {1: 0.05})),
        (falls("injector every restricted", times=2), falls("compression every", times=2)),
        before=told(findings="rough_idle: present"),
    )
    yield Statement(
        "a correction at the controller's end on 3 blames 3",
        (engine,),
        told(readings=saturated(engine, 3)),
        (above_everything("injector 3 + compression 3 + seal 3 + wiring 3", times=2), at_most("injector 1", 0.03)),
    )
    yield Statement(
        "a cylinder that is not shown follows from the others",
        (engine,),
        told(readings=balanced(engine, {2: 2.2}, left_out=(2,))),
        (at_least(ONE_BAD, 0.5), at_most("injector 1", 0.03)),
    )
    yield Statement(
        "corrections of a cold engine say less than those of a warm one",
        (engine,),
        told(readings=balanced(engine, {2: 1.6}, under=" under cold")),
        (falls("injector 2 restricted", times=1.02),),
        before=told(readings=balanced(engine, {2: 1.6})),
    )
    yield Statement(
        "the same corrections read again after work elsewhere say nothing new",
        (engine,),
        told(
            readings=balanced(engine, {2: 1.4}),
            tried=f"{{did: replace_mounts, then: {{readings: {{{balanced(engine, {2: 1.4})}}}}}}}",
        ),
        (keeps("injector 2 restricted", within=0.05), keeps("compression 2", within=0.05)),
        before=told(readings=balanced(engine, {2: 1.4})),
        source=DESIGN,
    )


STATEMENTS = (
    *(statement for engine in ALL for statement in of_engine(engine)),
    Statement(
        "one return that stands out among usual ones is that injector",
        SOME,
        told(readings="return_flow: <2: 2 x limit return_flow, others: 0.45 x limit return_flow>"),
        (likelier("injector 2 excess_return", "injector 1 excess_return", times=20), at_least("injector 2", 0.5)),
    ),
    Statement(
        "the same return is worse among low ones than among high ones",
        SOME,
        told(readings="return_flow: <2: 0.95 x limit return_flow, others: 0.3 x limit return_flow>"),
        (rises("injector 2 excess_return", times=1.5),),
        before=told(readings="return_flow: <2: 0.95 x limit return_flow, others: 0.6 x limit return_flow>"),
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine."""
    assert not statement.complaints(engine)
