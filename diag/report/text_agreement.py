"""What a page says where the findings do not agree. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.report.blocks import Block, Heading, Items, Sentence
from diag.report.figures import per_cent, place_words
from diag.report.sheets_agreement import AgreementLine, DoubtLine, OpinionLine, RarityLine
from diag.report.words_agreement import AGREEMENT

__all__ = ["agreement_blocks"]

RARE = 0.01
UNLISTED_SHOWN_FROM = 0.05
MISLEADS_FROM = 0.4
RECHECK_AT_MOST = 4
PULLS_FROM = 3.0  # decibans together, 2 to 1, from which answers are said to speak for or against


def agreement_blocks(line: AgreementLine | None) -> tuple[Block, ...]:
    """Nothing where the findings agree; else what pulls apart, what to look at again first, and what is left over."""
    if line is None:
        return ()
    blocks: list[Block] = []
    contradicting = [doubt for doubt in line.doubts if doubt.contradicts]
    for doubt in contradicting:
        blocks += _doubt(doubt)
    if line.contradicts and not contradicting:
        blocks += [Sentence(AGREEMENT["as_a_whole"], strong=True), *_farthest(line)]
    if line.rarity is not None and line.rarity.tail < RARE:
        blocks.append(Sentence(_rare(line.rarity)))
    if line.contradicts or line.unlisted >= max(UNLISTED_SHOWN_FROM, 2 * line.unlisted_before):
        share = AGREEMENT["unlisted"].format(now=per_cent(line.unlisted), before=per_cent(line.unlisted_before))
        blocks.append(Sentence(share))
    return (Heading(AGREEMENT["heading"]), *blocks) if blocks else ()


def _doubt(doubt: DoubtLine) -> list[Block]:
    said = {side: tuple(each.what for each in doubt.opinions if each.side == side) for side in ("for", "against")}
    again = [each for each in doubt.opinions if each.misleads >= MISLEADS_FROM] or list(doubt.opinions[:1])
    both = min(_pull(doubt, "for"), _pull(doubt, "against")) >= PULLS_FROM
    verdict = AGREEMENT["about" if both else "alone"]
    return [
        Sentence(verdict.format(name=doubt.name, place=place_words(doubt.place)), strong=True),
        Items(AGREEMENT["for"], said["for"]),
        Items(AGREEMENT["against"], said["against"]),
        *_again(again),
    ]


def _pull(doubt: DoubtLine, side: str) -> float:
    return sum(abs(each.decibans) for each in doubt.opinions if each.side == side)


def _farthest(line: AgreementLine) -> list[Block]:
    """The answers that are least expected beside the others."""
    every = sorted((each for doubt in line.doubts for each in doubt.opinions), key=lambda each: -each.apart)
    return _again([each for each in every if each.apart > 0])


def _again(opinions: Sequence[OpinionLine]) -> list[Block]:
    texts = tuple(
        AGREEMENT["again_one"].format(what=each.what, place=place_words(each.place))
        for each in opinions[:RECHECK_AT_MOST]
    )
    return [Items(AGREEMENT["again"], texts, numbered=True)] if texts else []


def _rare(rarity: RarityLine) -> str:
    whom = AGREEMENT["with_complaint" if rarity.among_complaints else "of_all"]
    few = rarity.tail * (rarity.draws + 1) < 1.5
    return AGREEMENT["rare_none" if few else "rare"].format(
        one_in=f"{1 / rarity.tail:,.0f}", draws=f"{rarity.draws:,}", whom=whom
    )
