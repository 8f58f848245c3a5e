"""The sheet of `diag weigh` (see `sheets_case` for the rules of sheets). May import: `diag.basics`, sheets_agreement,
sheets_case.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from diag.basics import Place
from diag.report.sheets_agreement import AgreementLine, CodeLine, MissingCodeLine, SoftLine, TrimLedger
from diag.report.sheets_case import CaseLine, EvidenceLine

__all__ = ["CombinationLine", "CylinderLine", "FaultLine", "PlacedState", "StateLine", "WeighSheet"]


@dataclass(frozen=True)
class StateLine:
    """One state of a component, with its chance."""

    state: Annotated[str, "id of the state"]
    name: Annotated[str, "its name"]
    chance: Annotated[float, "posterior probability, 0 to 1"]
    dangerous: Annotated[bool, "whether it bars driving on and leaving it"] = False


@dataclass(frozen=True)
class FaultLine:
    """A component at a place, and how likely it is to be at fault."""

    component: Annotated[str, "id of the component"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    chance: Annotated[float, "posterior probability that it is in any unsound state, 0 to 1"]
    words: Annotated[str, "that chance in a word of the scale of Mastrandrea et al. (2010), made disjoint"]
    states: Annotated[tuple[StateLine, ...], "every state with its chance, the sound one first"]
    fault: Annotated[bool, "false for a circumstance, which no repair mends"]
    listed: Annotated[bool, "false for 'something that this knowledge does not list'"]
    dangerous: Annotated[bool, "whether a dangerous state of it has a chance of 10 % or more"]
    judged: Annotated[bool, "whether its numbers are judged, not counted"]


@dataclass(frozen=True)
class CylinderLine:
    """A cylinder, and whether anything is wrong on it."""

    cylinder: Annotated[int, "number of the cylinder"]
    bank: Annotated[str, "letter of its bank"]
    chance: Annotated[float, "posterior probability that at least one of its components is at fault, 0 to 1"]
    words: Annotated[str, "that chance in a word"]
    leading: Annotated[str, "its likeliest fault, in words"]


@dataclass(frozen=True)
class PlacedState:
    """One unsound component of a combination."""

    component: Annotated[str, "id of the component"]
    state: Annotated[str, "id of its state"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    words: Annotated[str, "both in words, with what it was before"]
    before: Annotated[str, "before which repair it was so, such as 'its second repair'; empty: now"] = ""


@dataclass(frozen=True)
class CombinationLine:
    """Everything that is wrong together, all else being sound."""

    faults: Annotated[tuple[PlacedState, ...], "the unsound components; empty: nothing is wrong"]
    chance: Annotated[float, "posterior probability of exactly this combination, 0 to 1"]


@dataclass(frozen=True)
class WeighSheet:
    """`diag weigh`: the faults behind a case."""

    case: Annotated[CaseLine, "the case and its engine"]
    cylinders: Annotated[tuple[CylinderLine, ...], "the cylinders, ascending"]
    faults: Annotated[tuple[FaultLine, ...], "every component at every place, likeliest fault first"]
    combinations: Annotated[tuple[CombinationLine, ...], "the likeliest combinations, likeliest first"]
    evidence: Annotated[tuple[EvidenceLine, ...], "what was told"]
    notes: Annotated[tuple[str, ...], "what was assumed, and what has no effect, in sentences"]
    log_evidence: Annotated[float, "natural logarithm of the probability of all that was told"]
    method: Annotated[str, "which of the two exact forms answered: 'subtracting' or 'carrying'"]
    cancellation: Annotated[float, "bound on the relative error by subtraction, measured"]
    agreement: Annotated[AgreementLine | None, "how far the findings agree; null where that was not asked"] = None
    soft: Annotated[tuple[SoftLine, ...], "the soft answers that were given, and what they count"] = ()
    codes: Annotated[tuple[CodeLine, ...], "the fault codes that were read with a state"] = ()
    missing_codes: Annotated[
        tuple[MissingCodeLine, ...], "codes expected under what is believed now, and not told"
    ] = ()
    trim_codes: Annotated[TrimLedger | None, "the ledger of trim codes; null where none was noted"] = None
    cautions: Annotated[tuple[str, ...], "what stands first, where something dangerous was told or is likely"] = ()
