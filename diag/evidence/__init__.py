"""Answers and readings become likelihoods: of one finding over its versions, of one reading's hidden true value.

May import: numpy, `diag.casebook`, `diag.knowledge_base`, `diag.basics`. Units and fault codes are handed on from
`diag.casebook`, which needs them to read a case.
"""

from diag.casebook import code_of_cylinder, convert, cylinder_of_code, known_units
from diag.evidence.answers import answer_pattern, answer_ratio, decibans
from diag.evidence.distributions import (
    Share,
    Spread,
    beyond,
    cumulative,
    density,
    log_density,
    mixed,
    mixture_quantile,
    quantile,
    spread_of,
)
from diag.evidence.hidden_value import log_marginals
from diag.evidence.outcomes import Outcomes, reading_outcomes
from diag.evidence.readings import ReadingLikelihood, reading_likelihood, spreads
from diag.evidence.shift_grid import CLOSE, CLOSE_APART, ShiftGrid, log_shift_prior, shift_grid
from diag.evidence.shifts import (
    Together,
    draw_together,
    frame_of,
    frames_at,
    frames_before,
    noisy,
    one_of,
    ordinary_weights,
    shifted_likelihood,
    together,
    unshifted_spreads,
)
from diag.evidence.taken import Frame, Taken, instrument_error, multiple_of, shown_by, taken, without_limit

__all__ = [
    "CLOSE",
    "CLOSE_APART",
    "Frame",
    "Outcomes",
    "ReadingLikelihood",
    "Share",
    "ShiftGrid",
    "Spread",
    "Taken",
    "Together",
    "answer_pattern",
    "answer_ratio",
    "beyond",
    "code_of_cylinder",
    "convert",
    "cumulative",
    "cylinder_of_code",
    "decibans",
    "density",
    "draw_together",
    "frame_of",
    "frames_at",
    "frames_before",
    "instrument_error",
    "known_units",
    "log_density",
    "log_marginals",
    "log_shift_prior",
    "mixed",
    "mixture_quantile",
    "multiple_of",
    "noisy",
    "one_of",
    "ordinary_weights",
    "quantile",
    "reading_likelihood",
    "reading_outcomes",
    "shift_grid",
    "shifted_likelihood",
    "shown_by",
    "spread_of",
    "spreads",
    "taken",
    "together",
    "unshifted_spreads",
    "without_limit",
]
