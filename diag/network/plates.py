"""The plates of a case: one for each cylinder, one for each other component that does not reach into cylinders.

A cylinder's plate has its components (a version is a component of its own), the versions of its severities as axes,
and one component of a single state, 'outside', for what shared causes and the background contribute to them. Any
other component is a plate whose one axis is the component's own state. May import: knowledge_base, casebook,
inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import msgspec
import numpy as np
from msgspec import Struct

from diag.basics import Place
from diag.casebook import Case
from diag.inference import Array, Axis, Component, Emission, Link, Plate
from diag.knowledge_base import Knowledge
from diag.network.ages import Origin, origin_of
from diag.network.configurations import Configurations
from diag.network.exchanged import Part, Stay, Traveller
from diag.network.histories import History
from diag.network.instances import Key, Versions, numbered, places_of
from diag.network.priors import chances, reaching_places
from diag.network.tables import cause_table, contribution

__all__ = [
    "BuiltPlate",
    "Layout",
    "chances_by_configuration",
    "cylinder_plate",
    "direct_causes",
    "lone_plate",
    "severity_epochs",
    "traveller_prior",
]


class Reached(Struct, frozen=True):
    """Which axes things reach, whatever their numbers: as far as it was worked out for a case."""

    version: dict[tuple[Key, int], tuple[tuple[str | None, tuple[int, ...]], ...]] = msgspec.field(default_factory=dict)
    outside: dict[Key, tuple[tuple[Key, int, tuple[int, ...]], ...]] = msgspec.field(default_factory=dict)
    emissions: dict[object, tuple[tuple[int, tuple[int, ...], str, str], ...]] = msgspec.field(default_factory=dict)
    speaking: dict[str, bool] = msgspec.field(default_factory=dict)


@dataclass(frozen=True)
class Layout:
    """Everything that building a plate needs to know about the case."""

    knowledge: Knowledge
    case: Case
    versions: Mapping[Key, Versions]
    severities: Mapping[Key, tuple[int, ...]]  # version of a severity (a vehicle's: of its direct maximum) by epoch
    configurations: Configurations
    travellers: tuple[Traveller, ...] = ()  # in the order of the configurations' classes
    asked_again: frozenset[Key] = frozenset()  # components of several versions which were asked after in an older one
    fresh_tables: dict[tuple[str, Place, bool], Array] = field(default_factory=dict, compare=False, repr=False)
    fresh_origins: dict[str, Origin] = field(default_factory=dict, compare=False, repr=False)
    disturbed_tables: dict[str, Array] = field(default_factory=dict, compare=False, repr=False)
    _tables: dict[tuple[str, str], Array] = field(default_factory=dict, compare=False, repr=False)
    reached: Reached = field(default_factory=lambda: Reached(), compare=False, repr=False)

    def stands_as(self, other: Layout) -> bool:
        """Whether the plates of both are the same; where work was done or told of: no, without looking closer."""
        return (
            self.knowledge is other.knowledge
            and _alike(self.case, other.case)
            and self.versions == other.versions
            and self.severities == other.severities
            and self.asked_again == other.asked_again
            and self.configurations.same(other.configurations)
            and not (self.travellers or other.travellers)
        )

    def table(self, severity_id: str, cause_id: str) -> Array:
        """What a cause contributes to a severity: `table[state or level of the cause, level of the severity]`."""
        if (severity_id, cause_id) not in self._tables:
            self._tables[severity_id, cause_id] = cause_table(self.knowledge, severity_id, cause_id)
        return self._tables[severity_id, cause_id]


def _alike(one: Case, other: Case) -> bool:
    """Whether two cases are of one age on one engine, and nothing was done to either."""
    untouched = not any(each.history or any(epoch.work for epoch in each.epochs) for each in (one, other))
    ages = [(each.distance_km, each.age_years) for each in (one, other)]
    return one.engine is other.engine and ages[0] == ages[1] and untouched


class _Parts(Struct):
    """A plate in the making."""

    components: list[Component] = msgspec.field(default_factory=list)
    axes: list[Axis] = msgspec.field(default_factory=list)
    component_index: dict[Key, tuple[int, ...]] = msgspec.field(default_factory=dict)
    axis_index: dict[Key, tuple[int, ...]] = msgspec.field(default_factory=dict)
    elsewhere: dict[tuple[Key, int], int] = msgspec.field(default_factory=dict)

    def add_axes(self, key: Key, name: str, levels: int, versions: int) -> None:
        first = len(self.axes)
        self.axis_index[key] = tuple(range(first, first + versions))
        self.axes.extend(Axis(name if versions == 1 else f"{name}, version {v + 1}", levels) for v in range(versions))


class BuiltPlate(Struct, frozen=True):
    """A plate, and where in it each component and each severity (or state of a component) stands, by version.

    `elsewhere[component, version]`: the component that holds the state of one which was in another cylinder then.
    """

    plate: Plate
    component_index: Mapping[Key, tuple[int, ...]]
    axis_index: Mapping[Key, tuple[int, ...]]
    elsewhere: Mapping[tuple[Key, int], int] = msgspec.field(default_factory=dict)


def severity_epochs(knowledge: Knowledge, case: Case, versions: Mapping[Key, Versions]) -> dict[Key, tuple[int, ...]]:
    """Which version of each severity stands in which epoch; a vehicle's without its chained causes."""
    found: dict[Key, tuple[int, ...]] = {}
    in_order = sorted(knowledge.severities.items(), key=lambda item: item[1].per != "cylinder")
    for severity_id, severity in in_order:
        for place in places_of(severity.per, case.engine):
            causes = [
                versions[key].by_epoch if key in versions else found[key]
                for key in direct_causes(knowledge, case, severity_id, place)
            ]
            found[severity_id, place] = numbered(causes, len(case.epochs))
    return {
        (name, place): found[name, place] for name in knowledge.severities for place in _places(knowledge, case, name)
    }


