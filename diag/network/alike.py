"""Many cases of one shape at once: one network serves them all, and each is a case of one batch of evidence.

Cases are of one shape where engine, work tried and what history did to each component agree; they may differ in
distance and age (the prior's ratio to that of the first becomes a likelihood) and in all that was told. May import:
knowledge_base, casebook, evidence, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from msgspec import Struct

from diag.casebook import NUMBERING, Answer, Case, Epoch, Measured
from diag.inference import Array, Evidence
from diag.knowledge_base import Knowledge
from diag.network.ages import Origin, Used, origin_of, vehicle_used
from diag.network.building import build
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key, component_versions
from diag.network.likelihoods import before, condition_of, factor_of, key_of
from diag.network.numbering import numberings, told_under
from diag.network.prior_table import PriorTable, prior_table
from diag.network.questions import Question, by_version, said_by_exchange, told_in
from diag.network.questions import Told as One
from diag.network.shifted import is_shifted
from diag.network.targets import Factor

__all__ = [
    "Alike",
    "Likelihoods",
    "Shape",
    "ToldOf",
    "alike",
    "configuration_tables",
    "prior_tables",
    "shape_of",
    "shaped_evidence",
    "told_of",
]

Shape = tuple[object, ...]
Told = Mapping[int, tuple[Answer | Measured, ...]]


class Alike(Struct, frozen=True, dict=True):
    """Cases of one shape: a network without evidence of its own, the origin of each version (but for its age), and
    `used[key, version][case, clock]` in kilometres and years."""

    network: CaseNetwork
    origins: Mapping[tuple[Key, int], Origin]
    used: Mapping[tuple[Key, int], Array]

    @cached_property
    def moved(self) -> frozenset[tuple[Key, int]]:
        """The versions of what exchanges moved: one thing in two plates, which has no prior of its own there."""
        parts = (part for traveller in self.network.layout.travellers for part in traveller.parts)
        return frozenset((stay.key, stay.version) for part in parts for stay in part.stays)


class ToldOf(Struct, frozen=True):
    """What was told in a case by question and version. `shifted`: readings in which all cylinders share an unknown
    shift, taken in one go and of one version each; they are not weighed here (leaving evidence out biases nothing, it
    only tells less). `left_out`: other questions about such readings."""

    questions: Mapping[Question, Told]
    shifted: Mapping[Question, Told]
    left_out: tuple[Question, ...]


def _origins(knowledge: Knowledge, case: Case) -> dict[tuple[Key, int], Origin]:
    return {
        (key, number): origin_of(knowledge, case, *key, version)
        for key, versions in component_versions(knowledge, case).items()
        for number, version in enumerate(versions.versions)
    }


def shape_of(knowledge: Knowledge, case: Case) -> Shape:
    """What cases must agree in to share a network."""
    listed = knowledge.engines.get(case.engine_id) == case.engine
    engine = case.engine_id if listed else case.engine.model_dump_json()
    works = tuple(
        tuple((work.repair, work.place, work.other, work.but) for work in epoch.work) for epoch in case.epochs
    )
    if not case.history and len(case.epochs) == 1:
        return engine, works, case.numbering
    touched = []
    for (key, number), origin in _origins(knowledge, case).items():
        exact = (origin.used.km, origin.used.years) if len(case.epochs) > 1 else ()
        if origin.touches or origin.works or exact:
            touched.append((key, number, origin.touches, origin.works, origin.lapses, exact))
    return engine, works, case.numbering, tuple(touched)


def alike(knowledge: Knowledge, cases: Sequence[Case]) -> Alike:
    """The network of cases of one shape, in which what was told in any of them has its place."""
    oldest = max(cases, key=lambda case: vehicle_used(knowledge, case).km)
    bare = tuple(Epoch(work=epoch.work) for epoch in oldest.epochs)
    network = build(knowledge, replace(oldest, epochs=bare), others=cases if len(bare) > 1 else ())
    origins = _origins(knowledge, oldest)
    used: dict[tuple[Key, int], Array] = {}
    plain = np.array([_pair(vehicle_used(knowledge, case)) for case in cases])
    for key, number in origins:
        simple = all(not case.history and len(case.epochs) == 1 for case in cases)
        if simple or knowledge.components[key[0]].life is None:
            used[key, number] = plain
            continue
        version = network.layout.versions[key].versions[number]
        used[key, number] = np.array([_pair(origin_of(knowledge, case, *key, version).used) for case in cases])
    return Alike(network, origins, used)


def _pair(used: Used) -> tuple[float, float]:
    return used.km, used.years


def told_of(knowledge: Knowledge, case: Case, network: CaseNetwork) -> ToldOf:
    """Everything told in a case. Raises CaseError where it contradicts itself."""
    gathered: dict[Question, tuple[One, ...]] = {}
    apart: dict[Question, tuple[One, ...]] = {}
    all_told = {each: items for each, items in told_in(case).items() if not said_by_exchange(knowledge, case, each)}
    known = numberings(knowledge, case, all_told)
    if len(known) == 1:  # somebody looked it up; else codes are taken as the maker numbers
        all_told = told_under(knowledge, all_told, known[0])
    for question, items in all_told.items():
        same = Question(question.item, question.place, condition_of(knowledge, question.item, question.condition))
        if question.item in knowledge.readings and is_shifted(knowledge, case.engine, same):
            apart[same] = (*apart.get(same, ()), *items)
        else:
            gathered[same] = (*gathered.get(same, ()), *items)

    def versions(told: Mapping[Question, tuple[One, ...]]) -> dict[Question, Told]:
        return {
            question: by_version(
                knowledge,
                case,
                question,
                tuple(sorted(items, key=lambda item: item.epoch)),
                network.targets.standing(key_of(knowledge, question)),
            )
            for question, items in told.items()
        }

    taken = {
        question: items
        for question, items in apart.items()
        if len(known) == 1 or not knowledge.readings[question.item].numbered
        if len({one.epoch for other in apart if other.item == question.item for one in apart[other]}) == 1
    }
    return ToldOf(versions(gathered), versions(taken), tuple(each for each in apart if each not in taken))


def prior_tables(group: Alike) -> dict[tuple[Key, int], PriorTable]:
    """The prior of every version of every component that is not part of the configuration."""
    layout = group.network.layout
    return {
        (key, number): prior_table(layout, key, number, origin, group.used[key, number])
        for (key, number), origin in group.origins.items()
        if key in group.network.targets.components
    }


def configuration_tables(group: Alike) -> dict[tuple[Key, int], PriorTable]:
    """The same of every version of a shared cause that reaches into cylinders, but of the numbering and of what work
    only disturbed."""
    layout = group.network.layout
    return {
        (key, number): prior_table(layout, key, number, origin, group.used[key, number])
        for (key, number), origin in group.origins.items()
        if layout.knowledge.components[key[0]].reaches_cylinders and key[0] != NUMBERING
        if layout.versions[key].versions[number].touch != "disturbed"
    }


class Likelihoods:
    """Likelihoods of what was told, `[level of each version]`, each worked out once; of one and the same object (cases
    of a book share what was told alike) without looking into it."""

    def __init__(self, network: CaseNetwork) -> None:
        self.network = network
        self.known: dict[object, tuple[tuple[int, ...], Array]] = {}
        self.met: dict[tuple[object, ...], tuple[tuple[int, ...], Array]] = {}
        self.alive: list[Told] = []  # else another object might come to have the same identity

    def of(self, question: Question, told: Mapping[Question, Told]) -> tuple[tuple[int, ...], Array]:
        """The versions told of, and the likelihood, largest 1; given what of `told` comes before it, where one luck
        may last over conditions."""
        given = before(self.network.knowledge, question, told)
        met = question.item, *((each.condition, id(told[each])) for each in (question, *given))
        if met not in self.met:
            self.alive += [told[question], *given.values()]
            self.met[met] = self._of(question, told[question], given)
        return self.met[met]

    def _of(self, question: Question, told: Told, given: Mapping[Question, Told]) -> tuple[tuple[int, ...], Array]:
        everything = {question: told, **given}
        plain = tuple(
            (one.condition, version, tuple(replace(each, place=None) for each in items))
            for one, versions in everything.items()
            for version, items in versions.items()
        )
        name = (question.item, question.condition, plain)
        if name not in self.known:
            made = factor_of(self.network.knowledge, self.network.case.engine, question, told, given=given).factor
            self.known[name] = made.versions, made.likelihood[0]
        return self.known[name]


def shaped_evidence(
    group: Alike,
    tables: Mapping[tuple[Key, int], PriorTable],
    told: Sequence[Mapping[Question, Told]],
    more: Iterable[Factor] = (),
    made: Likelihoods | None = None,
) -> tuple[Evidence, list[Factor]]:
    """The evidence of cases of one shape, one after the other as in `group`, and its factors.

    `more` are further factors, `[case or 1, level ...]`. What only some of them told of is 1 for the others.
    """
    network, count = group.network, len(told)
    made = made or Likelihoods(network)
    gathered: dict[tuple[Question, tuple[int, ...]], Array] = {}
    for case, questions in enumerate(told):
        for question in questions:
            versions, likelihood = made.of(question, questions)
            if (question, versions) not in gathered:
                gathered[question, versions] = np.ones((count, *likelihood.shape))
            gathered[question, versions][case] = likelihood
    factors = [
        Factor(key_of(network.knowledge, question), versions, likelihood)
        for (question, versions), likelihood in gathered.items()
    ]
    factors += more
    evidence = network.targets.evidence(factors, count)
    for (key, version), table in tables.items():
        if (key, version) in group.moved:
            continue  # cases of such a shape agree in their ages
        plate, index = network.targets.components[key]
        prior = network.model.plates[plate].components[index[version]].prior
        component = network.model.plates[plate].components[index[version]]
        if network.knowledge.components[key[0]].life is None or component.base is not None or not table.hazard.any():
            continue
        wanted = table.by_configuration()
        if wanted.shape[1] > 1 and np.all(wanted == wanted[:, :1]):
            wanted = wanted[:, :1]
        if prior.shape[1] != wanted.shape[2]:
            continue  # a history of several versions; cases of such a shape agree in their ages
        ratio = np.divide(wanted, prior, out=np.zeros_like(wanted + prior), where=prior > 0)
        if np.all(np.abs(ratio - (prior > 0)) < 1e-15):
            continue  # all as old as the first
        at = (plate, index[version])
        evidence.components[at] = evidence.components[at] * ratio if at in evidence.components else ratio
    return evidence, factors
