"""What an engine's file leaves out of the minutes for opening is said, for no money is reckoned for it."""

from __future__ import annotations

from diag.casebook import Case
from diag.knowledge_base import Engine, load_knowledge
from diag.network import build

KNOWLEDGE = load_knowledge()


def notes_of(engine: Engine) -> str:
    return "\n".join(build(KNOWLEDGE, Case("a van", engine, "mine", 100e3, 8.0)).notes)


def test_missing_minutes_are_said_once_and_only_what_something_needs() -> None:
    engine = KNOWLEDGE.engines["ostrel_4"]
    assert "minutes" not in notes_of(engine)
    some = {kind: by_bank for kind, by_bank in engine.access_minutes.items() if kind not in ("covers", "pump")}
    said = notes_of(engine.model_copy(update={"access_minutes": some}))
    covers, pump = (KNOWLEDGE.vocabulary.access[kind].name for kind in ("covers", "pump"))
    assert f"The minutes for '{covers}' and '{pump}' are not in the engine's file (access_minutes): no time" in said
    vocabulary = KNOWLEDGE.vocabulary
    idle = vocabulary.access["pump"].model_copy(update={"name": "for nothing"})
    more = vocabulary.model_copy(update={"access": {**vocabulary.access, "idle": idle}})
    case = Case("a van", engine, "mine", 100e3, 8.0)
    assert build(KNOWLEDGE.model_copy(update={"vocabulary": more}), case).notes == build(KNOWLEDGE, case).notes
