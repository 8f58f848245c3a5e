"""Engine, knowledge and case become a network: plates for the fast engine, and an ordinary network as the reference.

`build` and `weigh` are what the rooms above ask; `reference_network` needs pgmpy, which is imported only there.
May import: `diag.evidence`, `diag.casebook`, `diag.knowledge_base`, `diag.inference`, `diag.basics`, numpy, pgmpy.
"""

from diag.network.alike import (
    Alike,
    Likelihoods,
    Shape,
    ToldOf,
    alike,
    prior_tables,
    shape_of,
    shaped_evidence,
    told_of,
)
from diag.network.building import build
from diag.network.casenetwork import CaseNetwork
from diag.network.combinations import NamedCombination
from diag.network.conflict import (
    CONFLICT_FROM,
    Agreement,
    Doubt,
    Opinion,
    agreement,
    conflict_measure,
    strain_of,
    strain_tail,
)
from diag.network.contributions import ChainRow, Contribution, Contributions, chain_rows, contributions_of
from diag.network.foreseeing import Foreseen, foreseen
from diag.network.likelihoods import chance_by_level, key_of
from diag.network.many import Many, sort_of, weigh_many
from diag.network.marginals import (
    component_states,
    cylinder_chances,
    fault_chances,
    finding_chances,
    severity_chances,
    vehicle_severity_chances,
)
from diag.network.missing import ExpectedCode, expected_codes
from diag.network.prior_tables import FigurePath, PriorTable
from diag.network.questions import Question, question_name
from diag.network.rarity import Rarity, rarity_of
from diag.network.redrawing import rebuilt
from diag.network.reference import (
    ReferenceEvidence,
    export_bif,
    export_xmlbif,
    pgmpy_network,
    reference_evidence,
    reference_network,
    sample,
)
from diag.network.reference_nodes import ReferenceNode, all_questions, node_name, reference_arrays
from diag.network.simulating import Draws, simulate
from diag.network.subsets import Claim, ToldStep, part_evidence, part_posterior, told_steps
from diag.network.supposing import Supposed, log_joint, supposed
from diag.network.targets import Factor
from diag.network.views import CurrentLife, FaultChance, LevelChance, Outlook
from diag.network.weighing import Weighed, culprits, weigh

__all__ = [
    "CONFLICT_FROM",
    "Agreement",
    "Alike",
    "CaseNetwork",
    "ChainRow",
    "Claim",
    "Contribution",
    "Contributions",
    "CurrentLife",
    "Doubt",
    "Draws",
    "ExpectedCode",
    "Factor",
    "FaultChance",
    "FigurePath",
    "Foreseen",
    "LevelChance",
    "Likelihoods",
    "Many",
    "NamedCombination",
    "Opinion",
    "Outlook",
    "PriorTable",
    "Question",
    "Rarity",
    "ReferenceEvidence",
    "ReferenceNode",
    "Shape",
    "Supposed",
    "ToldOf",
    "ToldStep",
    "Weighed",
    "agreement",
    "alike",
    "all_questions",
    "build",
    "chain_rows",
    "chance_by_level",
    "component_states",
    "conflict_measure",
    "contributions_of",
    "culprits",
    "cylinder_chances",
    "expected_codes",
    "export_bif",
    "export_xmlbif",
    "fault_chances",
    "finding_chances",
    "foreseen",
    "key_of",
    "log_joint",
    "node_name",
    "part_evidence",
    "part_posterior",
    "pgmpy_network",
    "prior_tables",
    "question_name",
    "rarity_of",
    "rebuilt",
    "reference_arrays",
    "reference_evidence",
    "reference_network",
    "sample",
    "severity_chances",
    "shape_of",
    "shaped_evidence",
    "simulate",
    "sort_of",
    "strain_of",
    "strain_tail",
    "supposed",
    "told_of",
    "told_steps",
    "vehicle_severity_chances",
    "weigh",
    "weigh_many",
]
