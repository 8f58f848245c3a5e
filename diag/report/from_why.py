"""From the reasons for a fault and for the advice to their sheet. May import: explain, network, inference, the sheets,
words, numpy."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from diag.basics import Place, listed
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.network import CaseNetwork, ToldStep, Weighed, component_states
from diag.report.cautions import told_cautions
from diag.report.figures import chance_words, number, per_cent, place_words, places_words
from diag.report.from_case import case_line, condition_words, told_line, work_text
from diag.report.from_weighing import DANGEROUS_FROM
from diag.report.sheets_why import (
    AdviceWhyLine,
    ContrastLine,
    CourseLine,
    DifferenceLine,
    NeighbourLine,
    SourceLine,
    TurningLine,
    WeightLine,
    WhyFault,
    WhySheet,
    WorthLine,
)
from diag.report.words import AMOUNTS, EVIDENCE, REPAIR
from diag.report.words_why import WEIGHT_SCALE, WHY

if TYPE_CHECKING:  # results only pass through here
    from diag.decision import PlanOption
    from diag.explain import AdviceReasons, Fault, Reasons

__all__ = ["decibans_text", "plan_text", "told_text", "weight_words", "why_sheet"]

MENTIONED = 0.5  # decibans from which a finding is named in the first sentence


def why_sheet(weighed: Weighed, reasons: Reasons, advice: AdviceReasons | None = None) -> WhySheet:
    """The sheet of `diag why`."""
    network = weighed.network
    fault, findings = _fault(network, reasons.fault), _findings(network, reasons)
    return WhySheet(
        case=case_line(network.case),
        fault=fault,
        cautions=_cautions(network, component_states(network, weighed.posterior)),
        judged=network.knowledge.components[fault.component].basis.source in ("elicited", "common practice"),
        in_short=_in_short(fault, reasons, findings),
        chance_before=reasons.before,
        chance=reasons.now,
        prior_decibans=_finite(reasons.weights.prior),
        posterior_decibans=_finite(reasons.weights.posterior),
        findings=findings,
        contrast=_contrast(network, reasons),
        neighbours=_neighbours(reasons),
        course=tuple(
            CourseLine(_fault(network, each), tuple(float(chance) for chance in reasons.course.chance[:, at]))
            for at, each in enumerate(reasons.course.faults)
        ),
        advice=_advice(network, findings, advice) if advice is not None else None,
    )


def _cautions(network: CaseNetwork, states: Mapping[tuple[str, Place], Array]) -> tuple[str, ...]:
    """The cautions of what was told that is dangerous, and of the findings that would show a dangerous state that is
    likely."""
    known = network.knowledge
    likely = []
    for (component, _), chances in states.items():
        dangerous = [state.dangerous for state in known.components[component].states.values()]
        if float(chances[np.array(dangerous)].sum()) >= DANGEROUS_FROM:
            likely.append(component)
    return told_cautions(known, network.case, likely)


def weight_words(decibans: float | None) -> str:
    """The word for a weight, by the size that is printed: 12.0 and -12.0 are 'strong', none settles the matter."""
    if decibans is None:
        return WHY["settles"]
    size = 0.0 if abs(decibans) < WEIGHT_SCALE[-2][0] else round(abs(decibans), 1)
    return next(word for least, word in WEIGHT_SCALE if size >= least)


def decibans_text(decibans: float | None) -> str:
    """`+12.3`, `-0.4`, `0.0`; a weight without bound is a dash."""
    if decibans is None:
        return "—"
    text = number(decibans, 1)
    return text if text.startswith("-") or text.strip("0.,") == "" else f"+{text}"


def told_text(line: WeightLine) -> str:
    """`black tar-like carbon around the injector, cylinder 2: present`."""
    where = f", {place_words(line.place)}" if line.place is not None else ""
    what = f"{line.finding}{where}: {line.said}"
    return WHY["after"].format(what=what, work=line.after) if line.after else what


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _fault(network: CaseNetwork, fault: Fault) -> WhyFault:
    known = network.knowledge.components[fault.component]
    unsound = tuple(known.states)[1:]
    named = "" if fault.states == unsound else f": {listed([known.states[state].name for state in fault.states])}"
    where = f", {place_words(fault.place)}" if fault.place is not None else ""
    return WhyFault(fault.component, f"{known.name}{named}{where}", fault.place, fault.states)


def _findings(network: CaseNetwork, reasons: Reasons) -> tuple[WeightLine, ...]:
    lines = []
    weights, apart = reasons.weights, reasons.contrast.weights
    for index, step in enumerate(reasons.steps):
        decibans, own = _finite(weights.told[index]), _finite(weights.own[index])
        finding, said = _said(network, step)
        lines.append(
            WeightLine(
                finding=finding,
                place=step.question.place,
                said=said,
                after=_work_before(network, step),
                decibans=decibans,
                words=weight_words(decibans),
                chance_then=float(_chance(weights.odds[index + 1])),
                own_decibans=own,
                own_words=weight_words(own),
                contrast_decibans=_finite(apart.told[index]),
                contrast_own_decibans=_finite(apart.own[index]),
            )
        )
    return tuple(lines)


def _chance(odds: float) -> float:
    from diag.explain import chance_of

    return chance_of(float(odds))


def _said(network: CaseNetwork, step: ToldStep) -> tuple[str, str]:
    """What was told of, and the answer or the value; repeats beside each other."""
    lines = [told_line(network.knowledge, each) for each in step.what]
    return lines[0].what, ", ".join(line.said for line in lines)


def _work_before(network: CaseNetwork, step: ToldStep) -> str:
    work = network.case.epochs[step.epoch].work
    return "; ".join(work_text(network.knowledge, each) for each in work)


def _in_short(fault: WhyFault, reasons: Reasons, findings: tuple[WeightLine, ...]) -> str:
    """The fault with its chance, what speaks most for it, and what most against it, by the weights in the order told;
    what settles the matter comes first."""
    stands = {"fault": _capital(fault.name), "words": chance_words(reasons.now), "per_cent": per_cent(reasons.now)}
    if not findings:
        return WHY["nothing_told"].format(**stands)
    weight = reasons.weights.told
    most, least = findings[int(weight.argmax())], findings[int(weight.argmin())]
    return WHY["short"].format(
        **stands,
        for_=_side("for", most) if float(weight.max()) >= MENTIONED else WHY["nothing_for"],
        against=_side("against", least) if float(weight.min()) <= -MENTIONED else WHY["nothing_against"],
    )


def _side(side: str, line: WeightLine) -> str:
    told = WHY[side if line.decibans is not None else f"{side}_settles"]
    return told.format(finding=told_text(line), words=line.words)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _contrast(network: CaseNetwork, reasons: Reasons) -> ContrastLine:
    found = reasons.contrast
    return ContrastLine(
        rival=_fault(network, found.rival),
        prior_decibans=_finite(found.weights.prior),
        posterior_decibans=_finite(found.weights.posterior),
        only_fault=found.only_fault,
        only_rival=found.only_rival,
        both=found.both,
    )


def _neighbours(reasons: Reasons) -> tuple[NeighbourLine, ...]:
    found = reasons.neighbours
    lines = []
    for at, target in enumerate(found.targets):
        sources = []
        for row, source in enumerate(found.sources):
            decibans = _finite(found.weight[row, at])
            sources.append(SourceLine(source, decibans, weight_words(decibans), float(found.without[row, at])))
        lines.append(NeighbourLine(target, float(found.chance[at]), tuple(sources)))
    return tuple(lines)


def _advice(network: CaseNetwork, findings: tuple[WeightLine, ...], found: AdviceReasons) -> AdviceWhyLine:
    knowledge = network.knowledge
    return AdviceWhyLine(
        currency=found.best.total.currency,
        best=plan_text(knowledge, found.best),
        other=plan_text(knowledge, found.other) if found.other is not None else "",
        ahead=found.other.total.amount - found.best.total.amount if found.other is not None else 0.0,
        parts=tuple(
            DifferenceLine(AMOUNTS[each.part], each.best.amount, each.other.amount, each.more.amount)
            for each in found.parts
        ),
        worth=tuple(
            WorthLine(
                finding=each.step,
                told=told_text(findings[each.step]),
                turned=each.turned,
                plan=plan_text(knowledge, each.plan),
                total_then=each.total_then.amount,
                costs_now=each.costs_now.amount if each.costs_now is not None else None,
                saved=each.saved.amount if each.saved is not None else None,
                barred=each.barred,
            )
            for each in found.worth
        ),
        turning=tuple(
            TurningLine(
                item=each.item,
                name=_item_words(knowledge, each.item, each.condition),
                place=each.place,
                outcomes=tuple(EVIDENCE.get(outcome, outcome) for outcome in each.outcomes),
                chance=each.chance,
                plan=plan_text(knowledge, each.plan),
                saved=each.saved.amount if each.saved is not None else None,
            )
            for each in found.turning
        ),
        looked_at=found.looked_at,
        left_out=found.left_out,
    )


def _item_words(knowledge: Knowledge, item: str, condition: str | None) -> str:
    known = knowledge.findings.get(item) or knowledge.readings[item]
    return ", ".join(part for part in (known.name, condition_words(knowledge, condition)) if part)


def plan_text(knowledge: Knowledge, plan: PlanOption) -> str:
    """`reseal the injector, cylinders 2 and 3; write the trim code, cylinder 2`, or `nothing now`."""
    places: dict[str, list[Place]] = {}
    for job in plan.jobs:
        places.setdefault(job.repair, []).append(job.place)
    parts = []
    for repair, where in places.items():
        name = knowledge.repairs[repair].name
        parts.append(name if where == [None] else f"{name}, {places_words(sorted(where, key=str))}")
    return "; ".join(parts) or REPAIR["nothing"]
