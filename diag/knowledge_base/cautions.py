"""The cautions that are printed with a check or a repair. May import: within the room `records`."""

from __future__ import annotations

from diag.knowledge_base.records import Caution, Check, Knowledge, Repair

__all__ = ["cautions_for"]


def cautions_for(knowledge: Knowledge, doing: Check | Repair) -> tuple[Caution, ...]:
    """Every caution that a check or repair names, then every one for a hazard of it, each once."""
    named = [name for name in doing.cautions if name in knowledge.cautions]
    by_hazard = [name for name, caution in knowledge.cautions.items() if set(caution.hazards) & set(doing.hazards)]
    return tuple(knowledge.cautions[name] for name in dict.fromkeys([*named, *by_hazard]))
