"""Expected counts of one batch of closed cases of one shape, exactly: the expectation step.

For a chance p that is used n times, and came true d times, the expectations of d and n given all that was told of a
case come from one inference; so does what the complaint alone would lead one to expect (see `lessons`). Their
difference, d - p n, is the score of p's log-odds (Louis 1982; Fisher's identity). May import: `diag.basics`,
`diag.casebook`, `diag.evidence`, `diag.inference`, `diag.knowledge_base`, `diag.network`, numpy, within the room
`tallies` and `told_levels`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diag.casebook import NUMBERING
from diag.inference import Array, Component, Pooled, Uses, pooled
from diag.learning.tallies import Key, Seen, Tally, Told
from diag.learning.told_levels import HeardTogether, heard_together, plate_findings, seen_together, vehicle_findings
from diag.network import (
    Alike,
    ChainRow,
    Contribution,
    Contributions,
    Factor,
    FigurePath,
    Likelihoods,
    PriorTable,
    Question,
    chain_rows,
    configuration_tables,
    contributions_of,
    key_of,
    prior_tables,
    shaped_evidence,
)

__all__ = ["Counts", "Known", "Seen", "Told", "count"]

Known = Mapping[tuple[Key, int], Array]
SMALL = 1e-300


@dataclass(frozen=True)
class Counts:
    """`true[0 or case, figure]` and `used[0 or case, figure]`, expected; of a life's scale and shape `true` is the
    score of their logarithms, `used` about how much one tells of it. `log_evidence[case]`."""

    true: Array
    used: Array
    log_evidence: Array
    seen: tuple[Seen, ...]


def count(
    group: Alike,
    index: Mapping[FigurePath, int],
    told: Sequence[Mapping[Question, Told]],
    known: Sequence[Known],
    made: Likelihoods,
    weights: Array,
    apart: bool = False,
    shifted: Sequence[Mapping[Question, Told]] = (),
) -> Counts:
    """Expected counts of the cases of a group: summed with their weights, or case by case (`apart`).

    `shifted`: readings whose cylinders share a shift; they are not weighed, what they tell of their spreads is counted.
    Raises ImpossibleEvidence with the cases that are, TooLarge.
    """
    tables = prior_tables(group)
    network, cases = group.network, len(told)
    evidence, factors = shaped_evidence(group, tables, told, [*_known(known), *_flat(group, shifted)], made)
    on_chain = [factor for factor in factors if factor.key[0] in network.targets.chain.nodes]
    levels = _vehicle_levels(group, told)
    tried = [network.targets.evidence([*on_chain, level], cases).shared for some in levels.values() for level in some]
    rows = chain_rows(network, on_chain, cases)
    for row in rows:
        tried += [row.at_level, *row.for_certain]  # type: ignore[list-item]
    answer = pooled(network.model, evidence, weights, tried, _labels(group, told, shifted), apart)
    counted = Tally(group, index, weights, apart)
    known_tables = contributions_of(network)
    for uses in answer.uses:
        _components(counted, tables, uses)
        _exchanged(counted, tables, uses)
        _contributed(counted, known_tables, uses)
    _configuration(counted, answer)
    _from_outside(counted, known_tables, answer)
    vehicle: dict[tuple[Key, int], Array] = {}
    first = 0
    for at, some in levels.items():
        chances = answer.alternatives[:, first : first + len(some)]
        vehicle[at] = chances / chances.sum(axis=1, keepdims=True)
        first += len(some)
    _along_the_chain(counted, rows, answer.alternatives[:, first:])
    seen = vehicle_findings(counted, told, vehicle, answer.configurations)
    together: HeardTogether = {}
    for uses in answer.uses:
        seen += plate_findings(counted, told, uses)
        if shifted:
            heard_together(counted, shifted, uses, together)
    seen += seen_together(counted, together)
    return Counts(counted.true, counted.used, answer.log_evidence, tuple(seen))


def _known(known: Sequence[Known]) -> list[Factor]:
    rows: dict[tuple[Key, int], Array] = {}
    for case, mine in enumerate(known):
        for at, likelihood in mine.items():
            rows.setdefault(at, np.ones((len(known), len(likelihood))))[case] = likelihood
    alike = {at: rows[at][:1] if np.all(rows[at] == rows[at][0]) else rows[at] for at in rows}
    return [Factor(key, (version,), likelihood) for (key, version), likelihood in alike.items()]


def _flat(group: Alike, shifted: Sequence[Mapping[Question, Told]]) -> list[Factor]:
    """Evidence that tells nothing, of what was read with a shift: its levels are asked for."""
    axes, knowledge = group.network.targets.axes, group.network.knowledge
    asked = dict.fromkeys((question, version) for told in shifted for question in told for version in told[question])
    read = dict.fromkeys((key_of(knowledge, question), version) for question, version in asked)
    return [
        Factor(key, (version,), np.ones((1, len(knowledge.severities[key[0]].levels))))
        for key, version in read
        if key in axes
    ]


def _vehicle_levels(group: Alike, told: Sequence[Mapping[Question, Told]]) -> dict[tuple[Key, int], list[Factor]]:
    """For each version of a vehicle's severity that was told of, its levels as evidence, one after the other."""
    found: dict[tuple[Key, int], list[Factor]] = {}
    nodes, knowledge = group.network.targets.chain.nodes, group.network.knowledge
    for question, version in dict.fromkeys((q, v) for each in told for q, items in each.items() for v in items):
        key = key_of(knowledge, question)
        if key[0] in nodes and (key, version) not in found:
            found[key, version] = [Factor(key, (version,), row[np.newaxis]) for row in np.eye(nodes[key[0]].levels)]
    return found


