"""Posteriors by name: components, severities, and the chance of findings not looked at yet.

May import: knowledge_base, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.basics import ImpossibleEvidence, Place, TooLarge
from diag.inference import Array, Evidence, Posterior, infer, mixture
from diag.network.casenetwork import CaseNetwork
from diag.network.questions import Question
from diag.network.tables import levels_of
from diag.network.targets import Factor
from diag.network.views import FaultChance, LevelChance

__all__ = [
    "component_states",
    "cylinder_chances",
    "cylinders_of_all",
    "fault_chances",
    "finding_chances",
    "multiplied",
    "relative_probabilities",
    "severity_chances",
    "some_cases",
    "vehicle_severity_chances",
]


def component_states(network: CaseNetwork, posterior: Posterior, case: int = 0) -> dict[tuple[str, Place], Array]:
    """Probability of each state of every component as it stands now, `[state]`, by component and place."""
    found: dict[tuple[str, Place], Array] = {}
    for key in network.layout.versions:
        at = network.component_at(*key)
        if at is not None:
            found[key] = posterior.components[at[0]][at[1]][case]
        else:
            states = network.configuration_states(*key)
            count = len(network.knowledge.components[key[0]].states)
            weights = np.bincount(states, weights=posterior.configurations[case], minlength=count)
            found[key] = weights.astype(np.float64)
    return found


def cylinder_chances(network: CaseNetwork, posterior: Posterior, case: int = 0) -> dict[int, float]:
    """Probability that at least one component of a cylinder is at fault, by cylinder: one less that of 'all of them
    sound', jointly. `posterior` must be that of a batch done at once."""
    return {cylinder: float(chances[case]) for cylinder, chances in cylinders_of_all(network, posterior).items()}


def cylinders_of_all(network: CaseNetwork, posterior: Posterior) -> dict[int, Array]:
    """The same, `[case]`, of every case of the batch."""
    found = {}
    for cylinder in network.case.engine.cylinders:
        sound: dict[int, Array] = {}
        plate = -1
        for component, entry in network.knowledge.components.items():
            at = network.component_at(component, cylinder) if entry.per == "cylinder" and entry.fault else None
            if at is not None:
                plate = at[0]
                sound[at[1]] = np.eye(1, len(entry.states))
        chance = posterior.views[plate].chance([sound])[:, 0]
        found[cylinder] = np.clip(1.0 - chance, 0.0, 1.0)
    return found


def fault_chances(network: CaseNetwork, posterior: Posterior, case: int = 0) -> tuple[FaultChance, ...]:
    """Every unsound state of every component with its probability, likeliest first.

    Circumstances (`fault: false`) are among them, marked; what differs by rounding alone stays in the order of the
    knowledge.
    """
    found = [
        FaultChance(component_id, place, state, float(chance), network.knowledge.components[component_id].fault)
        for (component_id, place), chances in component_states(network, posterior, case).items()
        for state, chance in list(zip(levels_of(network.knowledge, component_id), chances, strict=True))[1:]
    ]
    return tuple(sorted(found, key=lambda fault: -round(fault.probability, 12)))


def severity_chances(network: CaseNetwork, posterior: Posterior, case: int = 0) -> tuple[LevelChance, ...]:
    """Every level of every severity of every cylinder, as it stands now."""
    return tuple(
        LevelChance(severity_id, cylinder, level, float(chance))
        for severity_id, severity in network.knowledge.severities.items()
        if severity.per == "cylinder"
        for cylinder in network.case.engine.cylinders
        for plate, axis in [network.severity_at(severity_id, cylinder)]
        for level, chance in zip(severity.levels, posterior.axes[plate][axis][case], strict=True)
    )


def vehicle_severity_chances(network: CaseNetwork) -> tuple[LevelChance, ...]:
    """Every level of every severity of the vehicle as it stands now, chained causes counted in.

    For each severity its levels are tried as evidence, and the probabilities of that compared.
    """
    found: list[LevelChance] = []
    for severity_id in network.targets.chain.nodes:
        levels = levels_of(network.knowledge, severity_id)
        version = network.current_version((severity_id, None))
        tried = Factor((severity_id, None), (version,), np.eye(len(levels)))
        chances = _relative(network, {Question(severity_id, None): tried}, len(levels))
        found += [LevelChance(severity_id, None, level, float(p)) for level, p in zip(levels, chances, strict=True)]
    return tuple(found)


def finding_chances(
    network: CaseNetwork, item: str, place: Place, condition: str | None = None
) -> Mapping[str, float] | None:
    """Predicted chance of each outcome of a finding or reading now; none where it is known or has no effect."""
    outlook = network.outcomes(item, place, condition)
    if outlook is None:
        return None
    evidence = multiplied(network.evidence, outlook.evidence)
    weights = relative_probabilities(network, evidence, len(outlook.names))
    found: dict[str, float] = {}
    for name, weight in zip(outlook.names, weights / weights.sum(), strict=True):
        found[name] = found.get(name, 0.0) + float(weight)
    return found


def _relative(network: CaseNetwork, tried: Mapping[Question, Factor], cases: int) -> Array:
    weights = relative_probabilities(network, network.with_factors(tried, cases), cases)
    return np.asarray(weights / weights.sum())


def multiplied(known: Evidence, added: Evidence) -> Evidence:
    """Two sets of evidence about one model, multiplied."""
    components = dict(known.components)
    for key, likelihood in added.components.items():
        components[key] = components[key] * likelihood if key in components else likelihood
    configured = (*known.configured, *added.configured)
    return Evidence(added.cases, components, (*known.axes, *added.axes), (*known.shared, *added.shared), configured)


def relative_probabilities(network: CaseNetwork, evidence: Evidence, cases: int) -> Array:
    """Probability of the evidence in each case, but for one common factor; impossible cases have none."""
    try:
        logs = _log_evidence(network, evidence)
    except ImpossibleEvidence as error:
        possible = [case for case in range(cases) if case not in error.cases]
        logs = np.full(cases, -np.inf)
        if not possible:
            raise
        logs[possible] = _log_evidence(network, some_cases(evidence, possible))
    return np.asarray(np.exp(logs - logs.max()))


def _log_evidence(network: CaseNetwork, evidence: Evidence) -> Array:
    """Logarithm of the probability of each case, without posteriors where that is precise enough."""
    nothing: list[tuple[Mapping[int, Array], ...]] = [({},)] * len(network.model.plates)
    try:
        return mixture(network.model, evidence, nothing).log_evidence
    except TooLarge:
        return infer(network.model, evidence).log_evidence


def some_cases(evidence: Evidence, cases: list[int]) -> Evidence:
    """Some cases of a batch."""

    def chosen(likelihood: Array) -> Array:
        return likelihood[cases] if likelihood.shape[0] > 1 else likelihood

    return Evidence(
        len(cases),
        {key: chosen(likelihood) for key, likelihood in evidence.components.items()},
        tuple((plate, axes, chosen(likelihood)) for plate, axes, likelihood in evidence.axes),
        tuple((axes, chosen(likelihood)) for axes, likelihood in evidence.shared),
        tuple((plate, axes, chosen(likelihood)) for plate, axes, likelihood in evidence.configured),
    )
