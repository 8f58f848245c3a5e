"""Every demo case, and the V8 with many symptoms, weighed and decided once."""

from __future__ import annotations

from functools import cache

from diag.casebook import Case, load_case
from diag.decision import PlanOption, Reckoning, RepairDecision, decide_repair, reckon
from diag.network import weigh
from diag.worksheet import Chosen
from tests.support.cases import every_case
from tests.worksheet.plans import KNOWLEDGE

CASES = tuple(every_case())


@cache
def decided(name: str) -> tuple[Case, Reckoning, RepairDecision]:
    case = load_case(every_case()[name], KNOWLEDGE)
    weighed = weigh(KNOWLEDGE, case)
    ready = reckon(KNOWLEDGE, case, weighed.network, weighed.posterior)
    return case, ready, decide_repair(ready)


def as_chosen(option: PlanOption) -> Chosen:
    """An option as chosen, barred or not."""
    return Chosen(option.title, option.jobs, option)
