"""What became of the rows of a log: each row has exactly one fate. May import: the standard library."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["USED", "ZONES", "Fate", "Zone"]


class Fate(IntEnum):
    """The fate of a row: first those that never were rows in time, then the zones of the engine."""

    REPEATED_HEADER = 0
    RAGGED = 1
    NO_TIME = 2
    DUPLICATE_TIME = 3
    BACKWARD_TIME = 4
    NO_SPEED = 5
    STANDING = 6
    COASTING = 7
    CRANKING_SHORT = 8
    CRANKING_LONG = 9
    CRANKING_INRUSH = 10
    CRANKING_USED = 11
    NEITHER = 12
    COLD = 13
    WARMTH_UNKNOWN = 14
    IDLE_SETTLING = 15
    IDLE_UNSTEADY = 16
    IDLE_FRAGMENT = 17
    IDLE_USED = 18
    LOAD_SETTLING = 19
    LOAD_FRAGMENT = 20
    LOAD_USED = 21


class Zone(IntEnum):
    """The stretches that count."""

    IDLE = 0
    CRANKING = 1
    LOAD = 2


USED = {Zone.IDLE: Fate.IDLE_USED, Zone.CRANKING: Fate.CRANKING_USED, Zone.LOAD: Fate.LOAD_USED}
ZONES = tuple(Zone)
