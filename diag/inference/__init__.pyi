from .blocks import of_axis
from .cell_sums import AskedSums, cell_sums
from .cells import Asked, cell_values
from .densities import option_key
from .engine import (
    Form,
    Posterior,
    has_many_configurations,
    infer,
    infer_with_alternatives,
    joint_posterior,
    log_evidence,
    shared_posterior,
)  # fmt: skip
from .levels import AxisByAxis
from .lots import Lot, lot_of
from .mixture import Mixture, Mixtures, mixture, mixtures
from .model import Array, Axis, Component, Emission, Evidence, Link, Model, Plate, SharedAxis, SharedSeverity
from .pooled import Pooled, pooled
from .restriction import kept_configurations, with_configurations
from .search import Combination, most_probable
from .spreads import distinct
from .terms import differenced
from .uses import Uses

__all__ = [
    "Array",
    "Asked",
    "AskedSums",
    "Axis",
    "AxisByAxis",
    "Combination",
    "Component",
    "Emission",
    "Evidence",
    "Form",
    "Link",
    "Lot",
    "Mixture",
    "Mixtures",
    "Model",
    "Plate",
    "Pooled",
    "Posterior",
    "SharedAxis",
    "SharedSeverity",
    "Uses",
    "cell_sums",
    "cell_values",
    "differenced",
    "distinct",
    "has_many_configurations",
    "infer",
    "infer_with_alternatives",
    "joint_posterior",
    "kept_configurations",
    "log_evidence",
    "lot_of",
    "mixture",
    "mixtures",
    "most_probable",
    "of_axis",
    "option_key",
    "pooled",
    "shared_posterior",
    "with_configurations",
]
