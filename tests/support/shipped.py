"""Cases on the shipped knowledge for benchmarks: so many shared symptoms present on any of the engines.

May import: `diag` through its doors.
"""

from __future__ import annotations

from collections.abc import Sequence

from diag.casebook import Case, read_case
from diag.inference import Evidence, Model
from diag.knowledge_base import Knowledge
from diag.network import CaseNetwork, build

__all__ = ["case_with", "network_with", "shared_symptoms", "sizes_of"]


def shared_symptoms(knowledge: Knowledge) -> list[str]:
    """A symptom of each vehicle severity that has one, in the order of the knowledge."""
    severities = [name for name, severity in knowledge.severities.items() if severity.per == "vehicle"]
    first: dict[str, str] = {}
    for name, finding in knowledge.findings.items():
        if finding.shows in severities and finding.kind == "symptom":
            first.setdefault(finding.shows, name)
    return [first[severity] for severity in severities if severity in first]


def case_with(knowledge: Knowledge, engine: str, present: Sequence[str]) -> Case:
    """A worn vehicle with these symptoms present, and chuffing looked for on two cylinders."""
    lines = [
        f"title: {len(present)} shared symptoms at once",
        f"engine: {engine}",
        "distance: 240000 km",
        "age: 11 years",
    ]
    lines += ["findings:", *(f"  {name}: present" for name in present), "  chuff: {1: absent, 2: present}"]
    return read_case("made-up.yaml", knowledge, "\n".join(lines) + "\n")


def network_with(knowledge: Knowledge, engine: str, present: int) -> CaseNetwork:
    """The network of a case with so many shared symptoms present."""
    return build(knowledge, case_with(knowledge, engine, shared_symptoms(knowledge)[:present]))


def sizes_of(model: Model, evidence: Evidence) -> str:
    """The sizes that decide speed, in words."""
    heard = len({axis for axes, _ in evidence.shared for axis in axes})
    largest = max(model.plates, key=lambda plate: len(plate.components))
    states = 1
    for axis in largest.axes:
        states *= axis.levels
    return (
        f"{len(model.plates)} plates, the largest of {len(largest.components)} components and {states} local states; "
        f"{len(model.configurations)} configurations; evidence on {heard} of {len(model.shared)} shared severities"
    )