def _places(knowledge: Knowledge, case: Case, severity_id: str) -> tuple[Place, ...]:
    return places_of(knowledge.severities[severity_id].per, case.engine)


def direct_causes(knowledge: Knowledge, case: Case, severity_id: str, place: Place) -> list[Key]:
    """The components and cylinder severities that cause a severity at a place; other vehicle severities left out."""
    keys: list[Key] = []
    for cause_id in knowledge.severities[severity_id].causes:
        component, severity = knowledge.components.get(cause_id), knowledge.severities.get(cause_id)
        if component is not None and component.per != "cylinder":
            keys.extend((cause_id, reach) for reach in reaching_places(component, place, case.engine))
        elif component is not None or (severity is not None and severity.per == "cylinder"):
            keys.extend((cause_id, each) for each in case.engine.cylinders if place in (None, each))
    return keys


def component_prior(layout: Layout, key: Key, version: int) -> Array:
    """Chance of each state of one version: `[configuration or 1, state]`."""
    known = layout.versions[key].versions[version]
    origin = origin_of(layout.knowledge, layout.case, *key, known)
    return chances_by_configuration(layout, key, origin, known.since)


def chances_by_configuration(
    layout: Layout, key: Key, origin: Origin, epoch: int, mended: Collection[str] = ()
) -> Array:
    """Chance of each state of something of this origin in an epoch: `[configuration or 1, state]`. Shared causes that
    are `mended` are taken to be sound in each configuration."""
    component = layout.knowledge.components[key[0]]
    causes = {*component.given, *(component.life.scale_under if component.life else ())}
    configurations = layout.configurations
    relevant = configurations.standing(epoch, layout.versions, causes)
    if not relevant:
        return np.array([chances(layout.knowledge, layout.case.engine, *key, origin, {})])
    kinds, kind_of = configurations.kinds(relevant)
    rows = []
    for kind in kinds:
        told = zip([configurations.variables[index] for index in relevant], kind, strict=True)
        state_of = {one.key: one.states[0 if one.key[0] in mended else state] for one, state in told}
        rows.append(chances(layout.knowledge, layout.case.engine, *key, origin, state_of))
    return np.array(rows)[kind_of] if len(set(rows)) > 1 else np.array(rows[:1])


