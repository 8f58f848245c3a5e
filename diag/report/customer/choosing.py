"""Which two or three options stand side by side on the customer's page.

The advice comes first; then what also mends something or keeps the seals longer; then leaving it, where that is safe;
with options named by the caller, those. May import: decision (types), knowledge_base, `diag.basics`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from diag.basics import UsageError, did_you_mean
from diag.knowledge_base import Knowledge

if TYPE_CHECKING:
    from diag.decision import PlanOption, RepairDecision

__all__ = ["chosen_options", "mends", "nothing_of", "option_id", "tests_first"]

MOST, LEAST = 3, 2
CURES_MORE, BACK_LESS = 0.05, 0.20  # from which an option is worth showing: against doing nothing
FILLING = ("nothing", "stop_driving", "likeliest", "refer")
BEST = "best"


def option_id(option: PlanOption) -> str:
    """Its id as one word."""
    return option.name.replace(" ", "_")


def mends(knowledge: Knowledge, option: PlanOption) -> bool:
    """Whether anything is mended at this visit."""
    return any(knowledge.repairs[job.repair].kind == "mend" for job in option.jobs)


def tests_first(knowledge: Knowledge, option: PlanOption) -> bool:
    """Whether something is tested first, and what is mended at this visit decided by the result."""
    return any(knowledge.repairs[job.repair].tells for job in option.jobs)


def nothing_of(decision: RepairDecision) -> PlanOption:
    """The option of doing nothing."""
    return next(option for option in decision.options if not option.jobs)


def chosen_options(knowledge: Knowledge, decision: RepairDecision, wanted: Sequence[str]) -> tuple[PlanOption, ...]:
    """The options to show, `wanted` by id or printed name, the advice first where it is among them. Raises UsageError
    for one that is not there or barred, and for fewer than two or more than three."""
    return _wanted(decision, wanted) if wanted else _usual(knowledge, decision)


def _wanted(decision: RepairDecision, wanted: Sequence[str]) -> tuple[PlanOption, ...]:
    known = {option_id(option): option for option in decision.options} | {BEST: decision.best}
    titles = {option.title.replace(" ", "_"): option for option in decision.options}
    found: dict[str, PlanOption] = {}
    for name in wanted:
        word = name.strip().replace(" ", "_")
        option = known.get(word) or titles.get(word)
        if option is None:
            raise UsageError(f"this case has no option '{name}'; {did_you_mean(name, list(known), most=20)}")
        if option.barred:
            raise UsageError(f"option '{name}' is barred and is not offered: {option.barred}")
        found[option_id(option)] = option
    if not LEAST <= len(found) <= MOST:
        raise UsageError(f"two or three different options go side by side, not {len(found)}")
    return tuple(sorted(found.values(), key=lambda option: not option.best))


def _usual(knowledge: Knowledge, decision: RepairDecision) -> tuple[PlanOption, ...]:
    best, nothing = decision.best, nothing_of(decision)
    open_to_us = [option for option in decision.options if not option.barred and option is not best]
    helpful = [option for option in open_to_us if mends(knowledge, option) and _helps(option, nothing)]
    chosen = [best, *helpful[: MOST - 1]]
    rest = {option_id(option): option for option in open_to_us if option not in chosen}
    for name in FILLING:
        room = len(chosen) < (MOST if name in FILLING[:2] else LEAST)
        if name in rest and room:
            chosen.append(rest[name])
    return tuple(chosen)


def _helps(option: PlanOption, nothing: PlanOption) -> bool:
    more = option.cures - nothing.cures >= CURES_MORE
    return more or nothing.again[24] - option.again[24] >= BACK_LESS
