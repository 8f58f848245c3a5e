"""The tables themselves: enough statements, each for several engines, none twice, each with its source."""

from __future__ import annotations

from tests.sense import (
    test_air_and_mounts,
    test_codes_and_trim,
    test_decisions,
    test_electrical,
    test_fuel_and_start,
    test_injectors,
    test_repairs_tried,
    test_seals,
)
from tests.sense.asking import ALL, INLINE, PIEZO, SOLENOID, V, knowledge

ROWS = [
    row
    for module in (
        test_air_and_mounts,
        test_codes_and_trim,
        test_electrical,
        test_fuel_and_start,
        test_injectors,
        test_repairs_tried,
        test_seals,
    )
    for row in module.STATEMENTS
]


def test_there_are_enough_of_them() -> None:
    """At least sixty sentences, each said of at least two engines and claiming something."""
    assert len(ROWS) >= 60
    assert all(len(row.engines) >= 2 and row.claims for row in ROWS)
    assert all(len(row.engines) >= 2 and row.judgements for row in test_decisions.DECISIONS)


def test_none_is_said_twice_and_each_has_its_source() -> None:
    """A sentence is the name of its test; its source stands in its row, or the word that it has none."""
    sentences = [(row.says, row.source) for row in (*ROWS, *test_decisions.DECISIONS)]
    assert len({says for says, _ in sentences}) == len(sentences)
    assert all(source for _, source in sentences)


def test_the_groups_of_engines_are_what_they_say() -> None:
    """Inline and V, solenoid and piezo, as the engine files have it."""
    engines = knowledge().engines
    assert set(ALL) == set(engines) == {*INLINE, *V} == {*SOLENOID, *PIEZO}
    assert {engines[each].layout for each in INLINE} == {"inline"}
    assert {engines[each].layout for each in V} == {"V"}
    assert {engines[each].injector for each in SOLENOID} == {"solenoid"}
    assert {engines[each].injector for each in PIEZO} == {"piezo"}


def test_the_cylinders_named_fire_out_of_turn() -> None:
    """What the statements about the order of counting rest on."""
    engines = knowledge().engines
    assert all(engine.firing_order[0] == 1 for engine in engines.values())
    orders = [engines[each].firing_order for each in test_codes_and_trim.BOTH_OUT_OF_TURN]
    assert all(order[1] != 2 and order[2] != 3 for order in orders), orders
