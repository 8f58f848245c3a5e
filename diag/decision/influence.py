"""Value of information for a decision with one hidden variable: the checked core of the ranking of checks.

Only this core decides what an answer is worth; `checks` brings it costs of plans jointly with what is hidden.
May import: numpy, `diag.inference` (its array type).
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference import Array

__all__ = ["AnswerWorth", "answer_worth", "perfect_worth", "worth_alone"]


class AnswerWorth(Struct, frozen=True):
    """What hearing an answer is worth, before its own cost.

    `worth`: expected cost of the best decision now, less that after hearing. `now`: index of the best decision now.
    `chance[outcome]`, `best[outcome]`: the chance of each answer, and the best decision after it.
    `gain[outcome]`: cost saved by changing the decision, jointly with the outcome; they sum to the worth.
    """

    worth: float
    now: int
    chance: Array
    best: NDArray[np.intp]
    gain: Array


def answer_worth(joint_cost: Array, chance: Array, answers: Array, now: int | None = None) -> AnswerWorth:
    """Worth of an answer about a hidden variable.

    `joint_cost[decision, level]` is the expected cost of a decision jointly with the level (cost times chance of the
    level, where other things are hidden too), `chance[level]` its chance, `answers[outcome, level]` the chance of each
    answer. Raiffa (1968): sum over answers of [cost of the decision now - least cost], jointly with the answer. Each
    summand is at least zero, and exactly zero where the decision stays. Oil drilling in Shenoy (1992): 12.5.
    """
    joint_cost, answers = np.asarray(joint_cost, dtype=np.float64), np.asarray(answers, dtype=np.float64)
    stay = int(np.argmin(joint_cost.sum(axis=1))) if now is None else now
    costs = joint_cost @ answers.T  # [decision, outcome]
    best = np.argmin(costs, axis=0)
    best = np.where(costs[stay] <= costs[best, np.arange(costs.shape[1])], stay, best)
    gain = costs[stay] - costs[best, np.arange(costs.shape[1])]
    return AnswerWorth(float(gain.sum()), stay, answers @ np.asarray(chance), best, gain)


def worth_alone(joint_cost: Array, answers: Array, now: int) -> float:
    """The worth of `answer_worth` without anything else."""
    costs = joint_cost @ answers.T
    return float((costs[now] - costs.min(axis=0)).sum())


def perfect_worth(joint_cost: Array) -> float:
    """Worth of learning the level itself, an upper bound of any answer about it (Raiffa 1968): drilling 35."""
    costs = np.asarray(joint_cost, dtype=np.float64)
    return float(costs.sum(axis=1).min() - costs.min(axis=0).sum())