def _labels(
    group: Alike, told: Sequence[Mapping[Question, Told]], shifted: Sequence[Mapping[Question, Told]]
) -> dict[int, NDArray[np.int64]]:
    """By plate: what was told of it in each case, as a number. Findings may weigh the same and yet be others; where
    readings share a shift each case stands by itself."""
    targets, knowledge = group.network.targets, group.network.knowledge
    plates = {key: plate for key, (plate, _) in (*targets.components.items(), *targets.axes.items())}
    names: dict[object, int] = {(): 0}
    parts: dict[object, int] = {}
    met: dict[tuple[Question, int], tuple[int, int] | None] = {}  # by identity: alike cases share what they were told
    labels = {plate: np.zeros(len(told), dtype=np.int64) for plate in plates.values()}
    for case, questions in enumerate(told):
        by_plate: dict[int, list[int]] = {}
        for question, items in questions.items():
            known = question, id(items)
            if known not in met:
                plate = plates.get(key_of(knowledge, question))
                name = question.item, question.condition, _placeless(items)
                met[known] = None if plate is None else (plate, parts.setdefault(name, len(parts)))
            one = met[known]
            if one is not None:
                by_plate.setdefault(one[0], []).append(one[1])
        for question in shifted[case] if shifted else ():
            plate = plates.get(key_of(knowledge, question))
            if plate is not None:
                by_plate.setdefault(plate, []).append(-1 - plate - case * len(group.network.model.plates))
        for plate, some in by_plate.items():
            labels[plate][case] = names.setdefault(tuple(sorted(some)), len(names))
    return labels


def _placeless(items: Told) -> object:
    return tuple((version, tuple(replace(each, place=None) for each in some)) for version, some in items.items())


def _components(counted: Tally, tables: Mapping[tuple[Key, int], PriorTable], uses: Uses) -> None:
    """Counts of components that are not part of the configuration. Of one that work disturbed the first version is
    counted, which the other ones follow from; what an exchange moved is counted beside."""
    targets, model = counted.group.network.targets, counted.group.network.model
    at: dict[tuple[int, int], tuple[tuple[Key, int], Component]] = {}
    for key, (plate, indices) in targets.components.items():
        for version, index in enumerate(indices):
            component = model.plates[plate].components[index]
            kept = index if component.base is None else component.base
            at.setdefault((plate, kept), ((key, version), component))
    plates = np.array([plate for plate, _ in uses.examples])
    cases = np.array([case for _, case in uses.examples])
    for number, states in uses.masses.states.items():
        for plate in np.unique(plates):
            if (int(plate), number) not in at:
                continue
            named, component = at[int(plate), number]
            if named not in tables or named in counted.group.moved:
                continue
            table = tables[named]
            if component.prior.shape[1] != table.base.shape[1]:
                continue
            rows = np.flatnonzero(plates == plate)
            mine = states[rows] if component.base is None else component.narrowed(states[rows])
            joint = _by_kind(mine, table, uses.classes[int(plate)])
            _component(counted, table, joint, cases[rows])


