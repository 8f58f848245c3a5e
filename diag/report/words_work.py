"""Words of the work sheet and the estimate. May import: the standard library only."""

from __future__ import annotations

__all__ = ["STEPS"]

STEPS = {
    "wait": "{minutes:g} min",
    "wait_blank": "maker's value ____ (never less than 5 min)",
}
