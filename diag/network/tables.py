"""From the figures of the knowledge to tables of probabilities. May import: knowledge_base, basics, numpy."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial

import numpy as np

from diag.basics import DiagError
from diag.inference import Array
from diag.knowledge_base import Figure, Knowledge

__all__ = ["cause_table", "contribution", "levels_of"]


def levels_of(knowledge: Knowledge, node_id: str) -> tuple[str, ...]:
    """The levels of a severity or the states of a component, the sound one first."""
    if node_id in knowledge.severities:
        return knowledge.severities[node_id].levels
    return tuple(knowledge.components[node_id].states)


def contribution(chances: Mapping[str, Figure], levels: Sequence[str], where: str) -> Array:
    """A row `[level]`: the chances named, the first level taking the rest; sums to 1 exactly as far as floats can.

    Raises DiagError where the chances come to more than 1; `where` says whose they are.
    """
    return np.array(_row(chances, levels, lambda: where))


def _row(chances: Mapping[str, Figure], levels: Sequence[str], where: Callable[[], str]) -> list[float]:
    above = [chances[level].value if level in chances else 0.0 for level in levels[1:]]
    total = math.fsum(above)
    if total > 1 + 1e-9:
        raise DiagError(
            f"the chances of {where()} come to {total:.3g}, which is more than 1; lower them in the knowledge"
        )
    return [max(0.0, 1.0 - total), *above]


def cause_table(knowledge: Knowledge, severity_id: str, cause_id: str) -> Array:
    """What a cause contributes to a severity: `table[state or level of the cause, level of the severity]`."""
    severity = knowledge.severities[severity_id]
    by_state = severity.causes[cause_id]
    rows = []
    for state in levels_of(knowledge, cause_id):
        where = partial("'{}' {} for '{}'".format, cause_id, state, severity_id)  # said in an error alone
        rows.append(_row(by_state.get(state, {}), severity.levels, where))
    return np.array(rows)