def _exchanged(counted: Tally, tables: Mapping[tuple[Key, int], PriorTable], uses: Uses) -> None:
    """Counts of what an exchange moved: each part once, as it came into the case, from the joint histories that the
    plate of its last cylinder holds (see `network.exchanged`)."""
    network = counted.group.network
    plates = np.array([plate for plate, _ in uses.examples])
    cases = np.array([case for _, case in uses.examples])
    for traveller in network.layout.travellers:
        last = traveller.parts[0].stays[-1]
        plate, indices = network.targets.components[last.key]
        base = network.model.plates[plate].components[indices[last.version]].base
        rows = np.flatnonzero(plates == plate)
        if base is None or base not in uses.masses.states or not len(rows):
            continue
        joint = uses.masses.states[base][rows]  # [row, class, joint history]
        for number, part in enumerate(traveller.parts):
            table = tables[part.stays[0].key, part.stays[0].version]
            at_first = np.array([history[number][0] for history in traveller.histories])
            states = [joint[:, :, at_first == state].sum(axis=2) for state in range(table.base.shape[1])]
            by_kind = _by_kind(np.stack(states, axis=2), table, uses.classes[plate])
            _component(counted, table, by_kind, cases[rows])


def _by_kind(states: Array, table: PriorTable, classes: tuple[int, ...]) -> Array:
    """`[row, state, kind]`."""
    joint = np.zeros((len(states), states.shape[2], len(table.base)))
    for number in range(states.shape[1]):
        kind = table.kinds[classes.index(number)] if states.shape[1] > 1 else table.kinds[0]
        joint[:, :, kind] += states[:, number]
    return joint


def _component(counted: Tally, table: PriorTable, joint: Array, cases: NDArray[np.int64]) -> None:
    values, life = np.maximum(table.values[cases], SMALL), table.from_life[cases]
    other = table.other > table.base + life
    for kind in range(joint.shape[2]):
        from_life, failed = dict[int, Array](), np.zeros(len(cases))
        own, largest = np.zeros(joint.shape[:2]), np.zeros(joint.shape[:2])
        for state in range(1, joint.shape[1]):
            mass = joint[:, state, kind]
            share = np.where(other[:, kind, state], 0.0, mass / values[:, kind, state])
            own[:, state] = share * table.base[kind, state]
            largest[:, state] = np.where(other[:, kind, state], mass, 0.0)
            from_life[state] = share * life[:, kind, state]
            failed += from_life[state]
        rest = np.where(values[:, kind, 0] > SMALL, joint[:, 0, kind] / values[:, kind, 0], 0.0)
        names = tuple(counted.group.network.knowledge.components[table.key[0]].states)
        for paths, chances, true, holds in (
            (table.base_paths[kind], table.base[kind], own, ~other[:, kind]),
            (table.other_paths[kind], table.other[kind], largest, other[:, kind]),
        ):
            _chances(counted, names, paths, (chances * holds, true, rest), cases)
        for state, mine in from_life.items():
            counted.add(table.share_paths[state], mine, cases, failed)
        share = np.where(other[:, kind, 1:], 0.0, table.share[1:]).sum(axis=1)
        _life(counted, table, kind, failed, rest * share, cases)


def _chances(
    counted: Tally,
    names: Sequence[str],
    paths: Sequence[FigurePath | None],
    rows: tuple[Array, Array, Array],
    cases: NDArray[np.int64],
) -> None:
    """Counts of the figures of one kind of row, where they hold. `rows`: `[row, state]` of the chances that hold and of
    how often each state came from them, and `[row]` of how often it was sound, by what is left, per unit of chance.

    A chance grows against what is left of its table, also against the chances of it that do not hold here: d - p n is
    the slope by the logarithm of that ratio, n the d of all that hold and what is left of them.
    """
    chances, true, rest = rows
    for table in dict.fromkeys(path[:-1] for path in paths if path is not None):
        mine = np.array([path is not None and path[:-1] == table for path in paths])
        holds = mine & (chances > 0.0)
        less = np.where(holds, true - rest[:, np.newaxis] * chances, 0.0).sum(axis=1)
        for state, name in enumerate(names):
            some = np.where(holds[:, state], true[:, state], 0.0)
            counted.add((*table, name), some, cases, less + np.where(holds[:, state], rest, 0.0))


