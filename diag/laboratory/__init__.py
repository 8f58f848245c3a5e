"""The policy laboratory: vehicles drawn from the model, policies run on them to the end, and what they cost.

May import: decision, network, evidence, casebook, knowledge_base, inference, basics, numpy.
"""

from diag.laboratory.policies import POLICIES, Policy, policy_named
from diag.laboratory.running import CaseRun, Workshop
from diag.laboratory.session import CheckStep, RepairStep, Step
from diag.laboratory.study import VEHICLES, Plan, PolicyScore, Study, complaints, starts_of, study
from diag.laboratory.vehicles import Drawn, Fleet, draw_fleet

__all__ = [
    "POLICIES",
    "VEHICLES",
    "CaseRun",
    "CheckStep",
    "Drawn",
    "Fleet",
    "Plan",
    "Policy",
    "PolicyScore",
    "RepairStep",
    "Step",
    "Study",
    "Workshop",
    "complaints",
    "draw_fleet",
    "policy_named",
    "starts_of",
    "study",
]
