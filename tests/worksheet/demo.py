"""Every demo case, weighed and decided once."""

from __future__ import annotations

from functools import cache

from diag.casebook import Case, demo_cases, load_case
from diag.decision import PlanOption, Reckoning, RepairDecision, decide_repair, reckon
from diag.network import weigh
from diag.worksheet import Chosen
from tests.worksheet.plans import KNOWLEDGE

DEMOS = tuple(demo_cases())


@cache
def decided(name: str) -> tuple[Case, Reckoning, RepairDecision]:
    case = load_case(demo_cases()[name], KNOWLEDGE)
    weighed = weigh(KNOWLEDGE, case)
    ready = reckon(KNOWLEDGE, case, weighed.network, weighed.posterior)
    return case, ready, decide_repair(ready)


def as_chosen(option: PlanOption) -> Chosen:
    """An option as chosen, barred or not."""
    return Chosen(option.title, option.jobs, option)
