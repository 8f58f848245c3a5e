"""The sheet of `diag why`. Weights are decibans (Good 1985), + for the fault; null where a finding settles the matter.

May import: `diag.basics`, sheets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from diag.basics import Place
from diag.report.sheets_case import CaseLine

__all__ = [
    "AdviceWhyLine",
    "ContrastLine",
    "CourseLine",
    "DifferenceLine",
    "NeighbourLine",
    "SourceLine",
    "TurningLine",
    "WeightLine",
    "WhyFault",
    "WhySheet",
    "WorthLine",
]


@dataclass(frozen=True)
class WhyFault:
    """A fault that is asked about."""

    component: Annotated[str, "id of the component"]
    name: Annotated[str, "the fault in words"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    states: Annotated[tuple[str, ...], "ids of the unsound states that are meant"]


@dataclass(frozen=True)
class WeightLine:
    """One thing that was told, and its weights of evidence."""

    finding: Annotated[str, "what was told of"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    said: Annotated[str, "the answer or the value"]
    after: Annotated[str, "the work tried before it was told; empty: none"]
    decibans: Annotated[float | None, "what it added to the log-odds when its turn came; null: it settled the matter"]
    words: Annotated[str, "that weight in a word of the grades of Jeffreys (1961)"]
    chance_then: Annotated[float, "probability of the fault after it was told, 0 to 1"]
    own_decibans: Annotated[float | None, "by how much the log-odds fall if it alone is taken back now; null: no bound"]
    own_words: Annotated[str, "that in a word"]
    contrast_decibans: Annotated[float | None, "what it added to the log-odds of the fault against the rival"]
    contrast_own_decibans: Annotated[float | None, "the same when it alone is taken back now"]


@dataclass(frozen=True)
class ContrastLine:
    """The fault without the rival, against the rival without the fault."""

    rival: Annotated[WhyFault, "the other fault"]
    prior_decibans: Annotated[float | None, "log-odds before anything was told; null: not finite"]
    posterior_decibans: Annotated[float | None, "log-odds now; null: not finite"]
    only_fault: Annotated[float, "probability now of the fault without the rival, 0 to 1"]
    only_rival: Annotated[float, "probability now of the rival without the fault, 0 to 1"]
    both: Annotated[float, "probability now of both, 0 to 1"]


@dataclass(frozen=True)
class SourceLine:
    """What all findings of one place do to one component at one place."""

    place: Annotated[Place, "where the findings were told: cylinder number, bank letter, or null for the vehicle"]
    decibans: Annotated[float | None, "by how much the log-odds fall if all of them are taken back; null: no bound"]
    words: Annotated[str, "that in a word"]
    chance_without: Annotated[float, "probability without them, 0 to 1"]


@dataclass(frozen=True)
class NeighbourLine:
    """The component of the fault at one of its places, and what the findings of each place do to it."""

    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    chance: Annotated[float, "probability now that it is in any unsound state, 0 to 1"]
    sources: Annotated[tuple[SourceLine, ...], "by the place of the findings"]


@dataclass(frozen=True)
class CourseLine:
    """Belief in one fault before anything was told and after each finding."""

    fault: Annotated[WhyFault, "the fault"]
    chances: Annotated[tuple[float, ...], "probabilities, one more than there are findings, the first before them all"]


@dataclass(frozen=True)
class DifferenceLine:
    """One part of the money, of the best plan and of the next."""

    name: Annotated[str, "the part"]
    best: Annotated[float, "money of the best plan"]
    other: Annotated[float, "money of the next"]
    more: Annotated[float, "by how much the next is dearer in it"]


@dataclass(frozen=True)
class WorthLine:
    """What it was worth to be told one thing."""

    finding: Annotated[int, "its number among the findings, from 0"]
    told: Annotated[str, "it in words"]
    turned: Annotated[bool, "whether the best plan would be another without it"]
    plan: Annotated[str, "the best plan without it"]
    total_then: Annotated[float, "what that plan would be expected to cost on all else that was told"]
    costs_now: Annotated[float | None, "what it costs on everything known; null: it is barred now"]
    saved: Annotated[float | None, "by how much the best plan now is cheaper; null: it is barred now"]
    barred: Annotated[str, "why it is barred now; empty: it is not"]


@dataclass(frozen=True)
class TurningLine:
    """An answer to come that would turn the advice."""

    item: Annotated[str, "id of the finding or reading"]
    name: Annotated[str, "it in words"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    outcomes: Annotated[tuple[str, ...], "the answer; of a reading, the values that turn it alike"]
    chance: Annotated[float, "probability of the answer now, 0 to 1"]
    plan: Annotated[str, "the best plan then"]
    saved: Annotated[float | None, "by how much it is then cheaper than today's plan; null: today's is then barred"]


@dataclass(frozen=True)
class AdviceWhyLine:
    """Why the advice is what it is."""

    currency: Annotated[str, "currency of all money here"]
    best: Annotated[str, "the best plan"]
    other: Annotated[str, "the next best; empty: there is none"]
    ahead: Annotated[float, "by how much the best is cheaper; the sum of the differences"]
    parts: Annotated[tuple[DifferenceLine, ...], "the parts of both totals"]
    worth: Annotated[tuple[WorthLine, ...], "what each answer so far was worth"]
    turning: Annotated[tuple[TurningLine, ...], "answers to come that would turn it, the one that matters most first"]
    looked_at: Annotated[int, "how many possible answers were tried"]
    left_out: Annotated[int, "how many further questions were not"]


@dataclass(frozen=True)
class WhySheet:
    """`diag why`."""

    case: Annotated[CaseLine, "the case"]
    fault: Annotated[WhyFault, "the fault that is asked about"]
    cautions: Annotated[tuple[str, ...], "cautions that come first, where something dangerous was found or is likely"]
    judged: Annotated[bool, "whether the numbers behind the fault are judged, not counted"]
    in_short: Annotated[str, "the answer in one or two sentences"]
    chance_before: Annotated[float, "probability before anything was told, 0 to 1"]
    chance: Annotated[float, "probability now, 0 to 1"]
    prior_decibans: Annotated[float | None, "log-odds before anything was told; null: not finite"]
    posterior_decibans: Annotated[float | None, "log-odds now: the prior and all weights of findings; null: not finite"]
    findings: Annotated[tuple[WeightLine, ...], "everything that was told, in its order"]
    contrast: Annotated[ContrastLine, "why this fault and not its rival"]
    neighbours: Annotated[tuple[NeighbourLine, ...], "what the findings of each place do to the component everywhere"]
    course: Annotated[tuple[CourseLine, ...], "belief after each finding, of the faults that mattered"]
    advice: Annotated[AdviceWhyLine | None, "what the advice rests on, where asked for; else null"]