def traveller_prior(layout: Layout, traveller: Traveller) -> Array:
    """Chance of each joint history of a traveller, before anything was told: `[configuration or 1, history]`."""
    result = np.ones((1, 1))
    for part in traveller.parts:
        root = part.stays[0]
        first = component_prior(layout, root.key, root.version)
        alone = History.of(first, _disturbed(layout, root.key), part.phases).prior
        result = (result[:, :, np.newaxis] * alone[:, np.newaxis, :]).reshape(max(len(result), len(alone)), -1)
    return result


def cylinder_plate(layout: Layout, cylinder: int, shared: Mapping[str, int]) -> BuiltPlate:
    """The plate of one cylinder; `shared` numbers the vehicle severities."""
    knowledge, parts = layout.knowledge, _Parts()
    own = [key for key in layout.versions if key[1] == cylinder and isinstance(key[1], int)]
    for severity_id, severity in knowledge.severities.items():
        if severity.per == "cylinder":
            count = max(layout.severities[severity_id, cylinder]) + 1
            parts.add_axes((severity_id, cylinder), severity.name, len(severity.levels), count)
    for key in own:
        if key in layout.asked_again or _speaks_itself(layout, key[0]):
            component = knowledge.components[key[0]]
            parts.add_axes(key, component.name, len(component.states), len(layout.versions[key]))
    at_home = _add_travellers(layout, parts, cylinder)
    for key in own:
        _add_component(layout, parts, key, at_home)
    for number, links in enumerate(_outside(layout, parts, cylinder)):
        name = "outside" if number == 0 else f"outside, part {number + 1}"
        parts.components.append(Component(name, np.ones((1, 1)), links))
    emissions = _emissions(layout, parts, shared)
    plate = Plate(f"cylinder {cylinder}", tuple(parts.components), tuple(parts.axes), emissions)
    return BuiltPlate(plate, parts.component_index, parts.axis_index, parts.elsewhere)


def lone_plate(layout: Layout, key: Key, shared: Mapping[str, int]) -> BuiltPlate:
    """The plate of one vehicle or bank component, whose axis is its own state."""
    component, parts = layout.knowledge.components[key[0]], _Parts()
    parts.add_axes(key, component.name, len(component.states), len(layout.versions[key]))
    _add_component(layout, parts, key, {})
    name = component.name if key[1] is None else f"{component.name} of bank {key[1]}"
    plate = Plate(name, tuple(parts.components), tuple(parts.axes), _emissions(layout, parts, shared))
    return BuiltPlate(plate, parts.component_index, parts.axis_index)


def _speaks_itself(layout: Layout, component_id: str) -> bool:
    """Whether a cylinder's component causes a severity of the vehicle without a severity of the cylinder between."""
    known = layout.reached.speaking
    if component_id not in known:
        severities = layout.knowledge.severities.values()
        known[component_id] = any(each.per == "vehicle" and component_id in each.causes for each in severities)
    return known[component_id]


def _add_travellers(layout: Layout, parts: _Parts, cylinder: int) -> dict[Stay, int]:
    """Add what an exchange brought to this cylinder or took from it; the index of each such version's component.

    At home a traveller is one base over the joint histories of its parts, with a view for each version, those elsewhere
    included. In the plate elsewhere its state is not held, save where it must be known there: then its class says it.
    What it gives to the severities that were heard elsewhere is its class's, and comes from outside.
    """
    found: dict[Stay, int] = {}
    for number, traveller in enumerate(layout.travellers):
        classes = layout.configurations.classes[:, number]
        base = len(parts.components)
        if traveller.home == cylinder:
            prior = traveller.given_class(traveller_prior(layout, traveller), classes)
            parts.components.append(Component("exchanged", prior, _links_at_home(layout, parts, traveller)))
        for which, part in enumerate(traveller.parts):
            states = len(layout.knowledge.components[part.component].states)
            label = layout.knowledge.components[part.component].name
            for place, stay in enumerate(part.stays):
                if traveller.home == cylinder and (stay.key[1] == cylinder or stay not in traveller.told[0]):
                    if stay.key[1] == cylinder:
                        found[stay] = len(parts.components)
                    else:
                        parts.elsewhere[stay.key, stay.version] = len(parts.components)
                    seen = tuple(history[which][place] for history in traveller.histories)
                    parts.components.append(Component(label, np.eye(1, states), base=base, seen=seen))
                    continue
                if stay.key[1] != cylinder:
                    continue
                found[stay] = len(parts.components)
                if stay in traveller.told[0]:
                    known = np.array([traveller.told[each][stay] for each in range(len(traveller.told))])
                    links = _own_axis(parts, stay, np.eye(states))
                    parts.components.append(Component(label, np.eye(states)[known[classes]], links))
                else:
                    parts.components.append(Component(label, np.ones((1, 1))))
    return found


