"""From knowledge and a case to its network. May import: knowledge_base, casebook, inference, basics, numpy."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from diag.basics import CaseError, ImpossibleEvidence, Problem, did_you_mean, listed
from diag.casebook import NUMBERING, Case, access_without_minutes
from diag.inference import Array, Component, Model, Plate, Posterior, infer
from diag.knowledge_base import Knowledge
from diag.network.ages import age_notes
from diag.network.casenetwork import CaseNetwork
from diag.network.chain import Chain, chain_of
from diag.network.configurations import MOST_CONFIGURATIONS, Configurations, configurations
from diag.network.cylinders import cylinder_plates
from diag.network.helped import helped_notes
from diag.network.instances import Key, component_versions
from diag.network.journeys import heard_in, known_alone, with_travellers
from diag.network.likelihoods import LogFactor, condition_of, key_of
from diag.network.numbered import (
    NumberedNodes,
    factor_of_told,
    one_node_each,
    refuse_under_all,
    shifted_under,
)
from diag.network.numbering import numberings, told_anywhere, told_under
from diag.network.plates import BuiltPlate, Layout, lone_plate, severity_epochs
from diag.network.questions import (
    Question,
    Told,
    question_name,
    said_by_exchange,
    shown,
    told_in,
)
from diag.network.shared import shared_severities
from diag.network.shifted import Shifted, is_shifted
from diag.network.tables import levels_of
from diag.network.targets import Factor, Targets

__all__ = ["build"]

HELD, MOST_HELD = 4, 4096  # models that are remembered, and configurations of one
_LATEST: list[tuple[Layout, Sequence[BuiltPlate], Model]] = []
SHOWN = 0.005  # error of a chance that whole per cents would show


def build(knowledge: Knowledge, case: Case, finer: int = 1, others: Sequence[Case] = ()) -> CaseNetwork:
    """The network of a case, with everything that was told in it as evidence.

    Readings whose cylinders share an unknown shift bring it in as one more variable of the configuration, its nodes
    placed for this case; `finer` multiplies their number, to measure what they miss. `others`: cases that stand alike,
    whose answers, of whatever epoch, are to find their places in this network too.
    Raises CaseError where answers contradict each other although nothing between them was renewed, or name what the
    engine or the knowledge does not have; DiagError where chances of the knowledge come to more than 1.
    """
    versions = component_versions(knowledge, case)
    severities = severity_epochs(knowledge, case, versions)
    epochs = {key: known.by_epoch for key, known in versions.items()} | severities
    told = _told(knowledge, case)
    said = [question for question in told if said_by_exchange(knowledge, case, question)]
    told = {question: items for question, items in told.items() if question not in said}
    numbers = numberings(knowledge, case, told)
    anywhere = _with_others(knowledge, told_anywhere(knowledge, told, numbers), others)
    alone = known_alone(knowledge, case, anywhere, epochs)
    apart = {each: items for each, items in anywhere.items() if each not in alone}
    again = _asked_again(knowledge, epochs, apart | _implied(knowledge, case, apart))
    chain = chain_of(knowledge, severities, len(case.epochs))
    layout = Layout(knowledge, case, versions, severities, configurations(knowledge, case, versions), asked_again=again)
    heard = heard_in(knowledge, case, anywhere, alone)
    layout = bare = with_travellers(layout, heard)
    nodes = one_node_each(numbers)
    if nodes is not None:
        layout = replace(bare, configurations=nodes.laid_on(bare.configurations))
    model, targets = _laid_out(layout, chain, epochs)
    facts = {each: refuse_under_all(knowledge, case, each, items, targets, numbers) for each, items in told.items()}
    unshifted = [question for question in told if not is_shifted(knowledge, case.engine, question)]
    made = {each: factor_of_told(knowledge, case, each, told[each], targets, nodes, told) for each in unshifted}
    factors = {question: one.factor for question, one in made.items()}
    asked = [*factors.values(), *_asked(knowledge, targets, [each for each in told if each not in unshifted])]
    belief, states = _belief(model, targets, asked), _state_chances(bare.configurations)
    room = MOST_CONFIGURATIONS * int(np.count_nonzero(states)) // len(bare.configurations)
    found, nodes = shifted_under(knowledge, case, told, targets.standing, belief, finer, nodes, states, room)
    if found is not None:
        layout = replace(bare, configurations=_with_nodes(bare.configurations, found, nodes))
        model, targets = _laid_out(layout, chain, epochs)
        if nodes is not None:
            made = {each: factor_of_told(knowledge, case, each, told[each], targets, nodes, told) for each in unshifted}
        shown_of = {**{question: one.factor for question, one in made.items()}, **found.factors}
        factors = {question: shown_of[question] for question in facts}
    implied = found.implied if found is not None else ()
    return CaseNetwork(
        knowledge=knowledge,
        case=case,
        model=model,
        evidence=targets.evidence([*factors.values(), *implied]),
        layout=layout,
        targets=targets,
        told=facts,
        factors=factors,
        log_scale=sum(one.log_scale for one in made.values()) + (found.log_scale if found is not None else 0.0),
        notes=_notes(knowledge, case, made, said, found),
        shifted=found,
        numbered=nodes,
        items=told,
        heard=heard,
    )


def _access_notes(knowledge: Knowledge, case: Case) -> tuple[str, ...]:
    """What must be opened for checks and repairs and has no minutes in the engine's file, so that it costs nothing."""
    wanted = {check.access for check in knowledge.checks.values()}
    wanted |= {repair.access for repair in knowledge.repairs.values()}
    missing = access_without_minutes(knowledge, case.engine, wanted)
    names = [f"'{knowledge.vocabulary.access[kind].name}'" for kind in missing]
    if not names:
        return ()
    return (
        f"The minutes for {listed(names, 'and')} are not in the engine's file (access_minutes): no time and no money "
        "is reckoned for that.",
    )


