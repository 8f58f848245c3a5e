"""What the knowledge says of work, in texts that several sheets hold. May import: `diag.basics`, knowledge_base,
figures, words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from diag.basics import Place
from diag.knowledge_base import Check, Engine, Knowledge, Repair
from diag.report.figures import at_places, per_cent
from diag.report.words import REPAIR

if TYPE_CHECKING:
    from diag.decision import Job

__all__ = ["access_words", "danger_texts", "jobs_words", "risk_words"]


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


def jobs_words(knowledge: Knowledge, engine: Engine, jobs: Sequence[Job]) -> tuple[str, ...]:
    """Each repair with its places, in the order of the first of each: `reseal the injector, cylinders 1 and 2`."""
    places: dict[str, list[Place]] = {}
    for job in jobs:
        places.setdefault(job.repair, []).append(job.place)
    return tuple(at_places(knowledge.repairs[name].name, some, len(engine.banks)) for name, some in places.items())
