"""The trim code of an injector: never written, written for another cylinder, or counted in the order of firing."""

from __future__ import annotations

import pytest

from tests.sense.asking import ALL, PIEZO, SOME, told
from tests.sense.claims import above_everything, at_least, at_most, falls, likelier, rises
from tests.sense.statements import MEMORY, Statement, crossed

NEW = "{{did: replace_injector, cylinder: {0}, ago: {1} months}}"
CODED = NEW + ", {{did: write_code, cylinder: {0}, ago: {1} months}}"
NEW_2 = NEW.format(2, 1)
CODED_1, CODED_2, CODED_3 = (CODED.format(cylinder, 1) for cylinder in (1, 2, 3))
BOTH_OUT_OF_TURN = ("ostrel_3", "ostrel_4", "karrick_v6", "karrick_v8")  # 2 and 3 stand elsewhere in the firing order

STATEMENTS = (
    Statement(
        "rough idle since injector 2 was changed: its code before anything",
        ALL,
        told(history=NEW_2, findings="rough_idle: present"),
        (above_everything("trim_code 2", times=1.5), rises("trim_code 2", times=10)),
        before=told(findings="rough_idle: present"),
        source="common practice, no source; judged as ten to twenty times likelier than without the change",
    ),
    Statement(
        "rough idle since injector 5 was changed: the code of 5",
        PIEZO,
        told(history=NEW.format(5, 1), findings="rough_idle: present"),
        (above_everything("trim_code 5", times=1.5), likelier("trim_code 5", "injector 5", times=1.5)),
    ),
    Statement(
        "rough idle since the change, though the codes agree: the fitting or the new injector itself",
        ALL,
        told(history=NEW_2, findings="rough_idle: present, code_mismatch: {2: absent}"),
        (likelier("injector 2 + clamp 2 + seal 2", "trim_code 2", times=1.5), falls("trim_code 2", times=5)),
        before=told(history=NEW_2, findings="rough_idle: present"),
    ),
    Statement(
        "a code that differs where none is stored was never written",
        SOME,
        told(findings="code_mismatch: {2: present}, code_not_stored: {2: present}"),
        (at_least("trim_code 2 not_written", 0.5), likelier("trim_code 2 not_written", "trim_code 2 wrong_cylinder")),
    ),
    Statement(
        "a code that differs and belongs to another injector sits on the wrong cylinder",
        SOME,
        told(findings="code_mismatch: {2: present}, code_belongs_elsewhere: {2: present}"),
        (
            at_least("trim_code 2 wrong_cylinder", 0.5),
            likelier("trim_code 2 wrong_cylinder", "trim_code 2 not_written"),
        ),
    ),
    Statement(
        "a code just written that differs, where 2 does not fire second, hints at counting by firing order",
        BOTH_OUT_OF_TURN,
        told(history=CODED_2, findings="rough_idle: present, code_mismatch: {2: present}"),
        (rises("code_numbering", times=3),),
        before=told(history=CODED_2),
        source=MEMORY,
    ),
    Statement(
        "on cylinder 1, which fires first, a code that differs says nothing for counting by firing order",
        ALL,
        told(history=f"{CODED_1}, {CODED_3}", findings="rough_idle: present, code_mismatch: {1: present}"),
        (falls("code_numbering by_firing_order", times=1.0),),
        before=told(history=f"{CODED_1}, {CODED_3}", findings="rough_idle: present"),
        source=MEMORY,
    ),
    Statement(
        "two codes just written that both differ: counted by firing order",
        BOTH_OUT_OF_TURN,
        told(history=f"{CODED_2}, {CODED_3}", findings="code_mismatch: {2: present, 3: present}"),
        (rises("code_numbering", times=1.5), at_least("code_numbering", 0.8)),
        before=told(history=f"{CODED_2}, {CODED_3}", findings="code_mismatch: {2: present}"),
        source=MEMORY,
    ),
    Statement(
        "an injector changed two years ago is less suspect of its code than one changed last month",
        ALL,
        told(history=NEW.format(2, 24), findings="rough_idle: present"),
        (falls("trim_code 2", times=1.5),),
        before=told(history=NEW_2, findings="rough_idle: present"),
    ),
    Statement(
        "an injector changed eight years ago, and running well until now, is hardly miscoded",
        ALL,
        told(history=NEW.format(2, 96), findings="rough_idle: present"),
        (falls("trim_code 2", times=4), likelier("mounts + air_path", "trim_code 2", times=1.2)),
        before=told(history=NEW_2, findings="rough_idle: present"),
    ),
    Statement(
        "an injector changed and coded is less suspect of its code than one only changed",
        SOME,
        told(history=CODED_2, findings="rough_idle: present"),
        (falls("trim_code 2", times=1.5),),
        before=told(history=NEW_2, findings="rough_idle: present"),
    ),
    Statement(
        "where no injector was ever changed the codes are hardly to blame",
        ALL,
        told(findings="rough_idle: present"),
        (at_most("trim_code every", 0.05),),
    ),
    Statement(
        "the code for injector data of 2 after its change: the code was not written",
        SOME,
        told(history=NEW_2, findings="rough_idle: present", codes="P268D"),
        (above_everything("trim_code 2", times=3), likelier("trim_code 2 not_written", "trim_code 2 wrong_cylinder")),
        source="number from memory; common practice, no source",
    ),
)


@pytest.mark.parametrize(("statement", "engine"), crossed(STATEMENTS))
def test_the_trade_says(statement: Statement, engine: str) -> None:
    """Each claim of the statement holds of the reasoner on this engine; the row names its source."""
    assert not statement.complaints(engine)
