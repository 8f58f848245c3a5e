"""From a case to its sheets, by way of the rooms below; each is computed once. Heavy imports stay inside."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Knowledge
    from diag.report import AdviceSheet, CasesSheet, NextSheet, RepairSheet, WeighSheet
    from diag.store import Likeness

__all__ = ["advice_sheet", "demo_sheet", "likeness", "planned_sheet", "ranked_sheet", "weighed_sheet"]

COMBINATIONS = 4


def weighed_sheet(knowledge: Knowledge, case: Case) -> WeighSheet:
    """The faults behind a case."""
    from diag.network import weigh
    from diag.report import weigh_sheet

    return weigh_sheet(weigh(knowledge, case, COMBINATIONS))


def ranked_sheet(knowledge: Knowledge, case: Case) -> NextSheet:
    """The checks, ranked by what they are worth."""
    from diag.decision import advise
    from diag.network import weigh
    from diag.report import next_sheet

    weighed = weigh(knowledge, case)
    return next_sheet(knowledge, case, advise(knowledge, case, weighed.network, weighed.posterior))


def planned_sheet(knowledge: Knowledge, case: Case) -> RepairSheet:
    """The options and the best plan."""
    from diag.decision import decide_repair, reckon
    from diag.network import weigh
    from diag.report import repair_sheet

    weighed = weigh(knowledge, case)
    return repair_sheet(knowledge, case, decide_repair(reckon(knowledge, case, weighed.network, weighed.posterior)))


def advice_sheet(knowledge: Knowledge, case: Case, combinations: int = COMBINATIONS) -> AdviceSheet:
    """The faults, the checks and the repair."""
    from diag.decision import advise
    from diag.network import weigh
    from diag.report import AdviceSheet, next_sheet, repair_sheet, weigh_sheet

    weighed = weigh(knowledge, case, combinations)
    advice = advise(knowledge, case, weighed.network, weighed.posterior)
    return AdviceSheet(
        weigh=weigh_sheet(weighed),
        next=next_sheet(knowledge, case, advice),
        repair=repair_sheet(knowledge, case, advice.repair),
        decision="repair" if advice.stop else "check",
    )


def likeness(knowledge: Knowledge, case: Case) -> Likeness | None:
    """What the book compares a case by; none where what was told cannot be weighed."""
    from diag.basics import ImpossibleEvidence, TooLarge
    from diag.network import weigh
    from diag.store import Draft, StateChance, likeness_of

    try:
        faults = weigh(knowledge, case).faults
    except (ImpossibleEvidence, TooLarge):
        return None
    chances = (StateChance(each.component, each.place, each.state, each.probability) for each in faults)
    return likeness_of(Draft.of(case, knowledge), chances)


def demo_sheet(knowledge: Knowledge, demos: Mapping[str, Path]) -> CasesSheet:
    """The demo cases with their titles."""
    from diag.casebook import load_case
    from diag.report import CasesSheet, DemoLine

    cases = {name: load_case(path, knowledge) for name, path in demos.items()}
    return CasesSheet(tuple(DemoLine(name, case.title, case.engine_id) for name, case in cases.items()))
