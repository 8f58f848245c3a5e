from .ages import years_before
from .alike import (
    Alike,
    Likelihoods,
    Shape,
    ToldOf,
    alike,
    configuration_tables,
    prior_tables,
    shape_of,
    shaped_evidence,
    told_of,
)
from .building import build
from .casenetwork import CaseNetwork
from .combinations import MendedState, NamedCombination
from .conflict import CONFLICT_FROM, Agreement, Doubt, Opinion, agreement, conflict_measure, strain_of, strain_tail
from .contributions import ChainRow, Contribution, Contributions, chain_rows, contributions_of
from .foreseeing import Foreseen, foreseen
from .likelihoods import chance_by_level, key_of
from .many import Many, sort_of, weigh_many
from .marginals import (
    component_states,
    cylinder_chances,
    fault_chances,
    finding_chances,
    severity_chances,
    vehicle_severity_chances,
)
from .missing import ExpectedCode, expected_codes
from .numbering import cylinder_behind, is_numbered_told
from .prior_table import FigurePath, PriorTable
from .questions import Question, question_name
from .rarity import Rarity, rarity_of
from .redrawing import rebuilt
from .reference import (
    ReferenceEvidence,
    export_bif,
    export_xmlbif,
    pgmpy_network,
    reference_evidence,
    reference_network,
    sample,
)
from .reference_nodes import ReferenceNode, all_questions, node_name, reference_arrays
from .simulating import Draws, simulate
from .subsets import Claim, ToldStep, part_evidence, part_posterior, told_steps
from .supposing import Supposed, log_joint, supposed
from .targets import Factor
from .views import CurrentLife, FaultChance, LevelChance, Outlook
from .weighing import Weighed, culprits, weigh

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
    "MendedState",
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
    "configuration_tables",
    "conflict_measure",
    "contributions_of",
    "culprits",
    "cylinder_behind",
    "cylinder_chances",
    "expected_codes",
    "export_bif",
    "export_xmlbif",
    "fault_chances",
    "finding_chances",
    "foreseen",
    "is_numbered_told",
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
    "years_before",
]
