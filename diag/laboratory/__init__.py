"""The policy laboratory: vehicles drawn from the model, policies run on them to the end, and what they cost.

May import: decision, network, evidence, casebook, knowledge_base, inference, basics, numpy.
"""

from diag.laboratory.desk import Desk
from diag.laboratory.glances import Glances, Known
from diag.laboratory.policies import POLICIES, Policy, items_of, policy_named
from diag.laboratory.running import CaseRun, Workshop, certain_posterior, certainty_of, least_of, sets_at_sites
from diag.laboratory.session import CheckStep, RepairStep, Step, asked_in
from diag.laboratory.study import VEHICLES, Plan, PolicyScore, Study, complaints, starts_of, study
from diag.laboratory.vehicles import Drawn, Fleet, draw_fleet

__all__ = [
    "POLICIES",
    "VEHICLES",
    "CaseRun",
    "CheckStep",
    "Desk",
    "Drawn",
    "Fleet",
    "Glances",
    "Known",
    "Plan",
    "Policy",
    "PolicyScore",
    "RepairStep",
    "Step",
    "Study",
    "Workshop",
    "asked_in",
    "certain_posterior",
    "certainty_of",
    "complaints",
    "draw_fleet",
    "items_of",
    "least_of",
    "policy_named",
    "sets_at_sites",
    "starts_of",
    "study",
]
