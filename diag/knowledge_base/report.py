"""Checks the knowledge for what no single entry shows: what is never reached, told, cured, cited or warned of.

May import: within the room.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.knowledge_base.complaints import Complaint
from diag.knowledge_base.complaints_causes import check_causes
from diag.knowledge_base.complaints_names import check_names
from diag.knowledge_base.complaints_numbers import check_numbers
from diag.knowledge_base.complaints_steps import check_steps_of_work
from diag.knowledge_base.complaints_work import check_work
from diag.knowledge_base.records import Knowledge
from diag.knowledge_base.sizes import Sizes, sizes_of

__all__ = ["KnowledgeReport", "check_knowledge"]


@dataclass(frozen=True)
class KnowledgeReport:
    """What is wrong (`faults`) or worth knowing (`notes`), and the sizes of every engine."""

    complaints: tuple[Complaint, ...]
    sizes: tuple[Sizes, ...]

    @property
    def faults(self) -> tuple[Complaint, ...]:
        """The complaints that should be put right."""
        return tuple(one for one in self.complaints if one.weight == "fault")

    @property
    def notes(self) -> tuple[Complaint, ...]:
        """The complaints that may well be meant."""
        return tuple(one for one in self.complaints if one.weight == "note")

    def of_kind(self, kind: str) -> tuple[Complaint, ...]:
        """All complaints of one kind."""
        return tuple(one for one in self.complaints if one.kind == kind)


def check_knowledge(knowledge: Knowledge) -> KnowledgeReport:
    """Complain of everything that loads but is not right, and state the sizes that decide speed."""
    complaints = (
        *check_numbers(knowledge),
        *check_causes(knowledge),
        *check_names(knowledge),
        *check_work(knowledge),
        *check_steps_of_work(knowledge),
    )
    sizes = tuple(sizes_of(knowledge, name, engine) for name, engine in knowledge.engines.items())
    return KnowledgeReport(complaints, sizes)
