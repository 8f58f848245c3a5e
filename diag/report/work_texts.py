"""What the knowledge says of work, in texts that several sheets hold. May import: knowledge_base, figures, words."""

from __future__ import annotations

from collections.abc import Iterable

from diag.knowledge_base import Check, Knowledge, Repair
from diag.report.figures import per_cent
from diag.report.words import REPAIR

__all__ = ["access_words", "danger_texts", "risk_words"]


def danger_texts(knowledge: Knowledge, cautions: Iterable[str]) -> tuple[str, ...]:
    """The texts of the cautions that stand whatever is done."""
    return tuple(knowledge.cautions[name].text for name in cautions)


def risk_words(work: Check | Repair) -> tuple[str, ...]:
    """What can go wrong, with its chance: `injector stuck (6 % to 35 %)`."""
    lines = []
    for risk in work.risks:
        chances = sorted(figure.value for figure in risk.chance.values())
        span = per_cent(chances[0])
        if chances[-1] > chances[0]:
            span = f"{span} {REPAIR['up_to']} {per_cent(chances[-1])}"
        lines.append(f"{risk.name} ({span})")
    return tuple(lines)


def access_words(knowledge: Knowledge, kind: str) -> str:
    """What an access kind is called."""
    return knowledge.vocabulary.access[kind].name if kind in knowledge.vocabulary.access else kind