def _notes(
    knowledge: Knowledge,
    case: Case,
    made: Mapping[Question, LogFactor],
    said: Iterable[Question],
    found: Shifted | None,
) -> tuple[str, ...]:
    """What was assumed, what has no effect, what does not fit: sentences for people."""
    notes = [one.note for one in made.values() if one.note]
    notes += [f"'{question_name(knowledge, each)}' is not counted: the exchange itself says it." for each in said]
    if found is not None and found.error > SHOWN:
        notes.append(
            "What all cylinders share in these corrections or return flows was taken in few steps, so that chances may "
            f"be off by up to some {math.ceil(100 * found.error)} %."
        )
    return (
        *age_notes(knowledge, case),
        *_access_notes(knowledge, case),
        *helped_notes(knowledge, case),
        *dict.fromkeys(notes),
        *(found.notes if found is not None else ()),
    )


def _with_nodes(plain: Configurations, found: Shifted | None, nodes: NumberedNodes | None) -> Configurations:
    """The configurations with the nodes of a shift and of the numbering, where there are any."""
    if nodes is not None:
        return nodes.laid_on(plain)
    return plain if found is None else plain.with_nodes(found.log_weights)


def _state_chances(plain: Configurations) -> Array:
    """`[state]` of the numbering, before anything was told; where there is no such thing, of one state."""
    if all(variable.key[0] != NUMBERING for variable in plain.variables):
        return np.ones(1)
    return np.bincount(plain.column((NUMBERING, None), 0), weights=plain.prior).astype(np.float64)


def _laid_out(layout: Layout, chain: Chain, epochs: Mapping[Key, tuple[int, ...]]) -> tuple[Model, Targets]:
    """The model, and where in it each thing stands."""
    built, model = _made(layout)
    targets = Targets(
        components={key: (n, at) for n, one in enumerate(built) for key, at in one.component_index.items()},
        axes={key: (n, at) for n, one in enumerate(built) for key, at in one.axis_index.items()},
        configurations=layout.configurations,
        configuration_plate=len(built),
        chain=chain,
        epochs=epochs,
        elsewhere={stay: (n, at) for n, one in enumerate(built) for stay, at in one.elsewhere.items()},
    )
    return model, targets


def _made(layout: Layout) -> tuple[Sequence[BuiltPlate], Model]:
    """The plates and the model; cases that stand alike have the same, so that what is known of it serves again."""
    for known, built, model in tuple(_LATEST):
        if known.stands_as(layout):
            return built, model
    built = _plates(layout)
    model = _model(layout, built)
    if len(layout.configurations) <= MOST_HELD:
        _LATEST.insert(0, (layout, built, model))
        del _LATEST[HELD:]
    return built, model


def _asked(knowledge: Knowledge, targets: Targets, questions: Iterable[Question]) -> Iterator[Factor]:
    """Factors that say nothing, on every severity that shifted readings show: so one pass tells of these too."""
    for item in dict.fromkeys(question.item for question in questions):
        name = shown(knowledge, item)
        for key in targets.axes:
            if key[0] == name:
                even = np.ones((1, len(levels_of(knowledge, name))))
                yield from (Factor(key, (version,), even) for version in dict.fromkeys(targets.epochs[key]))


def _belief(model: Model, targets: Targets, factors: Iterable[Factor]) -> Callable[[Key, int], Array | None]:
    """Chances of the levels of something in one version, given all but the shifted readings; inferred when first asked
    for, and known of what the factors name. None where the rest is impossible."""

    @cache
    def posterior() -> Posterior | None:
        try:
            return infer(model, targets.evidence(factors), unseen=False)
        except ImpossibleEvidence:
            return None

    def of(key: Key, version: int) -> Array | None:
        known = posterior()
        if known is None:
            return None
        if key in targets.components:
            plate, index = targets.component_at(key, version)
            return np.asarray(known.components[plate][index][0])
        plate, axes = targets.axes[key]
        return np.asarray(known.axes[plate][axes[version]][0])

    return of


