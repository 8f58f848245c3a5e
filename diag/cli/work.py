"""From a case to its sheets, by way of the rooms below; each is computed once. Heavy imports stay inside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.decision import OptionSpread, Reckoning, RepairDecision
    from diag.knowledge_base import Knowledge, Language
    from diag.report import (
        AdviceSheet,
        CasesSheet,
        CustomerPage,
        EstimateSheet,
        NextSheet,
        RepairSheet,
        WeighSheet,
        WhySheet,
        WorkSheet,
    )
    from diag.store import Likeness
    from diag.worksheet import Chosen

__all__ = [
    "advice_sheet",
    "customer_sheet",
    "demo_sheet",
    "estimated_sheet",
    "likeness",
    "planned_sheet",
    "ranked_sheet",
    "weighed_sheet",
    "why_of",
    "worked_sheet",
]

COMBINATIONS = 4


def weighed_sheet(knowledge: Knowledge, case: Case) -> WeighSheet:
    """The faults behind a case."""
    from diag.network import weigh
    from diag.report import weigh_sheet

    return weigh_sheet(weigh(knowledge, case, COMBINATIONS))


def ranked_sheet(knowledge: Knowledge, case: Case) -> NextSheet:
    """The checks, ranked by what they are worth."""
    from diag.decision import advise_on, reckon, with_test_as_option
    from diag.network import weigh
    from diag.report import next_sheet

    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    return next_sheet(knowledge, case, with_test_as_option(ready, advise_on(ready), checks_alone=True))


def planned_sheet(knowledge: Knowledge, case: Case, side: str = "customer") -> RepairSheet:
    """The options and the best plan, on the customer's side or openly on the workshop's own."""
    from diag.basics import UsageError
    from diag.decision import decide_repair, for_the_workshop, reckon, with_first_tested
    from diag.network import weigh
    from diag.report import repair_sheet

    if side not in ("customer", "workshop"):
        raise UsageError(f"there is no side '{side}'; it is customer or workshop")
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    decision = decide_repair(ready)
    if side == "customer":
        shown = with_first_tested(ready, decision)
        return repair_sheet(knowledge, case, shown, _spreads(ready, case, shown))
    spreads = _spreads(ready, case, decision)
    if not spreads:
        raise UsageError("the workshop's own side cannot be drawn for this case; choose without --side")
    return repair_sheet(knowledge, case, for_the_workshop(knowledge, decision, spreads), spreads, "workshop")


def _spreads(ready: Reckoning, case: Case, decision: RepairDecision) -> dict[str, OptionSpread]:
    """How the options spread; nothing where so much was renewed on a cylinder that it cannot be drawn."""
    from diag.basics import TooLarge
    from diag.decision import spreads_of
    from diag.worksheet import as_estimated

    try:
        return as_estimated(ready, case, decision, spreads_of(ready, decision))
    except TooLarge:
        return {}


def advice_sheet(knowledge: Knowledge, case: Case, combinations: int = COMBINATIONS, doubted: str = "") -> AdviceSheet:
    """The faults, the checks and the repair."""
    from diag.decision import advise_on, reckon, with_test_as_option
    from diag.network import weigh
    from diag.report import AdviceSheet, next_sheet, repair_sheet, weigh_sheet

    weighed = weigh(knowledge, case, combinations)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    advice = with_test_as_option(ready, advise_on(ready))
    spreads = _spreads(ready, case, advice.repair)
    return AdviceSheet(
        weigh=weigh_sheet(weighed),
        next=next_sheet(knowledge, case, advice),
        repair=repair_sheet(knowledge, case, advice.repair, spreads),
        decision="repair" if advice.stop else "check",
        doubt=doubted,
    )


def worked_sheet(knowledge: Knowledge, case: Case, option: str | None, by_hand: Sequence[str]) -> WorkSheet:
    """The work sheet of the best plan, of an option by its name, or of work put together by hand."""
    from diag.report import work_sheet
    from diag.worksheet import work_of

    _, decision, chosen = _chosen(knowledge, case, option, by_hand)
    return work_sheet(knowledge, case, work_of(knowledge, case, chosen), decision.danger.cautions)


def estimated_sheet(
    knowledge: Knowledge, case: Case, option: str | None, by_hand: Sequence[str], language: Language | None = None
) -> EstimateSheet:
    """The estimate of the same."""
    from diag.report import estimate_sheet
    from diag.worksheet import estimate

    ready, _, chosen = _chosen(knowledge, case, option, by_hand)
    made = estimate(ready.bound.tariff, case, ready.network, ready.posterior, chosen)
    return estimate_sheet(knowledge, case, made, language)


def _chosen(
    knowledge: Knowledge, case: Case, option: str | None, by_hand: Sequence[str]
) -> tuple[Reckoning, RepairDecision, Chosen]:
    from diag.basics import UsageError
    from diag.decision import decide_repair, reckon, with_first_tested
    from diag.network import weigh
    from diag.worksheet import chosen_by_hand, chosen_option, jobs_from

    if option is not None and by_hand:
        raise UsageError("give either --option or --repair, not both")
    jobs = jobs_from(knowledge, case.engine, by_hand)
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    decision = with_first_tested(ready, decide_repair(ready))
    if jobs:
        return ready, decision, chosen_by_hand(decision, ready.bound.tariff, jobs)
    return ready, decision, chosen_option(decision, option)


def why_of(knowledge: Knowledge, case: Case, fault: str = "", rival: str = "", advice: bool = False) -> WhySheet:
    """Why a fault (in words; none: the leading one), and why it and not its rival (none: the strongest)."""
    from diag.decision import advise_on, reckon, with_test_as_option
    from diag.explain import explain, explain_advice, fault_from_words
    from diag.network import weigh
    from diag.report import why_sheet

    weighed = weigh(knowledge, case)
    one = fault_from_words(weighed, fault) if fault else None
    other = fault_from_words(weighed, rival) if rival else None
    reasons = explain(weighed, one, other)
    if not advice:
        return why_sheet(weighed, reasons)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    plain = advise_on(ready)
    found = replace(with_test_as_option(ready, plain, checks_alone=True), repair=plain.repair)  # plans alone
    return why_sheet(weighed, reasons, explain_advice(weighed, found))


def customer_sheet(knowledge: Knowledge, case: Case, language: Language, options: Sequence[str] = ()) -> CustomerPage:
    """The page for the customer, with these options side by side, or the usual ones."""
    from diag.decision import advise_on, reckon, with_test_as_option
    from diag.network import weigh
    from diag.report import customer_page, weigh_sheet

    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    advice = with_test_as_option(ready, advise_on(ready))
    spreads = _spreads(ready, case, advice.repair)
    return customer_page(knowledge, case, language, weigh_sheet(weighed), advice, options, spreads)


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