def _own_axis(parts: _Parts, stay: Stay, table: Array) -> tuple[Link, ...]:
    """The link to the axis of a version's own state, where it has one."""
    if stay.key not in parts.axis_index:
        return ()
    return (Link((parts.axis_index[stay.key][stay.version],), table[np.newaxis]),)


def _links_at_home(layout: Layout, parts: _Parts, traveller: Traveller) -> tuple[Link, ...]:
    """What a traveller gives at home to the severities that only its home hears, and to the axes of its own states."""
    links: list[Link] = []
    for which, part in enumerate(traveller.parts):
        histories = [history[which] for history in traveller.histories]
        for place, stay in enumerate(part.stays):
            if stay.key[1] == traveller.home:
                states = np.eye(len(layout.knowledge.components[part.component].states))
                links += _own_axis(parts, stay, states[[history[place] for history in histories]])
            if place == 0 or part.disturbed[place]:
                links += _fallen_links(layout, parts, traveller, part, place, histories)
    return tuple(links)


def _fallen_links(
    layout: Layout,
    parts: _Parts,
    traveller: Traveller,
    part: Part,
    place: int,
    histories: Sequence[tuple[int, ...]],
) -> list[Link]:
    """What a part gives at home where it fell ill at the stay `place`."""
    fell = [history[place] if place == 0 or not history[place - 1] else 0 for history in histories]
    home = [stay for stay in part.stays[place:] if stay.key[1] == traveller.home]
    links = []
    for severity in _caused(layout, parts, part.stays[-1].key) if home else ():
        if severity[0] not in traveller.carried:
            axes = _axes_during_all(layout, parts, severity, [(stay.key, stay.version) for stay in home])
            links.append(Link(axes, layout.table(severity[0], part.component)[fell][np.newaxis]))
    return links


def _add_component(layout: Layout, parts: _Parts, key: Key, travelled: Mapping[Stay, int]) -> None:
    """Add all versions of a component, with a link to every severity (version) that it causes, and to its own axis.

    A renewed version is a component of its own. A version that was only disturbed follows from the one before (what
    was unsound stays so), so the versions from one renewal to the next are one history with a view for each.
    `travelled`: those that came from another cylinder or went to one are there already.
    """
    versions = layout.versions[key]
    index = {number: travelled[Stay(key, number)] for number in range(len(versions)) if Stay(key, number) in travelled}
    for chain in _chains(versions, frozenset(index)):
        if len(chain) == 1:
            index[chain[0]] = len(parts.components)
            parts.components.append(_version(layout, parts, key, chain[0]))
        else:
            base = len(parts.components)
            history = History.of(component_prior(layout, key, chain[0]), _disturbed(layout, key), len(chain))
            parts.components.append(_history(layout, parts, key, chain, history))
            for place, number in enumerate(chain):
                sizes = np.eye(1, len(layout.knowledge.components[key[0]].states))
                label = f"{layout.knowledge.components[key[0]].name}, version {number + 1}"
                index[number] = len(parts.components)
                parts.components.append(Component(label, sizes, base=base, seen=history.seen[place]))
    parts.component_index[key] = tuple(index[number] for number in range(len(versions)))


def _chains(versions: Versions, left_out: Collection[int]) -> list[list[int]]:
    """The numbers of the versions, those from one renewal to the next together."""
    chains: list[list[int]] = []
    for number, version in enumerate(versions.versions):
        if number in left_out:
            continue
        if version.touch == "disturbed" and chains:
            chains[-1].append(number)
        else:
            chains.append([number])
    return chains


