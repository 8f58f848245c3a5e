"""Where evidence about a finding goes: to a component, a local severity, the configuration or a vehicle severity.

May import: inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.inference import Array, Evidence
from diag.network.chain import Chain, SeverityEvidence
from diag.network.configurations import Configurations
from diag.network.instances import Key

__all__ = ["Factor", "Targets", "joined"]

Name = TypeVar("Name")


class Factor(Struct, frozen=True):
    """A likelihood about one component or severity: `likelihood[case or 1, level of each of versions ...]`.

    `by_node`: it depends on a shift that all cylinders share, or on their numbering: `likelihood[case or 1, node, level
    ...]`. `parts`: what it says of other cylinders, at the nodes at which it is theirs (at all others it is 1).
    """

    key: Key
    versions: tuple[int, ...]
    likelihood: Array
    by_node: bool = False
    parts: tuple[Factor, ...] = ()

    @property
    def whole(self) -> tuple[Factor, ...]:
        """This one, and what it says of other cylinders."""
        return (replace(self, parts=()), *self.parts) if self.parts else (self,)


class Targets(Struct, frozen=True):
    """Where in the model each thing stands.

    `components[key]` and `axes[key]` hold (plate, indices by version); `configuration_plate` is a plate with nothing
    but one component, always in its first state, on which evidence about the configuration is laid. `epochs[key]`
    holds the version of each component and severity by epoch. `elsewhere[component, version]`: (plate, index) of the
    state of one that an exchange took to another cylinder since.
    """

    components: Mapping[Key, tuple[int, tuple[int, ...]]]
    axes: Mapping[Key, tuple[int, tuple[int, ...]]]
    configurations: Configurations
    configuration_plate: int
    chain: Chain
    epochs: Mapping[Key, tuple[int, ...]]
    elsewhere: Mapping[tuple[Key, int], tuple[int, int]] = field(default_factory=dict)

    def component_at(self, key: Key, version: int) -> tuple[int, int]:
        """(plate, component) of one version of a component that is in `components`."""
        plate, index = self.components[key]
        return self.elsewhere.get((key, version), (plate, index[version]))

    def on(self, kept: NDArray[np.intp]) -> Targets:
        """For the model with only some of its configurations."""
        return replace(self, configurations=self.configurations.only(kept))

    def standing(self, key: Key) -> tuple[int, ...]:
        """The version of a component or severity in each epoch; of a vehicle severity with its chained causes."""
        return self.chain.nodes[key[0]].standing if key[0] in self.chain.nodes else self.epochs[key]

    def evidence(self, factors: Iterable[Factor], cases: int = 1) -> Evidence:
        """All factors as evidence for inference. Their case axes are 1 or `cases` long."""
        components: dict[tuple[int, int], Array] = {}
        axes: list[tuple[int, tuple[int, ...], Array]] = []
        configured: list[tuple[int, tuple[int, ...], Array]] = []
        told: list[SeverityEvidence] = []
        for factor in (part for each in factors for part in each.whole):
            if factor.key[0] in self.chain.nodes:
                told.append(SeverityEvidence(factor.key[0], factor.versions, factor.likelihood))
            elif factor.key not in self.components and factor.key not in self.axes:
                _multiply(components, (self.configuration_plate, 0), self._on_configuration(factor))
            elif len(factor.versions) == 1 and factor.key in self.components:
                likelihood = self._by_configuration(factor) if factor.by_node else factor.likelihood[:, np.newaxis]
                _multiply(components, self.component_at(factor.key, factor.versions[0]), likelihood)
            else:
                plate, index = self.axes[factor.key]
                likelihood = self._by_configuration(factor) if factor.by_node else factor.likelihood
                named = (plate, tuple(index[version] for version in factor.versions), likelihood)
                (configured if factor.by_node else axes).append(named)
        return Evidence(cases, components, joined(axes), self.chain.effective(told), joined(configured))

    def _by_configuration(self, factor: Factor) -> Array:
        """A factor by node as `[case or 1, configuration, level ...]`."""
        return np.take(factor.likelihood, self.configurations.nodes, axis=1)

    def _on_configuration(self, factor: Factor) -> Array:
        """A factor about a shared cause that reaches into cylinders: `[case or 1, configuration, state]`, alike for
        both states of the component that carries it."""
        cases = np.arange(len(factor.likelihood))[:, np.newaxis]
        columns = [self.configurations.column(factor.key, version) for version in factor.versions]
        by_configuration = factor.likelihood[(cases, *columns)]
        return np.repeat(by_configuration[:, :, np.newaxis], 2, axis=2)


def joined(axes: list[tuple[int, tuple[int, ...], Array]]) -> tuple[tuple[int, tuple[int, ...], Array], ...]:
    """Likelihoods of the same axes multiplied, so that each set of axes is named once."""
    found: dict[tuple[int, tuple[int, ...]], Array] = {}
    for plate, names, likelihood in axes:
        _multiply(found, (plate, names), likelihood)
    return tuple((plate, names, likelihood) for (plate, names), likelihood in found.items())


def _multiply(found: dict[Name, Array], key: Name, likelihood: Array) -> None:
    found[key] = found[key] * likelihood if key in found else likelihood
