"""What an engine has in other units or the other way round teaches the same, and a vague reading less."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diag.casebook import Case, Epoch, Measured
from diag.knowledge_base import Engine, Knowledge, Limit, convert, load_knowledge
from diag.learning import Lesson, Rules, learn
from diag.network import FigurePath
from diag.store import Outcome

READ = (26.0, 27.5, 28.4, 25.2, 26.9, 27.1)
ITEM = "compression_pressure"
MIDDLE = ("readings", ITEM, "spread", "full", "middle")


@pytest.fixture(scope="module")
def small() -> Knowledge:
    """The compression of each cylinder and its reading, from what ships."""
    whole = load_knowledge()
    severity = whole.severities["compression_loss"]
    causes = {name: table for name, table in severity.causes.items() if name == "compression"}
    return whole.model_copy(
        update={
            "components": {name: whole.components[name] for name in ("compression", "code_numbering")},
            "severities": {"compression_loss": severity.model_copy(update={"causes": causes})},
            "findings": {},
            "readings": {ITEM: whole.readings[ITEM]},
            "repairs": {},
        }
    )


def _after(
    knowledge: Knowledge, engine: Engine, error: float | None = None, sign: float = 1.0
) -> dict[FigurePath, float]:
    """The figures after learning from cases of an engine, a reading each."""
    case, lessons = Case("invented", engine, "mine", 200e3, 10.0), []
    for row, bar in enumerate(READ * 3):
        measured = Measured(ITEM, 1 + row % 3, sign * (bar + 0.1 * row), "bar", error=error)
        told = replace(case, epochs=(Epoch((), (), (measured,)),))
        lessons.append(Lesson(row + 1, "", told, Outcome("not known", (), ()), ""))
    learned = learn(knowledge, lessons, Rules(least=0.0, turns=3))
    return {figure.path: figure.after for figure in learned.figures}


def test_a_limit_in_another_unit_teaches_the_same(small: Knowledge) -> None:
    engine = small.engines["ostrel_3"]
    bar = engine.limits["compression"]
    assert bar.value is not None
    psi = Limit(value=convert(bar.value, "bar", "psi"), unit="psi")
    own = engine.model_copy(update={"limits": {**engine.limits, "compression": psi}})
    plain = _after(small, engine)
    assert MIDDLE in plain
    assert _after(small, own) == pytest.approx(plain)


def test_a_reading_of_the_opposite_sign_teaches_the_same(small: Knowledge) -> None:
    engine = small.engines["ostrel_3"]
    turned = engine.model_copy(update={"opposite_sign": (ITEM,)})
    assert _after(small, turned, sign=-1.0) == pytest.approx(_after(small, engine))


def test_a_reading_with_a_large_error_of_its_own_teaches_less(small: Knowledge) -> None:
    engine = small.engines["ostrel_3"]
    before = small.readings[ITEM].spread["full"].middle.value  # type: ignore[union-attr]
    plain, vague = _after(small, engine)[MIDDLE], _after(small, engine, error=10.0)[MIDDLE]
    assert abs(vague - before) < 0.5 * abs(plain - before)
