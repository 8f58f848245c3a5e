"""The model that is inferred upon, and the evidence about it: arrays only, nothing of engines.

A model is a set of *plates* that are independent once the *configuration* (the joint state of the few shared causes
that reach into plates) is known, and of *shared severities*, each the noisy maximum (Henrion 1989; Díez 1993) of what
the plates contribute. Within a plate, components contribute to local severities, again by noisy maximum.

Everything that was renewed within a case has versions: a component's versions are components of their own, a local
severity's versions are axes of their own, and a shared severity has `versions` axes. What was not renewed is the same
variable in all versions, so that its noise persists (Breese & Heckerman 1996). Contributions of two versions of one
local severity to two versions of one shared severity share one uniform variable (they are comonotone).

Records that hold arrays are compared and cached by identity. May import: numpy.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

__all__ = [
    "Array",
    "Axis",
    "Component",
    "Emission",
    "Evidence",
    "Link",
    "Model",
    "Plate",
    "SharedAxis",
    "SharedSeverity",
]

Array = NDArray[np.float64]
SharedAxis = tuple[int, int]  # (index of the shared severity, version)


class Axis(Struct, frozen=True):
    """A version of a local severity: its name and its number of levels (level 0 is 'nothing')."""

    name: str
    levels: int


class Link(Struct, frozen=True, eq=False, weakref=True):
    """What a component contributes to one local severity: `table[configuration or 1, state, level]`, rows sum to 1.

    `axes`: the axes (versions of that severity) which receive this one contribution; all receive the same level. Where
    several links of one component reach an axis, the largest level stands.
    """

    axes: tuple[int, ...]
    table: Array


class Component(Struct, frozen=True, eq=False, weakref=True):
    """A component with its prior `[configuration or 1, state]` and its links.

    State 0 is sound. A shared cause's contribution, or a background, is a component of one state.

    A *view* (`base` names another component of the plate, before it) is that component with some states told alike:
    `seen[state of the base]` is the state seen; it has no links, and its prior serves for the number of its states
    only. A component whose history has several versions is one base and a view for each version. Evidence, factors and
    posteriors may speak of views as of any component.
    """

    name: str
    prior: Array
    links: tuple[Link, ...] = ()
    base: int | None = None
    seen: tuple[int, ...] = ()

    @property
    def nbytes(self) -> int:
        """Bytes of its numbers."""
        return self.prior.nbytes + sum(link.table.nbytes for link in self.links)

    def widened(self, by_state: Array) -> Array:
        """From the states seen (last axis) to the states of the base."""
        return by_state[..., list(self.seen)]

    def narrowed(self, by_base_state: Array) -> Array:
        """Sums over the states of the base (last axis) that are seen alike."""
        result = np.zeros((*by_base_state.shape[:-1], self.prior.shape[1]))
        for state, seen in enumerate(self.seen):
            result[..., seen] += by_base_state[..., state]
        return result


class Emission(Struct, frozen=True, eq=False):
    """What a local severity contributes to a shared one: `table[local level, shared level]`, rows sum to 1.

    `axes[version]` is the local axis that speaks in that version of the shared severity.
    """

    shared: int
    axes: tuple[int, ...]
    table: Array


class Plate(Struct, frozen=True, eq=False, weakref=True):
    """A block of components (a cylinder, or one shared component) that meets others only in shared severities."""

    name: str
    components: tuple[Component, ...]
    axes: tuple[Axis, ...] = ()
    emissions: tuple[Emission, ...] = ()


class SharedSeverity(Struct, frozen=True, eq=False):
    """A noisy maximum over plates, and over `backgrounds`: independent contributions from outside the plates.

    Each background is `[version, configuration or 1, level]`; its contributions to several versions are comonotone.
    """

    name: str
    levels: int
    versions: int = 1
    backgrounds: tuple[Array, ...] = ()


class Model(Struct, frozen=True, eq=False):
    """Plates, shared severities, and the prior over configurations `[configuration]`, which sums to 1."""

    configurations: Array
    plates: tuple[Plate, ...]
    shared: tuple[SharedSeverity, ...]


class Evidence(Struct, frozen=True):
    """A batch of evidence sets: likelihoods, multiplied where several name one variable; what is not named is unknown.

    `components[plate, component]`: `[case or 1, configuration or 1, state]`.
    `axes`: pairs of (plate, axes) and a likelihood `[case or 1, level, ...]`, one level axis for each named axis.
    `shared`: pairs of shared axes and a likelihood `[case or 1, level, ...]`; sets of axes may overlap.
    `configured`: as `axes`, with a likelihood `[case or 1, configuration, level, ...]` for each configuration.
    """

    cases: int = 1
    components: dict[tuple[int, int], Array] = field(default_factory=dict)
    axes: tuple[tuple[int, tuple[int, ...], Array], ...] = ()
    shared: tuple[tuple[tuple[SharedAxis, ...], Array], ...] = ()
    configured: tuple[tuple[int, tuple[int, ...], Array], ...] = ()

    @property
    def heard(self) -> frozenset[SharedAxis]:
        """The versions of shared severities of which something is told."""
        return frozenset(axis for axes, _ in self.shared for axis in axes)
