"""The sizes that decide how fast an engine's cases are computed. May import: within the room `records`."""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

from diag.knowledge_base.records import Engine, Knowledge

__all__ = ["Sizes", "sizes_of"]


@dataclass(frozen=True)
class Sizes:
    """What the cost of an answer grows with, for one engine.

    `configurations`: joint states of the shared causes that reach into cylinders (those of zero chance count too).
    `local_states`: joint levels of one cylinder's severities which reach vehicle severities.
    `component_states`: joint states of one cylinder's components, which are never enumerated.
    `shared_severities`: those of the vehicle that cylinders or components cause directly; `shared_levels`: the product
    of their levels. `shared_symptoms`: findings and readings of the vehicle.
    """

    engine: str
    cylinders: int
    configurations: int
    local_states: int
    component_states: int
    shared_severities: int
    shared_levels: int
    shared_symptoms: int


def sizes_of(knowledge: Knowledge, engine_id: str, engine: Engine) -> Sizes:
    """The sizes of one engine under this knowledge."""
    components, severities = knowledge.components, knowledge.severities
    vehicle = {name: one for name, one in severities.items() if one.per == "vehicle"}
    speaking = {cause for one in vehicle.values() for cause in one.causes if cause in severities}
    direct = [one for one in vehicle.values() if not set(one.causes) <= set(vehicle)]
    reaching = [one for one in components.values() if one.reaches_cylinders]
    vehicle_components = {name for name, one in components.items() if one.per == "vehicle"}
    shows = [finding.shows for finding in knowledge.findings.values()]
    shows += [reading.shows for reading in knowledge.readings.values()]
    return Sizes(
        engine=engine_id,
        cylinders=len(engine.cylinders),
        configurations=prod(len(one.states) ** (len(engine.banks) if one.per == "bank" else 1) for one in reaching),
        local_states=prod(
            len(severities[name].levels) for name in severities if name in speaking and name not in vehicle
        ),
        component_states=prod(len(one.states) for one in components.values() if one.per == "cylinder"),
        shared_severities=len(direct),
        shared_levels=prod(len(one.levels) for one in direct),
        shared_symptoms=sum(name in vehicle or name in vehicle_components for name in shows),
    )