def _disturbed(layout: Layout, key: Key) -> Array:
    """`[state]`: chances of one that was sound, just after work disturbed it."""
    known = layout.knowledge.components[key[0]]
    return contribution(known.disturbed, tuple(known.states), f"'disturbed' of '{key[0]}'")


def _version(layout: Layout, parts: _Parts, key: Key, number: int) -> Component:
    """One version as a component of its own."""
    known, name = layout.knowledge.components[key[0]], layout.knowledge.components[key[0]].name
    if (key, number) not in layout.reached.version:
        layout.reached.version[key, number] = tuple(_reached(layout, parts, key, number))
    links = [
        Link(axes, (np.eye(len(known.states)) if severity is None else layout.table(severity, key[0]))[np.newaxis])
        for severity, axes in layout.reached.version[key, number]
    ]
    label = name if len(layout.versions[key]) == 1 else f"{name}, version {number + 1}"
    return Component(label, component_prior(layout, key, number), tuple(links))


def _reached(layout: Layout, parts: _Parts, key: Key, number: int) -> Iterator[tuple[str | None, tuple[int, ...]]]:
    """What a version of a component gives to: its own axis (none), and severities of its plate with their axes."""
    if key in parts.axis_index:
        yield None, (parts.axis_index[key][number],)
    for severity in _caused(layout, parts, key):
        yield severity[0], _axes_during(layout, parts, severity, key, number)


def _history(layout: Layout, parts: _Parts, key: Key, chain: list[int], history: History) -> Component:
    """The versions from one renewal to the next as one component: what fell ill at one of them contributes one level
    to that version and all later ones."""
    links: list[Link] = []
    for place, number in enumerate(chain):
        if key in parts.axis_index:
            states = np.eye(len(layout.knowledge.components[key[0]].states))
            links.append(Link((parts.axis_index[key][number],), states[list(history.seen[place])][np.newaxis]))
        for severity in _caused(layout, parts, key):
            axes = _axes_during_all(layout, parts, severity, [(key, each) for each in chain[place:]])
            links.append(Link(axes, history.fallen(place, layout.table(severity[0], key[0]))[np.newaxis]))
    return Component(f"{layout.knowledge.components[key[0]].name}, history", history.prior, tuple(links))


def _caused(layout: Layout, parts: _Parts, key: Key) -> list[Key]:
    """The severities of its own plate that a component causes."""
    return [
        (severity_id, key[1])
        for severity_id, severity in layout.knowledge.severities.items()
        if severity.per == "cylinder" and key[0] in severity.causes and (severity_id, key[1]) in parts.axis_index
    ]


def _axes_during(layout: Layout, parts: _Parts, severity: Key, cause: Key, number: int) -> tuple[int, ...]:
    """Axes of the versions of a severity that stand while version `number` of a cause does."""
    pairs = zip(layout.severities[severity], layout.versions[cause].by_epoch, strict=True)
    wanted = dict.fromkeys(version for version, standing in pairs if standing == number)
    return tuple(parts.axis_index[severity][version] for version in wanted)


def _axes_during_all(
    layout: Layout, parts: _Parts, severity: Key, causes: Collection[tuple[Key, int]]
) -> tuple[int, ...]:
    """The same while any of several versions of causes stands."""
    during = (_axes_during(layout, parts, severity, key, number) for key, number in causes)
    return tuple(dict.fromkeys(axis for each in during for axis in each))


def _outside(layout: Layout, parts: _Parts, cylinder: int) -> list[tuple[Link, ...]]:
    """What the background and the shared causes contribute to each severity of a cylinder.

    Contributions to the same axes are one; those that remain apart are laid out so that none of the tuples returned
    reaches an axis twice, as one component of a model may not.
    """
    by_severity = [
        _outside_links(layout, parts, severity_id, cylinder)
        for severity_id, severity in layout.knowledge.severities.items()
        if severity.per == "cylinder"
    ]
    most = max((len(links) for links in by_severity), default=0)
    return [tuple(links[part] for links in by_severity if part < len(links)) for part in range(most)]


