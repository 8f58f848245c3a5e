"""From a weighed case to its sheet. May import: network, inference, knowledge_base, the sheets, numpy."""

from __future__ import annotations

import numpy as np

from diag.basics import Place
from diag.inference import Array
from diag.knowledge_base import Component, Knowledge
from diag.network import CaseNetwork, MendedState, NamedCombination, Weighed, component_states, cylinder_chances
from diag.report.cautions import told_cautions
from diag.report.figures import chance_words, ordinal, short_place
from diag.report.from_agreement import agreement_line
from diag.report.from_case import case_line, evidence_lines
from diag.report.from_codes import code_lines, missing_codes, soft_lines, trim_ledger
from diag.report.naming import fault_words
from diag.report.sheets_weigh import CombinationLine, CylinderLine, FaultLine, PlacedState, StateLine, WeighSheet
from diag.report.words import WEIGH

__all__ = ["weigh_sheet"]


DANGEROUS_FROM = 0.10  # chance of a dangerous state from which the fault is called dangerous


def weigh_sheet(weighed: Weighed, quick: bool = False) -> WeighSheet:
    """The sheet of `diag weigh`; `quick`: without how far the findings agree and without the codes that are missed."""
    network = weighed.network
    faults = _faults(network, component_states(network, weighed.posterior))
    return WeighSheet(
        case=case_line(network.case),
        cylinders=_cylinders(weighed, faults),
        faults=faults,
        combinations=tuple(_combination(network.knowledge, each) for each in weighed.combinations),
        evidence=evidence_lines(network.knowledge, network.case),
        notes=(*network.case.note.splitlines(), *weighed.notes),
        log_evidence=weighed.log_evidence,
        method=weighed.posterior.form,
        cancellation=weighed.posterior.cancellation,
        agreement=None if quick else agreement_line(weighed),
        soft=soft_lines(network.knowledge, network.case),
        codes=code_lines(network.knowledge, network.case),
        missing_codes=() if quick else missing_codes(weighed),
        trim_codes=trim_ledger(network.knowledge, network.case),
        cautions=told_cautions(network.knowledge, network.case, [each.component for each in faults if each.dangerous]),
    )


def _faults(network: CaseNetwork, states: dict[tuple[str, Place], Array]) -> tuple[FaultLine, ...]:
    lines = [_fault(network.knowledge.components[key[0]], *key, chances) for key, chances in states.items()]
    return tuple(sorted(lines, key=lambda line: -round(line.chance, 12)))


def _fault(known: Component, component: str, place: Place, chances: Array) -> FaultLine:
    lines = tuple(
        StateLine(state, entry.name, float(chance), entry.dangerous)
        for (state, entry), chance in zip(known.states.items(), chances, strict=True)
    )
    danger = sum(line.chance for line in lines if line.dangerous)
    unsound = min(max(float(np.sum(chances[1:])), 0.0), 1.0)
    return FaultLine(
        component=component,
        name=known.name,
        place=place,
        chance=unsound,
        words=chance_words(unsound),
        states=lines,
        fault=known.fault,
        listed="unlisted" not in component,
        dangerous=danger >= DANGEROUS_FROM,
        judged=known.basis.source in ("elicited", "common practice"),
    )


def _cylinders(weighed: Weighed, faults: tuple[FaultLine, ...]) -> tuple[CylinderLine, ...]:
    """Each cylinder with the chance that anything on it is at fault, all its components taken jointly."""
    lines = []
    for cylinder, chance in cylinder_chances(weighed.network, weighed.posterior).items():
        first = next(fault for fault in faults if fault.place == cylinder and fault.fault)
        lines.append(
            CylinderLine(
                cylinder=cylinder,
                bank=weighed.network.case.engine.bank_of(cylinder),
                chance=chance,
                words=chance_words(chance),
                leading=fault_words(first),
            )
        )
    return tuple(lines)


def _combination(knowledge: Knowledge, combination: NamedCombination) -> CombinationLine:
    return CombinationLine(
        tuple(_placed(knowledge, *key, state) for key, state in combination.faults)
        + tuple(_placed(knowledge, *each.key, each.state, _repair_words(each)) for each in combination.mended),
        combination.probability,
    )


def _repair_words(mended: MendedState) -> str:
    """Which of its repairs ended a state: `the repair` where there was one, else `its second repair`."""
    if mended.repairs == 1:
        return WEIGH["the_repair"]
    return WEIGH["its_repair"].format(nth=ordinal(mended.repair))


def _placed(knowledge: Knowledge, component: str, place: Place, state: str, before: str = "") -> PlacedState:
    known = knowledge.components[component]
    where = known.name if place is None else f"{known.name}, {short_place(place)}"
    words = where if "unlisted" in component else f"{where}: {known.states[state].name}"
    mark = WEIGH["mended"].format(repairs=before) if before else ""
    return PlacedState(component, state, place, f"{words}{mark}", before)
