"""What the network says of single things, in records. May import: inference, basics, numpy."""

from __future__ import annotations

from msgspec import Struct

from diag.basics import Place
from diag.inference import Array, Evidence

__all__ = ["CurrentLife", "FaultChance", "LevelChance", "Outlook"]


class CurrentLife(Struct, frozen=True):
    """The Weibull life of a component as it stands: `scale[configuration]` and `used` in kilometres or years.

    What is sound now still holds after a further stretch s with the chance
    exp((used/scale)^shape - ((used + s)/scale)^shape) (Weibull 1951, conditional survival).
    """

    clock: str
    shape: float
    scale: Array
    used: float


class Outlook(Struct, frozen=True):
    """What a question could still bring: `names[outcome]`, and evidence with one case an outcome (see `outcomes`)."""

    names: tuple[str, ...]
    evidence: Evidence


class FaultChance(Struct, frozen=True):
    """How likely a component at a place is in a state now. `fault`: whether that state is something to mend."""

    component: str
    place: Place
    state: str
    probability: float
    fault: bool


class LevelChance(Struct, frozen=True):
    """How likely a severity is at a level now."""

    severity: str
    place: Place
    level: str
    probability: float
