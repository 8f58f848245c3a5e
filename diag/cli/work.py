"""From a case to its sheets, by way of the rooms below; each is computed once. Heavy imports stay inside."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Knowledge
    from diag.report import AdviceSheet, CasesSheet, NextSheet, RepairSheet, WeighSheet, WhySheet

__all__ = ["advice_sheet", "demo_sheet", "planned_sheet", "ranked_sheet", "weighed_sheet", "why_of"]

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


def why_of(knowledge: Knowledge, case: Case, fault: str = "", rival: str = "", advice: bool = False) -> WhySheet:
    """Why a fault (in words; none: the leading one), and why it and not its rival (none: the strongest)."""
    from diag.decision import advise
    from diag.explain import explain, explain_advice, fault_from_words
    from diag.network import weigh
    from diag.report import why_sheet

    weighed = weigh(knowledge, case)
    one = fault_from_words(weighed, fault) if fault else None
    other = fault_from_words(weighed, rival) if rival else None
    reasons = explain(weighed, one, other)
    if not advice:
        return why_sheet(weighed, reasons)
    found = advise(knowledge, case, weighed.network, weighed.posterior)
    return why_sheet(weighed, reasons, explain_advice(weighed, found))


def demo_sheet(knowledge: Knowledge, demos: Mapping[str, Path]) -> CasesSheet:
    """The demo cases with their titles."""
    from diag.casebook import load_case
    from diag.report import CasesSheet, DemoLine

    cases = {name: load_case(path, knowledge) for name, path in demos.items()}
    return CasesSheet(tuple(DemoLine(name, case.title, case.engine_id) for name, case in cases.items()))
