"""Costs, come-backs, plans and the value of a check: what to repair, what to check next, when to stop checking.

The objective is written down in `objective`. May import: casebook, knowledge_base, inference, basics and numpy; what it
needs of a case's network is in `needs`.
"""

from diag.decision.advice import Advice, advise, advise_on, with_test_as_option
from diag.decision.check_costs import CheckCost, check_cost, why_not
from diag.decision.checks import BarredCheck, CheckRanking, RankedCheck, rank_checks
from diag.decision.danger import Danger
from diag.decision.first_tested import first_tested, with_first_tested
from diag.decision.influence import AnswerWorth, answer_worth, perfect_worth
from diag.decision.lives import (
    best_replacement_time,
    failure_within,
    replacement_rate,
    replacing_pays,
    survival,
)
from diag.decision.money import Money
from diag.decision.needs import LifeView, NetworkView, OutcomesView
from diag.decision.objective import Breakdown
from diag.decision.plans import AGAIN_MONTHS, PlanOption, Reckoning, RepairDecision, decide_repair, reckon
from diag.decision.pricing import PricedJobs, price
from diag.decision.realised import Realised, Vehicle, least_total, realised
from diag.decision.sequences import Action, best_order, best_order_with_access, call_for_help, expected_cost
from diag.decision.several import (
    likely_configurations,
    policies_of,
    price_by_policy,
    reckon_on,
    reckon_on_each,
    repriced,
    treatments_wanted,
)
from diag.decision.sites import Job
from diag.decision.spread import OptionSpread, Percentiles, Side, for_the_workshop, spreads_of
from diag.decision.tariff import Tariff, tariff_of

__all__ = [
    "AGAIN_MONTHS",
    "Action",
    "Advice",
    "AnswerWorth",
    "BarredCheck",
    "Breakdown",
    "CheckCost",
    "CheckRanking",
    "Danger",
    "Job",
    "LifeView",
    "Money",
    "NetworkView",
    "OptionSpread",
    "OutcomesView",
    "Percentiles",
    "PlanOption",
    "PricedJobs",
    "RankedCheck",
    "Realised",
    "Reckoning",
    "RepairDecision",
    "Side",
    "Tariff",
    "Vehicle",
    "advise",
    "advise_on",
    "answer_worth",
    "best_order",
    "best_order_with_access",
    "best_replacement_time",
    "call_for_help",
    "check_cost",
    "decide_repair",
    "expected_cost",
    "failure_within",
    "first_tested",
    "for_the_workshop",
    "least_total",
    "likely_configurations",
    "perfect_worth",
    "policies_of",
    "price",
    "price_by_policy",
    "rank_checks",
    "realised",
    "reckon",
    "reckon_on",
    "reckon_on_each",
    "replacement_rate",
    "replacing_pays",
    "repriced",
    "spreads_of",
    "survival",
    "tariff_of",
    "treatments_wanted",
    "why_not",
    "with_first_tested",
    "with_test_as_option",
]
