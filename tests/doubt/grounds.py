"""Demo cases made ready to be doubted, once for all tests. May import: `diag` through its doors."""

from __future__ import annotations

from functools import cache

from diag.casebook import demo_cases, load_case
from diag.doubt import Ground, ground_of
from diag.knowledge_base import Knowledge, load_knowledge

__all__ = ["ground", "knowledge"]


@cache
def knowledge() -> Knowledge:
    """What ships."""
    return load_knowledge()


@cache
def ground(name: str) -> Ground:
    """A demo case by name."""
    return ground_of(knowledge(), load_case(demo_cases()[name], knowledge()))
