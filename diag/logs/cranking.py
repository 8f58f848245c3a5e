"""Finds the attempts of the starter in a portion of rows.

May import: numpy, and within the room `cells`, `fates`, `rows`, `rules`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.logs.cells import Array
from diag.logs.fates import Fate
from diag.logs.rows import Rows
from diag.logs.rules import Rules

__all__ = ["Attempt", "Before", "find_attempts", "last_of"]


@dataclass(frozen=True)
class Before:
    """The last row with a speed before the portion."""

    speed: float = float("nan")
    elapsed: float = float("-inf")
    recording: int = -1


@dataclass(frozen=True)
class Attempt:
    """Rows between the speeds of cranking, one after the other: `index[row]`, what they are, whether they go on."""

    index: NDArray[np.int64]
    fate: Fate  # of rows that are not within the inrush
    open: bool


def last_of(rows: Rows, count: int, before: Before) -> Before:
    """The last row with a speed among the first `count`, else the one before."""
    speed = rows.of("speed")[:count]
    known = np.flatnonzero(~np.isnan(speed))
    if not len(known):
        return before
    at = int(known[-1])
    return Before(float(speed[at]), float(rows.elapsed[at]), int(rows.recording[at]))


def find_attempts(rows: Rows, rules: Rules, before: Before, final: bool) -> list[Attempt]:
    """Every run of rows with a cranking speed, judged by where it comes from and how long it lasts.

    From above: the engine coasts to a stop. From where nobody saw: only if it lasts longer than coasting would.
    """
    speed = rows.of("speed")
    known = np.flatnonzero(~np.isnan(speed))
    inside = (speed[known] >= rules.cranking_from) & (speed[known] <= rules.cranking_to)
    if not inside.any():
        return []
    elapsed, recording = rows.elapsed[known], rows.recording[known]
    joined = _joined(elapsed, recording, before, rules.bridge)
    previous = np.concatenate([[before.speed], speed[known][:-1]])
    previous[~joined] = np.nan
    was_inside = np.concatenate([[False], inside[:-1]]) & joined
    starts = np.flatnonzero(inside & ~was_inside)
    ends = np.append(starts[1:], len(known))
    found = []
    for start, limit in zip(starts.tolist(), ends.tolist(), strict=True):
        out = np.flatnonzero(~inside[start:limit] | ~np.concatenate([[True], joined[start + 1 : limit]]))
        stop = start + int(out[0]) if len(out) else limit
        lasts = float(elapsed[stop - 1] - elapsed[start])
        is_open = stop == len(known) and not final
        found.append(Attempt(known[start:stop], _judge(float(previous[start]), lasts, rules), is_open))
    return found


def _joined(elapsed: Array, recording: NDArray[np.int64], before: Before, bridge: float) -> NDArray[np.bool_]:
    """Whether each row follows the one before it without a gap."""
    since = elapsed - np.concatenate([[before.elapsed], elapsed[:-1]])
    same = recording == np.concatenate([[before.recording], recording[:-1]])
    return np.asarray(same & (since <= bridge))


def _judge(previous: float, lasts: float, rules: Rules) -> Fate:
    if lasts >= rules.cranking_most or rules.cranking_from <= previous <= rules.cranking_to:
        return Fate.CRANKING_LONG  # the second: what went before was too long already
    if previous > rules.cranking_to:
        return Fate.COASTING
    if np.isnan(previous) and lasts <= rules.coasting_most:
        return Fate.CRANKING_SHORT
    return Fate.CRANKING_SHORT if lasts < rules.cranking_least else Fate.CRANKING_USED
