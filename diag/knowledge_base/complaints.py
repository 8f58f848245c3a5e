"""What a complaint about the knowledge is, and the kinds that there are. May import: within the room `records`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from diag.knowledge_base.records import Check, Knowledge, Repair

__all__ = ["Complaint", "ComplaintKind", "doings"]

ComplaintKind = Literal[
    "does not sum",
    "no source",
    "cite missing",
    "state never occurs",
    "level never reached",
    "no check yields it",
    "no repair cures it",
    "not told apart",
    "tells nothing",
    "name used twice",
    "hazard without caution",
    "hazard not named",
    "single-use part missing",
    "trim code not written",
    "limit missing",
    "access minutes missing",
    "no steps",
    "hazard at no step",
    "part at no step",
    "torque unknown",
    "unused",
]


@dataclass(frozen=True)
class Complaint:
    """One thing that is not right: its kind, the item (kind and id) that it is about, and a sentence.

    A `fault` should be put right; a `note` may well be meant.
    """

    kind: ComplaintKind
    item: str
    sentence: str
    weight: Literal["fault", "note"] = "fault"

    def __str__(self) -> str:
        return f"{self.item}: {self.sentence}"


def doings(knowledge: Knowledge) -> Iterator[tuple[str, Check | Repair]]:
    """Every check and repair, with its kind and id."""
    for name, check in knowledge.checks.items():
        yield f"checks.{name}", check
    for name, repair in knowledge.repairs.items():
        yield f"repairs.{name}", repair
