"""The rules by which a log is judged, out of the knowledge. May import: `diag.basics`, `diag.knowledge_base`."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

from diag.basics import KnowledgeError, Problem
from diag.knowledge_base import LOG_RULES, Knowledge

__all__ = ["Rules", "rules_of"]


@dataclass(frozen=True)
class Rules:
    """The values of the rules, each in the unit that `LOG_RULES` of the knowledge base names; reasons stand there."""

    warm_from: float
    idle_from: float
    idle_to: float
    idle_swing: float
    idle_settles: float
    idle_least: float
    block: float
    bridge: float
    restart: float
    pause: float
    hold: float
    hold_temperature: float
    cranking_from: float
    cranking_to: float
    cranking_inrush: float
    cranking_least: float
    cranking_most: float
    cranking_tail: float
    coasting_most: float
    load_from: float
    load_share: float
    load_rail: float
    load_settles: float
    load_least: float
    load_block: float
    saturated_share: float
    saturated_from: float
    huber_bend: float
    unreadable_most: float


assert tuple(field.name for field in fields(Rules)) == tuple(LOG_RULES)


def rules_of(knowledge: Knowledge) -> Rules:
    """The rules of this knowledge. Raises KnowledgeError where one is missing, or two cannot be true together."""
    missing = [name for name in LOG_RULES if name not in knowledge.log_rules]
    if missing:
        message = f"the knowledge has no rule for logs called {', '.join(missing)}"
        raise KnowledgeError([Problem("log_rules", 0, 0, message, "see logging.yaml of the knowledge that ships")])
    rules = Rules(**{name: rule.value.value for name, rule in knowledge.log_rules.items() if name in LOG_RULES})
    rising = ("cranking_from", "cranking_to", "idle_from", "idle_to", "load_from")
    for lower, upper in pairwise(rising):
        if getattr(rules, lower) > getattr(rules, upper):
            message = f"{lower} is above {upper}"
            raise KnowledgeError([Problem("log_rules", 0, 0, message, "a stretch cannot be both")])
    for name in ("block", "load_block", "bridge", "huber_bend", "cranking_tail", "cranking_most"):
        if getattr(rules, name) <= 0:
            raise KnowledgeError([Problem("log_rules", 0, 0, f"{name} is not above zero", "give it a length")])
    return rules
