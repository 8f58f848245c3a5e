"""The parts of a sheet that say how far the findings agree, with the codes of the control unit and the trim codes.

May import: `diag.basics`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.basics import Place

__all__ = [
    "AgreementLine",
    "CodeLine",
    "DoubtLine",
    "MissingCodeLine",
    "OpinionLine",
    "RarityLine",
    "SoftLine",
    "TrimCodeLine",
    "TrimLedger",
]


@dataclass(frozen=True)
class OpinionLine:
    """One answer or reading about a thing on which the findings pull apart."""

    item: Annotated[str, "id of the finding or reading"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    what: Annotated[str, "the finding or reading and what was told of it, in words"]
    side: Annotated[Literal["for", "against"], "whether it speaks for or against the thing"]
    decibans: Annotated[float, "how strongly, 10 log10 of the likelihood ratio (Good 1985); negative against"]
    misleads: Annotated[float, "chance that this answer is an error, if 1 of 5 answers is"]
    apart: Annotated[float, "partial conflict with all other findings, ln P(it) / P(it | the others) (Jensen 1990)"]


@dataclass(frozen=True)
class DoubtLine:
    """A thing about which something was told: how much better the findings would fit if some of them were errors."""

    about: Annotated[str, "id of the severity or component"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    strain: Annotated[float, "probability of the findings if 1 of 5 answers about it errs, over that if none does"]
    contradicts: Annotated[bool, "whether the answers about it contradict each other"]
    opinions: Annotated[tuple[OpinionLine, ...], "the answers about it, first the one to check again first"]


@dataclass(frozen=True)
class RarityLine:
    """How rare it is that so much is out of the ordinary, by simulation."""

    tail: Annotated[float, "share of simulated vehicles that show as much out of the ordinary, 0 to 1"]
    error: Annotated[float, "standard error of that share, from the number of draws"]
    draws: Annotated[int, "number of simulated vehicles compared with"]
    among_complaints: Annotated[bool, "whether only those were taken that show one of the symptoms told"]


@dataclass(frozen=True)
class AgreementLine:
    """How far the findings agree with each other, and with what the knowledge expects."""

    conflict: Annotated[float, "ln of the product of P(finding) over P(all findings) (Jensen et al. 1990)"]
    contradicts: Annotated[bool, "whether the findings contradict each other"]
    doubts: Annotated[tuple[DoubtLine, ...], "everything about which something was told, most strained first"]
    unlisted: Annotated[float, "posterior probability that something is wrong that is not listed, 0 to 1"]
    unlisted_before: Annotated[float, "the same before anything was told"]
    rarity: Annotated[RarityLine | None, "how rare such findings are; null where nothing counts"]


@dataclass(frozen=True)
class SoftLine:
    """A soft answer that was given, and what it counts."""

    answer: Annotated[str, "id of the soft answer"]
    name: Annotated[str, "its words"]
    ratio: Annotated[float, "how many times likelier it is given when the finding is there than when it is not"]
    decibans: Annotated[float, "the same as 10 log10 of the ratio (Good 1985)"]
    basis: Annotated[str, "where the ratio comes from: the source kind of the knowledge"]


@dataclass(frozen=True)
class CodeLine:
    """A fault code that was read with its state."""

    code: Annotated[str, "the code"]
    name: Annotated[str | None, "what the knowledge calls it; null where it does not have it"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    state: Annotated[str, "id of its state: present, stored, intermittent, pending, passed, not_tested"]
    words: Annotated[str, "what that state says"]
    status: Annotated[int | None, "the status byte of ISO 14229-1, where that was told"]
    epoch: Annotated[int, "0 for what was read at first, then one up for each repair tried"]


@dataclass(frozen=True)
class MissingCodeLine:
    """A code that would have been expected under what is believed now, and was not told."""

    item: Annotated[str, "id of the finding"]
    code: Annotated[str, "the code"]
    name: Annotated[str, "what the knowledge calls it"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    chance: Annotated[float, "probability that it would be stored, given all that was told but of itself, 0 to 1"]
    looked_for: Annotated[bool, "whether it was told that it is not stored"]


@dataclass(frozen=True)
class TrimCodeLine:
    """The trim codes of one cylinder, held side by side."""

    cylinder: Annotated[int, "number of the cylinder"]
    part: Annotated[str | None, "the code on the injector; null where it was not read"]
    unit: Annotated[str | None, "the code in the control unit; empty where it holds none, null where not read"]
    part_before: Annotated[str | None, "the code on the injector that was there before; null where not known"]
    unit_before: Annotated[str | None, "the code stored before; null where not known"]
    verdict: Annotated[str, "id of the verdict: agrees, not_stored, old_code, of_another, differs, unknown"]
    words: Annotated[str, "the verdict in words"]


@dataclass(frozen=True)
class TrimLedger:
    """The ledger of trim codes."""

    lines: Annotated[tuple[TrimCodeLine, ...], "the cylinders of which codes were noted, ascending"]
    remarks: Annotated[tuple[str, ...], "what a person should look at, in sentences"]
