"""From closed cases to better numbers, and how good the numbers were.

May import: `diag.store` (its records), `diag.decision`, `diag.network`, `diag.evidence`, `diag.casebook`,
`diag.knowledge_base`, `diag.inference`, `diag.pictures`, `diag.basics`, numpy. `updating` learns, `foretelling` scores.
"""

from diag.learning.figures import NOT_LEARNED, Learnable, LearnedFigure, figure_numbers, learnables, with_values
from diag.learning.foretelling import CaseScore, Foretold, Prediction, Spent, foretell
from diag.learning.lessons import Lesson, Trust, lesson_of, lessons_of
from diag.learning.overlay import overlay_text, save_overlay
from diag.learning.practice import repair_minutes, repair_success, slips_of_time
from diag.learning.scores import (
    BrierParts,
    Drift,
    ReliabilityBin,
    brier,
    brier_two_class,
    drift,
    log_score,
    murphy,
    reliability,
    wilson,
)
from diag.learning.sweeping import Sweep, Sweeper
from diag.learning.updating import Learned, Rules, learn
from diag.learning.weibull import LifePrior, Lives, WeibullFit, fit_weibull, log_likelihood

__all__ = [
    "NOT_LEARNED",
    "BrierParts",
    "CaseScore",
    "Drift",
    "Foretold",
    "Learnable",
    "Learned",
    "LearnedFigure",
    "Lesson",
    "LifePrior",
    "Lives",
    "Prediction",
    "ReliabilityBin",
    "Rules",
    "Spent",
    "Sweep",
    "Sweeper",
    "Trust",
    "WeibullFit",
    "brier",
    "brier_two_class",
    "drift",
    "figure_numbers",
    "fit_weibull",
    "foretell",
    "learn",
    "learnables",
    "lesson_of",
    "lessons_of",
    "log_likelihood",
    "log_score",
    "murphy",
    "overlay_text",
    "reliability",
    "repair_minutes",
    "repair_success",
    "save_overlay",
    "slips_of_time",
    "wilson",
    "with_values",
]