def _plates(layout: Layout) -> list[BuiltPlate]:
    """Cylinders first, then every other component that does not reach into cylinders."""
    shared = [name for name, severity in layout.knowledge.severities.items() if severity.per == "vehicle"]
    numbers = {name: number for number, name in enumerate(shared)}
    cylinders = cylinder_plates(layout, numbers)
    lone = [
        lone_plate(layout, key, numbers)
        for key in layout.versions
        if not isinstance(key[1], int) and not layout.knowledge.components[key[0]].reaches_cylinders
    ]
    return [*cylinders, *lone]


def _model(layout: Layout, built: list[BuiltPlate]) -> Model:
    """All plates, and last the one on which evidence about the configuration is laid."""
    empty = Plate("configuration", (Component("configuration", np.array([[1.0, 0.0]])),))
    plates = (*(one.plate for one in built), empty)
    return Model(layout.configurations.prior, plates, shared_severities(layout))


def _told(knowledge: Knowledge, case: Case) -> dict[Question, tuple[Told, ...]]:
    """What was told by question, conditions which the knowledge does not tell apart being one."""
    found: dict[Question, list[Told]] = {}
    for question, items in told_in(case).items():
        _refuse_unknown(knowledge, case, question)
        same = Question(question.item, question.place, condition_of(knowledge, question.item, question.condition))
        found.setdefault(same, []).extend(items)
    return {question: tuple(sorted(items, key=lambda item: item.epoch)) for question, items in found.items()}


def _with_others(
    knowledge: Knowledge, anywhere: dict[Question, tuple[Told, ...]], others: Sequence[Case]
) -> dict[Question, tuple[Told, ...]]:
    """What was told, with what was told in other cases; readings that share a shift are of one case alone."""
    found = {question: dict.fromkeys(items) for question, items in anywhere.items()}
    for case in others:
        told = _told(knowledge, case)
        numbers = numberings(knowledge, case, told)
        for question, items in (told_under(knowledge, told, numbers[0]) if len(numbers) == 1 else told).items():
            if not is_shifted(knowledge, case.engine, question) and not said_by_exchange(knowledge, case, question):
                found.setdefault(question, {}).update(dict.fromkeys(items))
    return {question: tuple(items) for question, items in found.items()}


def _refuse_unknown(knowledge: Knowledge, case: Case, question: Question) -> None:
    """Raise CaseError for a finding that is not in the knowledge, or at a place that the engine does not have."""
    if question.item not in knowledge.findings and question.item not in knowledge.readings:
        hint = did_you_mean(question.item, [*knowledge.findings, *knowledge.readings])
        raise CaseError([Problem(case.title, 0, 0, f"there is no finding or reading '{question.item}'", hint)])
    shows = shown(knowledge, question.item)
    per = (knowledge.severities.get(shows) or knowledge.components[shows]).per
    places = {"cylinder": case.engine.cylinders, "bank": tuple(case.engine.banks), "vehicle": (None,)}[per]
    if question.place not in places:
        where = "no place" if question.place is None else f"'{question.place}'"
        right = {"cylinder": "a cylinder of the engine", "bank": "a bank", "vehicle": "the vehicle, with no place"}[per]
        raise CaseError([Problem(case.title, 0, 0, f"'{question.item}' was told of {where}", f"it belongs to {right}")])


def _asked_again(
    knowledge: Knowledge, epochs: Mapping[Key, tuple[int, ...]], told: Mapping[Question, tuple[Told, ...]]
) -> frozenset[Key]:
    """The components of which something was told in a version that no longer stands."""
    return frozenset(
        key_of(knowledge, each) for each, items in told.items() if _earlier(knowledge, epochs, each, items)
    )


def _implied(
    knowledge: Knowledge, case: Case, told: Mapping[Question, tuple[Told, ...]]
) -> dict[Question, tuple[Told, ...]]:
    """The readings of cylinders that were not told of, which may follow from those that were: all sum to zero."""
    found: dict[Question, tuple[Told, ...]] = {}
    for question, items in told.items():
        shift = knowledge.readings[question.item].shift if is_shifted(knowledge, case.engine, question) else None
        if shift is not None and shift.kind == "sum zero":
            others = [question._replace(place=cylinder) for cylinder in case.engine.cylinders]
            found |= {each: (*found.get(each, ()), *items) for each in others if each not in told}
    return found


def _earlier(
    knowledge: Knowledge, epochs: Mapping[Key, tuple[int, ...]], question: Question, items: tuple[Told, ...]
) -> bool:
    """Whether a question was asked of a component in a version that no longer stands."""
    key = key_of(knowledge, question)
    if key[0] not in knowledge.components:
        return False
    return any(epochs[key][item.epoch] != epochs[key][-1] for item in items)