def _outside_links(layout: Layout, parts: _Parts, severity_id: str, cylinder: int) -> list[Link]:
    severity = layout.knowledge.severities[severity_id]
    row = contribution(severity.background, severity.levels, f"the background of '{severity_id}'")
    below = {parts.axis_index[severity_id, cylinder]: np.cumsum(row)[np.newaxis]}
    known = layout.reached.outside
    if (severity_id, cylinder) not in known:
        known[severity_id, cylinder] = tuple(_reaching_in(layout, parts, severity_id, cylinder))
    for cause, number, axes in known[severity_id, cylinder]:
        cumulated = np.cumsum(layout.table(severity_id, cause[0]), axis=1)
        states = layout.configurations.column(cause, number)
        if layout.versions[cause].versions[number].touch == "disturbed":  # what was ill before gives what it gave
            states = np.where(layout.configurations.column(cause, number - 1) == 0, states, 0)
        gives = cumulated[states]
        below[axes] = below[axes] * gives if axes in below else gives
    for axis, gives in _exchanged_gives(layout, (severity_id, cylinder)).items():
        axes = (parts.axis_index[severity_id, cylinder][axis],)
        below[axes] = below[axes] * gives if axes in below else gives
    return [Link(axes, _differences(table)[:, np.newaxis, :]) for axes, table in below.items()]


def _reaching_in(
    layout: Layout, parts: _Parts, severity_id: str, cylinder: int
) -> Iterator[tuple[Key, int, tuple[int, ...]]]:
    """The versions of shared causes that give to a severity of a cylinder, each with the axes to which what fell ill at
    it gives: those of all versions until it is renewed."""
    for cause in direct_causes(layout.knowledge, layout.case, severity_id, cylinder):
        component = layout.knowledge.components.get(cause[0])
        if component is not None and component.reaches_cylinders:
            for chain in _chains(layout.versions[cause], frozenset()):
                for place, number in enumerate(chain):
                    during = [(cause, each) for each in chain[place:]]
                    yield cause, number, _axes_during_all(layout, parts, (severity_id, cylinder), during)


def _exchanged_gives(layout: Layout, severity: Key) -> dict[int, Array]:
    """What travellers give to the versions of a severity by their classes: `[configuration, level]`, cumulated."""
    levels, found = len(layout.knowledge.severities[severity[0]].levels), dict[int, Array]()
    for number, traveller in enumerate(layout.travellers):
        classes = layout.configurations.classes[:, number]
        for key, version in traveller.gives[0]:
            if key == severity:
                level = np.array([given[key, version] for given in traveller.gives])
                gives = (level[classes, np.newaxis] <= np.arange(levels)).astype(np.float64)
                found[version] = found[version] * gives if version in found else gives
    return found


def _differences(below: Array) -> Array:
    """Chances of levels from cumulated ones, `[configuration, level]`."""
    return np.maximum(np.diff(below, axis=1, prepend=0.0), 0.0)


def _emissions(layout: Layout, parts: _Parts, shared: Mapping[str, int]) -> tuple[Emission, ...]:
    """What the severities (or the component) of a plate contribute to the severities of the vehicle."""
    known, plate = layout.reached.emissions, tuple(parts.axis_index)
    if plate not in known:
        known[plate] = tuple(_heard(layout, parts, shared))
    return tuple(Emission(index, heard, layout.table(name, cause)) for index, heard, name, cause in known[plate])


def _heard(layout: Layout, parts: _Parts, shared: Mapping[str, int]) -> Iterator[tuple[int, tuple[int, ...], str, str]]:
    """For each emission the number of the vehicle's severity, the axes that it hears, its id, and that of the cause."""
    for severity_id, index in shared.items():
        epochs = layout.severities[severity_id, None]
        for key, axes in parts.axis_index.items():
            if key[0] not in layout.knowledge.severities[severity_id].causes:
                continue
            own = layout.severities[key] if key in layout.severities else layout.versions[key].by_epoch
            by_version = dict(zip(epochs, own, strict=True))
            heard = tuple(axes[by_version[version]] for version in range(max(epochs) + 1))
            yield index, heard, severity_id, key[0]
