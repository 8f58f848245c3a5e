"""How long the property tests search: short and repeatable by default, long and random with `DIAG_TESTS=long`.

May import: hypothesis.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

__all__ = ["LONG", "effort"]

LONG = os.environ.get("DIAG_TESTS", "") == "long"
LONG_FACTOR = 25


def effort(examples: int) -> settings:
    """Settings for a property test: `examples` tries with a fixed seed, or 25 times as many with fresh ones."""
    return settings(
        max_examples=examples * LONG_FACTOR if LONG else examples,
        deadline=None,
        derandomize=not LONG,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
        report_multiple_bugs=False,
    )
