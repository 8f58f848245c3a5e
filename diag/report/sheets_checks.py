"""The sheet of `diag next` (see `sheets_case` for the rules of sheets). May import: `diag.basics`, sheets_case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.basics import Place
from diag.report.sheets_case import CaseLine, ReasonLine

__all__ = ["CheckLine", "NextSheet"]


@dataclass(frozen=True)
class CheckLine:
    """A check at a place: what it costs and what its answer is worth."""

    check: Annotated[str, "id of the check"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    minutes: Annotated[float, "minutes of work, what is to be opened included"]
    opens: Annotated[tuple[str, ...], "what is to be opened for it, in words"]
    worth: Annotated[
        float,
        "what the answer saves on average, in `currency`; it may be worth more, as plans that treat several places "
        "otherwise than the best ones are not looked at",
    ]
    cost: Annotated[float, "what doing it costs, in `currency`"]
    net: Annotated[float, "worth less cost, in `currency`"]
    error: Annotated[float, "standard error of the worth where it was drawn, in `currency`; 0: worked out"]
    at_least: Annotated[bool, "true where part of what it could tell was left out: it is worth at least this"]
    first_by_rule: Annotated[bool, "true where it looks into a danger and comes first whatever it is worth"]
    how: Annotated[str, "how it is done"]
    needs: Annotated[tuple[str, ...], "what must be so first"]
    tools: Annotated[tuple[str, ...], "tools"]
    answers: Annotated[tuple[str, ...], "what it answers"]
    cautions: Annotated[tuple[str, ...], "warnings to read first"]
    may_go_wrong: Annotated[tuple[str, ...], "what can go wrong on the way"]
    parts: Annotated[tuple[str, ...], "parts used up"]
    ahead: Annotated[float, "net where the best second check follows after the answers that ask for it"] = 0.0
    follow: Annotated[str, "that second check with its place, in words; empty where none betters it"] = ""
    along: Annotated[tuple[str, ...], "checks that pay in the same go, because what this one opens serves them"] = ()
    closes: Annotated[tuple[str, ...], "what stands open and must be closed first, as the engine turns for it"] = ()


@dataclass(frozen=True)
class NextSheet:
    """`diag next`: what to check next."""

    case: Annotated[CaseLine, "the case and its engine"]
    currency: Annotated[str, "currency of all money here, ISO 4217"]
    stop: Annotated[bool, "true where no check is worth its cost: repair now, or do what `way_out` says"]
    repairs: Annotated[bool, "true where the best plan on what is known now repairs something"]
    total_now: Annotated[float, "expected total of the best plan on what is known now, in `currency`"]
    checks: Annotated[tuple[CheckLine, ...], "the checks, best first"]
    barred: Annotated[tuple[ReasonLine, ...], "checks not possible here"]
    left_out: Annotated[float, "chance of the shared circumstances that the ranking left out, 0 to 1"]
    laid_aside: Annotated[int, "groups of the vehicle's findings that the ranking took one by one, as too many meet"]
    off: Annotated[float, "largest difference that this makes to the chance of a fault, 0 to 1"]
    cautions: Annotated[tuple[str, ...], "warnings that stand whatever is checked"]
    way_out: Annotated[
        Literal["", "stand", "hand_on"],
        "what the best plan does in place of a repair: let it stand, or hand it on; empty where it repairs, or nothing",
    ] = ""
