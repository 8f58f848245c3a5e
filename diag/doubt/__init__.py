"""Doubt: where another option begins to win, whether the advice stands when the numbers are drawn again, and which
numbers matter most. Every total is the decision's own, reckoned again.
May import: decision, network, casebook, knowledge_base, inference, basics, and numpy.
"""

from diag.doubt.axes import Axis, break_even_along, fault_axis, number_axis
from diag.doubt.breaking import BreakEven, Crossing, Turn, break_even
from diag.doubt.curves import Curve, Sample, trace
from diag.doubt.ground import Ground, Work, ground_of, suspects_of
from diag.doubt.laws import draw, draw_row, spread_of
from diag.doubt.mattering import Influence, Mattering, influences, lead_of, log_odds, mattering_of
from diag.doubt.numbers import Number, bearing_numbers, drawn_numbers, number_at
from diag.doubt.standing import Drawn, Standing, Winner, stand, standing_of
from diag.doubt.summary import Doubt, Line, doubt
from diag.doubt.workers import default_workers

__all__ = [
    "Axis",
    "BreakEven",
    "Crossing",
    "Curve",
    "Doubt",
    "Drawn",
    "Ground",
    "Influence",
    "Line",
    "Mattering",
    "Number",
    "Sample",
    "Standing",
    "Turn",
    "Winner",
    "Work",
    "bearing_numbers",
    "break_even",
    "break_even_along",
    "default_workers",
    "doubt",
    "draw",
    "draw_row",
    "drawn_numbers",
    "fault_axis",
    "ground_of",
    "influences",
    "lead_of",
    "log_odds",
    "mattering_of",
    "number_at",
    "number_axis",
    "spread_of",
    "stand",
    "standing_of",
    "suspects_of",
    "trace",
]
