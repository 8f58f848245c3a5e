"""From the measures of conflict to their part of the sheet.

May import: network, evidence, casebook, figures, sheets, words.
"""

from __future__ import annotations

import math

from diag.casebook import Answer, Measured
from diag.evidence import decibans
from diag.network import Agreement, CaseNetwork, Doubt, Opinion, Weighed, agreement
from diag.report.figures import number
from diag.report.sheets_agreement import AgreementLine, DoubtLine, OpinionLine, RarityLine
from diag.report.words import EVIDENCE
from diag.report.words_agreement import AGREEMENT

__all__ = ["agreement_line"]


def agreement_line(weighed: Weighed) -> AgreementLine:
    """How far the findings of a weighed case agree."""
    found: Agreement = agreement(weighed.network, weighed.posterior)
    rarity = found.rarity
    return AgreementLine(
        conflict=found.conflict,
        contradicts=found.contradicts,
        doubts=tuple(_doubt(weighed.network, doubt, doubt in found.contradicting) for doubt in found.doubts),
        unlisted=found.unlisted,
        unlisted_before=found.unlisted_before,
        rarity=None if rarity is None else RarityLine(rarity.tail, rarity.error, rarity.draws, rarity.among_complaints),
    )


def _doubt(network: CaseNetwork, doubt: Doubt, contradicts: bool) -> DoubtLine:
    about, place = doubt.key
    known = network.knowledge.severities.get(about) or network.knowledge.components[about]
    return DoubtLine(
        about=about,
        name=known.name,
        place=place,
        strain=doubt.strain,
        contradicts=contradicts,
        opinions=tuple(_opinion(network, opinion) for opinion in doubt.opinions),
    )


def _opinion(network: CaseNetwork, opinion: Opinion) -> OpinionLine:
    question = opinion.question
    told = [each for version in network.told[question].values() for each in version]
    known = network.knowledge.findings.get(question.item) or network.knowledge.readings[question.item]
    said = ", ".join(dict.fromkeys(_said(network, each) for each in told))
    under = f"{known.name}, {question.condition}" if question.condition else known.name
    return OpinionLine(
        item=question.item,
        place=question.place,
        what=AGREEMENT["told"].format(what=under, said=said),
        side="for" if opinion.log_ratio >= 0 else "against",
        decibans=decibans(math.exp(opinion.log_ratio)),
        misleads=opinion.p_error,
        apart=opinion.apart,
    )


def _said(network: CaseNetwork, told: Answer | Measured) -> str:
    knowledge = network.knowledge
    if isinstance(told, Answer):
        soft = knowledge.answers.get(told.answer)
        return soft.name if soft is not None else EVIDENCE[told.answer]
    value = f"{number(told.value, knowledge.readings[told.item].decimals)} {told.unit}"
    return EVIDENCE[told.censored].format(value=value) if told.censored else value
