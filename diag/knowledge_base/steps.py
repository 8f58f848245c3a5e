"""The steps of a repair with those of its dismantling, the cautions that stand at a step, and what turns the engine.

May import: within the room `records`.
"""

from __future__ import annotations

from diag.knowledge_base.records import Caution, Check, Knowledge, Repair, WorkStep

__all__ = ["access_order", "cautions_at", "runs_engine", "steps_of", "torques_of", "turns_engine"]

RUNNING = frozenset({"engine_running", "engine_warm"})  # preconditions that want the engine to run
CRANKED = "cranking_possible"


def access_order(knowledge: Knowledge, access: str) -> tuple[str, ...]:
    """An access kind with all that it includes, what is opened first in front; nothing for 'none'."""
    found: list[str] = []

    def open_before(kind: str) -> None:
        if kind in knowledge.vocabulary.access and kind not in found:
            for included in knowledge.vocabulary.access[kind].includes:
                open_before(included)
            found.append(kind)

    open_before(access)
    return tuple(found)


def steps_of(knowledge: Knowledge, repair: Repair) -> dict[str, WorkStep]:
    """Every step of a repair by id, in the order of work: opening, its own steps, closing."""
    kinds = [knowledge.vocabulary.access[kind] for kind in access_order(knowledge, repair.access)]
    named = {step for kind in kinds for step in (*kind.open, *kind.close)} | set(repair.steps)
    return {name: step for name, step in knowledge.steps.items() if name in named}


def torques_of(knowledge: Knowledge, repair: Repair) -> tuple[str, ...]:
    """The names of all values that a repair tightens to, its dismantling included, each once."""
    return tuple(dict.fromkeys(name for step in steps_of(knowledge, repair).values() for name in step.torques))


def cautions_at(knowledge: Knowledge, step: WorkStep) -> dict[str, Caution]:
    """The cautions that stand at a step, by id: those it names, then those of its hazards, but not those that stand at
    the head of a sheet only."""
    named = [name for name in step.cautions if name in knowledge.cautions]
    by_hazard = [name for name, caution in knowledge.cautions.items() if set(caution.hazards) & set(step.hazards)]
    found = {name: knowledge.cautions[name] for name in dict.fromkeys([*named, *by_hazard])}
    return {name: caution for name, caution in found.items() if not caution.head_only}


def runs_engine(check: Check) -> bool:
    """Whether the engine has to run for a check."""
    return not RUNNING.isdisjoint(check.needs)


def turns_engine(check: Check) -> bool:
    """Whether the engine is run, started or cranked for a check: with a pressure pipe off each would let fuel out."""
    return runs_engine(check) or CRANKED in check.needs or "engine running" in check.hazards
