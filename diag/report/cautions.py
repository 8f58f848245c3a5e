"""The cautions that stand at a piece of work, or come first where something dangerous was found.

May import: casebook, knowledge_base.
"""

from __future__ import annotations

from collections.abc import Iterable

from diag.casebook import Case, dangers_told
from diag.knowledge_base import Check, Finding, Knowledge, Reading, Repair, cautions_for, cautions_of_danger

__all__ = ["cautions_of", "danger_cautions", "told_cautions"]


def cautions_of(knowledge: Knowledge, work: Check | Repair) -> tuple[str, ...]:
    """The texts of every caution that the work names or has a hazard of, each once."""
    return tuple(caution.text for caution in cautions_for(knowledge, work))


def danger_cautions(knowledge: Knowledge, findings: Iterable[Finding | Reading]) -> tuple[str, ...]:
    """The texts that come first of all where these findings are present, or these readings beyond what is safe; each
    once."""
    names = dict.fromkeys(name for finding in findings for name in finding.danger)
    return tuple(knowledge.cautions[name].text for name in names)


def told_cautions(knowledge: Knowledge, case: Case, likely: Iterable[str] = ()) -> tuple[str, ...]:
    """The texts that come first of all by what was told of a case; each once. `likely`: components of which a dangerous
    state is likely."""
    names = dict.fromkeys(name for each in dangers_told(knowledge, case) for name in each.cautions(knowledge))
    names |= dict.fromkeys(name for each in likely for name in cautions_of_danger(knowledge, each))
    return tuple(knowledge.cautions[name].text for name in names)
