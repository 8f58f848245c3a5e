"""A row of a table of statements, and the crossing of a table with engines. May import: `tests.sense`, pytest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from tests.sense.asking import NOTHING, ask
from tests.sense.claims import Claim

if TYPE_CHECKING:
    from _pytest.mark import ParameterSet

__all__ = ["DESIGN", "MEMORY", "PRACTICE", "Statement", "crossed"]

PRACTICE = "common practice, no source"
MEMORY = "from memory, no source"
DESIGN = "what the project asks of itself"


@dataclass(frozen=True)
class Statement:
    """A sentence of the trade. `claims` hold of the case `told` on each engine, compared with `before` where they
    compare (nothing told but engine, age and distance, unless another case is given)."""

    says: str
    engines: tuple[str, ...]
    told: str
    claims: tuple[Claim, ...]
    before: str = NOTHING
    source: str = PRACTICE

    def complaints(self, engine: str) -> list[str]:
        """What does not hold on this engine, with the numbers."""
        asked, before = ask(engine, self.told), ask(engine, self.before)
        return [complaint for complaint in (claim(asked, before) for claim in self.claims) if complaint]


def crossed(table: Sequence[Statement]) -> list[ParameterSet]:
    """Every statement with each of its engines, named by its sentence and the engine."""
    return [
        pytest.param(statement, engine, id=f"{statement.says} [{engine}]")
        for statement in table
        for engine in statement.engines
    ]
