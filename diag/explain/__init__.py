"""Why: weights of evidence for a fault and against its rival, and what the advice rests on. Exact by the model.

All numbers are the engine's and the decision's own, asked again on parts of what was told.
May import: decision, network, casebook, knowledge_base, inference, basics, and numpy.
"""

from diag.explain.advising import AdviceReasons, AnswerWorth, PartDifference, TurningAnswer, explain_advice
from diag.explain.faults import Fault, fault_from_words, leading_fault
from diag.explain.reasons import Contrast, Course, Neighbours, Reasons, explain
from diag.explain.weights import DECIBANS, Weights, chance_of, weigh_in_order

__all__ = [
    "DECIBANS",
    "AdviceReasons",
    "AnswerWorth",
    "Contrast",
    "Course",
    "Fault",
    "Neighbours",
    "PartDifference",
    "Reasons",
    "TurningAnswer",
    "Weights",
    "chance_of",
    "explain",
    "explain_advice",
    "fault_from_words",
    "leading_fault",
    "weigh_in_order",
]
