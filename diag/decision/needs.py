"""What this room needs to know of a case's network, as protocols that `diag.network.CaseNetwork` satisfies.

Tests satisfy them with small fakes. May import: `diag.basics`, `diag.inference`, numpy.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.inference import Array, Evidence, Model

__all__ = ["LifeView", "NetworkView", "OutcomesView"]


class LifeView(Protocol):
    """The Weibull life of one component as it stands now.

    `clock` is 'distance' (kilometres) or 'age' (years); `used` since it was renewed and `scale[configuration]` are in
    the clock's unit. What is sound now still holds after a further stretch s with the chance
    exp((used/scale)^shape - ((used + s)/scale)^shape).
    """

    @property
    def clock(self) -> str:
        """Distance or age."""
        ...

    @property
    def shape(self) -> float:
        """Weibull shape."""
        ...

    @property
    def scale(self) -> Array:
        """`[configuration]`, in the unit of the clock."""
        ...

    @property
    def used(self) -> float:
        """Since it was renewed, in the unit of the clock."""
        ...


class OutcomesView(Protocol):
    """All answers that one finding, or representative values that one reading, could still bring.

    `names[outcome]` in words ('present', 'absent', '2.5 mg/stroke'); `evidence` has one case an outcome and holds only
    what the answer adds to the network's own evidence: exactly one likelihood (on a component, on axes of one plate,
    or on shared axes), which sums to 1 over the outcomes in every cell that is possible.
    """

    @property
    def names(self) -> tuple[str, ...]:
        """Each outcome in words."""
        ...

    @property
    def evidence(self) -> Evidence:
        """What is told."""
        ...


class NetworkView(Protocol):
    """The model of one case with everything told so far, and where its things are, in their current versions."""

    @property
    def model(self) -> Model:
        """Plates, shared severities and configurations."""
        ...

    @property
    def evidence(self) -> Evidence:
        """What is told."""
        ...

    def component_at(self, component: str, place: Place) -> tuple[int, int] | None:
        """(plate, component) of a component at a place; none for one that is part of the configuration."""
        ...

    def configuration_states(self, component: str, place: Place) -> NDArray[np.int64]:
        """`[configuration]`: the state of a shared cause that reaches into cylinders."""
        ...

    def severity_at(self, severity: str, cylinder: int) -> tuple[int, int]:
        """(plate, axis) of a cylinder's severity."""
        ...

    def fresh(self, component: str, place: Place, mended: bool = False) -> Array:
        """`[configuration or 1, state]`: chances just after it was renewed (`[1, state]` in the configuration);
        `mended`: where shared faults are sound by then, whatever the configuration."""
        ...

    def disturbed(self, component: str, place: Place) -> Array:
        """`[configuration or 1, state]`: chances of one that was sound, just after other work disturbed it."""
        ...

    def life(self, component: str, place: Place) -> LifeView | None:
        """The life of a component as it stands; none where the knowledge gives it none."""
        ...

    def years_in_use(self, component: str, place: Place) -> float:
        """Years since it was renewed, or since the vehicle was new."""
        ...

    def outcomes(self, item: str, place: Place, condition: str | None) -> OutcomesView | None:
        """What a finding or reading could still bring; none where it is known already and would tell nothing new."""
        ...

    def outcomes_together(self, asked: Sequence[tuple[str, Place, str | None]]) -> OutcomesView | None:
        """The same of several questions at once, as far as each could bring something: one case for each joint outcome.
        They are about one finding under several conditions, or about linked severities of the whole vehicle."""
        ...
