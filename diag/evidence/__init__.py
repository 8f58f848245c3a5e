"""Answers and readings become likelihoods: of one finding over its versions, of one reading's hidden true value.

May import: numpy, `diag.casebook`, `diag.knowledge_base`, `diag.basics`. Units and fault codes are handed on from
`diag.casebook`, which needs them to read a case.
"""

from diag.casebook import code_of_cylinder, convert, cylinder_of_code, known_units
from diag.evidence.answers import answer_pattern, answer_ratio, decibans
from diag.evidence.distributions import Spread, cumulative, density, log_density, quantile, spread_of
from diag.evidence.outcomes import Outcomes, reading_outcomes
from diag.evidence.readings import ReadingLikelihood, instrument_error, reading_likelihood, without_limit

__all__ = [
    "Outcomes",
    "ReadingLikelihood",
    "Spread",
    "answer_pattern",
    "answer_ratio",
    "code_of_cylinder",
    "convert",
    "cumulative",
    "cylinder_of_code",
    "decibans",
    "density",
    "instrument_error",
    "known_units",
    "log_density",
    "quantile",
    "reading_likelihood",
    "reading_outcomes",
    "spread_of",
    "without_limit",
]
