from .advice import Advice, advise, advise_on, with_test_as_option
from .check_costs import CheckCost, barred_by_danger, check_cost, why_not
from .checks import BarredCheck, CheckRanking, RankedCheck, rank_checks
from .danger import Danger
from .first_tested import Tested, first_tested, tested_of, with_first_tested
from .influence import AnswerWorth, answer_worth, perfect_worth
from .lives import best_replacement_time, failure_within, replacement_rate, replacing_pays, survival
from .money import Money
from .needs import LifeView, NetworkView, OutcomesView
from .objective import Breakdown
from .plans import AGAIN_MONTHS, AfterTest, PlanOption, Reckoning, RepairDecision, decide_repair, reckon
from .pricing import PricedJobs, price
from .realised import Realised, Vehicle, least_total, realised
from .sequences import Action, best_order, best_order_with_access, call_for_help, expected_cost
from .several import (
    likely_configurations,
    policies_of,
    price_by_policy,
    reckon_on,
    reckon_on_each,
    repriced,
    treatments_wanted,
)
from .sites import Job
from .spread import OptionSpread, Percentiles, Side, for_the_workshop, spreads_of
from .tariff import WEARING, Tariff, tariff_of

__all__ = [
    "AGAIN_MONTHS",
    "WEARING",
    "Action",
    "Advice",
    "AfterTest",
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
    "Tested",
    "Vehicle",
    "advise",
    "advise_on",
    "answer_worth",
    "barred_by_danger",
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
    "tested_of",
    "treatments_wanted",
    "why_not",
    "with_first_tested",
    "with_test_as_option",
]