def _life(counted: Tally, table: PriorTable, kind: int, failed: Array, sound: Array, cases: NDArray[np.int64]) -> None:
    """Scores of the logarithms of scale and shape. With h the hazard of the stretch in which a failure stays unnoticed,
    1 - exp(-h) of it fail: d log P / dh = failed / (e^h - 1) - sound e^-h. The seals that live count in `sound`."""
    hazard = table.hazard[cases, kind]
    some = hazard > 0
    if not some.any():
        return
    safe = np.where(some, hazard, 1.0)
    slope = np.where(some, failed / np.expm1(safe) - sound * np.exp(-hazard), 0.0)
    by_scale, by_shape = -table.shape * hazard, table.by_shape[cases, kind]
    name = ("components", table.key[0], "life")
    told = failed * (safe / np.expm1(safe)) * (safe / -np.expm1(-safe))  # Fisher's information of log h, failures known
    far = np.where(some, by_scale / safe, 0.0), np.where(some, by_shape / safe, 0.0)
    counted.add((*name, "scale"), slope * by_scale, cases, told * far[0] ** 2)
    counted.add((*name, "shape"), slope * by_shape, cases, told * far[1] ** 2)
    counted.add((*name, "both"), told * far[0] * far[1], cases, failed)


def _contributed(counted: Tally, known: Contributions, uses: Uses) -> None:
    """Counts of what components give to severities of their cylinder; and these, and lone ones, to the vehicle's."""
    plate = uses.examples[0][0]
    cases = np.array([case for _, case in uses.examples])
    for (component, link), mass in uses.masses.links.items():
        _table(counted, known.links.get((plate, component, link)), mass, cases)
    for emission, mass in uses.masses.emissions.items():
        _table(counted, known.emissions.get((plate, emission)), mass, cases)


def _table(counted: Tally, contribution: Contribution | None, mass: Array, cases: NDArray[np.int64]) -> None:
    """`mass[row, state, history or level of the cause, level given]`."""
    if contribution is not None:
        if contribution.fell:
            fell = np.array(contribution.fell)
            mass = np.stack([mass[:, fell == state].sum(axis=1) for state in range(fell.max() + 1)], axis=1)
        for row, level, path in contribution.paths(counted.group.network.knowledge):
            counted.add(path, mass[:, row, level], cases, mass[:, row].sum(axis=1))


def _configuration(counted: Tally, answer: Pooled) -> None:
    """Counts of the shared causes that reach into cylinders."""
    network, cases = counted.group.network, np.arange(len(answer.log_evidence))
    configurations = network.layout.configurations
    tables, weighed = configuration_tables(counted.group), answer.configurations * counted.weight[:, np.newaxis]
    for number, variable in enumerate(configurations.variables):
        table = tables.get((variable.key, variable.version))
        if table is not None:
            joint = np.zeros((len(cases), len(variable.states), len(table.base)))
            for at, state in enumerate(configurations.states[:, number].tolist()):
                joint[:, state, table.kinds[at]] += weighed[:, at]
            _component(counted, table, joint, cases)
        elif variable.key[0] == NUMBERING:
            for state, word in enumerate(variable.states):
                mass = weighed[:, configurations.states[:, number] == state].sum(axis=1)
                counted.add(("components", NUMBERING, "chance", word), mass, cases)


def _from_outside(counted: Tally, known: Contributions, answer: Pooled) -> None:
    """Counts of what the vehicle's severities hear from the background and from the configuration's variables."""
    layout = counted.group.network.layout
    for at, mass in answer.backgrounds.items():
        contribution, cause = known.backgrounds[at]
        cases = np.arange(len(mass))
        if cause is None:
            _table(counted, contribution, mass.sum(axis=1, keepdims=True), cases)
        elif len(layout.versions[cause]) == 1:
            states = layout.configurations.column(cause, 0)
            table = [mass[:, states == state].sum(axis=1) for state in range(int(states.max()) + 1)]
            words = len(counted.group.network.knowledge.components[cause[0]].states)
            table += [np.zeros_like(table[0])] * (words - len(table))
            _table(counted, contribution, np.stack(table, axis=1), cases)


def _along_the_chain(counted: Tally, rows: Sequence[ChainRow], ratios: Array) -> None:
    """With n how often the row was used, and P' the chance of what was told if it gave level m for certain, the row
    gave m in n p + p (P' / P - 1) cases."""
    first, cases = 0, np.arange(len(ratios))
    for row in rows:
        used, certain = ratios[:, first], ratios[:, first + 1 : first + 1 + len(row.chances)]
        first += 1 + len(row.chances)
        mass = np.maximum(row.chances * (used[:, None] + certain - 1.0), 0.0) * counted.weight[:, None]
        for at, level, path in row.contribution.paths(counted.group.network.knowledge):
            if at == row.row:
                counted.add(path, mass[:, level], cases, used * counted.weight)
