"""Evidence sets in, exact joint posteriors out; several faults at once. Knows nothing of diesels, only of arrays.

May import: numpy and `diag.basics`. `model` holds the records, `engine` and `mixture` the questions that can be asked.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
from diag.inference.cell_sums import AskedSums, cell_sums
from diag.inference.cells import Asked, cell_values
from diag.inference.engine import (
    Form,
    Posterior,
    infer,
    infer_with_alternatives,
    joint_posterior,
    log_evidence,
    shared_posterior,
)
from diag.inference.lots import Lot, lot_of
from diag.inference.mixture import Mixture, Mixtures, mixture, mixtures
from diag.inference.model import (
    Array,
    Axis,
    Component,
    Emission,
    Evidence,
    Link,
    Model,
    Plate,
    SharedAxis,
    SharedSeverity,
)
from diag.inference.pooled import Pooled, pooled
from diag.inference.restriction import kept_configurations, with_configurations
from diag.inference.search import Combination, most_probable
from diag.inference.spreads import distinct
from diag.inference.uses import Uses

__all__ = [
    "Array",
    "Asked",
    "AskedSums",
    "Axis",
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
    "distinct",
    "infer",
    "infer_with_alternatives",
    "joint_posterior",
    "kept_configurations",
    "log_evidence",
    "lot_of",
    "mixture",
    "mixtures",
    "most_probable",
    "pooled",
    "shared_posterior",
    "with_configurations",
]
