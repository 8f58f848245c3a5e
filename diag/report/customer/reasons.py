"""The sentences of the customer's page: what is wrong, why the advice, what if nothing is done, what is not known.

Every one is read off the same numbers as the technician's pages. May import: decision (types), casebook, the sheets,
and choosing, speaking of this folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from diag.casebook import Case, access_without_minutes
from diag.report.customer.choosing import mends, nothing_of, tests_first
from diag.report.customer.speaking import Speaker
from diag.report.naming import only_state
from diag.report.sheets_weigh import FaultLine, WeighSheet

if TYPE_CHECKING:
    from diag.decision import Advice, Danger, PlanOption, RepairDecision

__all__ = ["advice_lines", "leading", "nothing_lines", "safety_lines", "unknown_lines", "wrong_lines"]

SHOWN_FROM, SHOWN_AT_MOST = 0.10, 3
MAYBE_NOTHING_FROM = 0.33
MAY_LEAVE_SOMETHING_BELOW = 0.33
TROUBLE_FROM = 5.0
MATTERS = 0.02  # a difference of chances that is worth a sentence


def leading(weighed: WeighSheet) -> tuple[FaultLine, ...]:
    """The faults that the page speaks of, likeliest first."""
    likely = [fault for fault in weighed.faults if fault.fault and fault.listed and fault.chance >= SHOWN_FROM]
    return tuple(likely[:SHOWN_AT_MOST])


def safety_lines(speaker: Speaker, danger: Danger) -> tuple[str, ...]:
    """What must not be done, where something dangerous was found or is probable."""
    if not danger.present:
        return ()
    words = speaker.language.dangers
    return tuple(dict.fromkeys(words.get(name, words["other"]) for name in danger.cautions or ("other",)))


def wrong_lines(speaker: Speaker, weighed: WeighSheet, decision: RepairDecision) -> tuple[str, ...]:
    """What is wrong and how sure that is; last what 'judged, not counted' means."""
    faults = leading(weighed)
    lines = [_wrong(speaker, fault) for fault in faults] or [speaker.say("nothing_clear")]
    sound = nothing_of(decision).cures
    if sound >= MAYBE_NOTHING_FROM:
        lines.append(speaker.say("maybe_nothing", sure=speaker.sure(sound)))
    if any(fault.judged for fault in (faults or weighed.faults)):
        lines.append(speaker.say("judged_note"))
    return tuple(lines)


def _wrong(speaker: Speaker, fault: FaultLine) -> str:
    sentence, sure = speaker.fault(fault.component, only_state(fault)), speaker.sure(fault.chance, fault.judged)
    where = speaker.place(fault.place)
    if where:
        return speaker.say("wrong_line", where=where, sentence=sentence, sure=sure)
    return speaker.say("wrong_line_vehicle", sentence=sentence, sure=sure)


def advice_lines(speaker: Speaker, advice: Advice, options: Sequence[PlanOption], letters: str) -> tuple[str, ...]:
    """What is advised and why: a check first where one is worth it, then the best plan against the others shown."""
    best = advice.repair.best
    letter = {id(option): letters[index] for index, option in enumerate(options)}
    others = [option for option in options if option is not best]
    lines = [*_check(speaker, advice)]
    if id(best) in letter:
        phrase = "advice_check_then" if lines else "advice_repair" if best.jobs else "advice_wait"
        lines.append(speaker.say(phrase, letter=letter[id(best)]))
    if id(best) in letter:
        lines += _totals(speaker, best, others, letter)
        lines += _against(speaker, best, others, letter)
        if mends(speaker.knowledge, best) and best.cures < MAY_LEAVE_SOMETHING_BELOW:
            lines.append(speaker.say("why_not_all"))
    return tuple(lines)


def _check(speaker: Speaker, advice: Advice) -> tuple[str, ...]:
    check = advice.check
    if check is None:
        return ()
    tax = 1.0 + speaker.knowledge.prices.tax.value
    where = speaker.place(check.place)
    said = speaker.say(
        "advice_check",
        check=speaker.check(check.check),
        place=f" ({where})" if where else "",
        time=speaker.duration(check.minutes),
        money=speaker.money(max(check.cost.amount, 0.0) * tax),
    )
    return (said, *([speaker.say("advice_check_danger")] if check.safety else []))


def _totals(
    speaker: Speaker, best: PlanOption, others: Sequence[PlanOption], letter: dict[int, str]
) -> tuple[str, ...]:
    """What the advice comes to in the end beside the cheapest other plan; testing first may cost less."""
    total, said = speaker.money(best.total.amount), []
    tested = next((option for option in others if tests_first(speaker.knowledge, option)), None)
    if tested is not None:
        told = {"other": letter[id(tested)], "other_total": speaker.money(tested.total.amount)}
        said.append(speaker.say("why_tested", letter=letter[id(best)], total=total, **told))
    plans = [option for option in others if option is not tested]
    if plans:
        second = min(plans, key=lambda option: option.total.amount)
        told = {"other": letter[id(second)], "other_total": speaker.money(second.total.amount)}
        said.append(speaker.say("why_cheapest" if tested is None else "why_other", total=total, **told))
    return tuple(said)


def _against(
    speaker: Speaker, best: PlanOption, others: Sequence[PlanOption], letter: dict[int, str]
) -> tuple[str, ...]:
    """How the advice differs from the options beside it, at most one sentence each way."""
    found: dict[str, str] = {}
    for option in others:
        if not mends(speaker.knowledge, option):
            continue
        dearer = option.invoice.amount > best.invoice.amount
        if dearer and option.again[24] < best.again[24] - MATTERS:
            found.setdefault("why_more", letter[id(option)])
        worse = option.again[24] > best.again[24] + MATTERS or option.cures < best.cures - MATTERS
        if not dearer and worse:
            found.setdefault("why_less", letter[id(option)])
    return tuple(speaker.say(phrase, letter=other, other=other) for phrase, other in found.items())


def nothing_lines(speaker: Speaker, weighed: WeighSheet, decision: RepairDecision) -> tuple[str, ...]:
    """What happens if nothing is done: how likely the fault stays, and what comes of it."""
    nothing = nothing_of(decision)
    lines = [speaker.say("nothing_danger")] if nothing.barred else []
    lines.append(speaker.say("nothing_stays", sure=speaker.sure(1.0 - nothing.cures)))
    components = list(dict.fromkeys(fault.component for fault in leading(weighed)))[:2]
    return (*lines, *(text for text in map(speaker.left, components) if text))


def unknown_lines(
    speaker: Speaker,
    case: Case,
    weighed: WeighSheet,
    advice: Advice,
    priced: PlanOption,
    options: Sequence[PlanOption],
) -> tuple[str, ...]:
    """What is not known yet: other causes, what is not listed, trouble on the way in the price of `priced`, missing
    facts, and what no price of `options` holds."""
    shown = leading(weighed)
    others = [fault for fault in weighed.faults if fault.fault and fault.listed and fault not in shown]
    lines = []
    if others:
        lines.append(speaker.say("unknown_other", sure=speaker.sure(others[0].chance)))
    unlisted = max((fault.chance for fault in weighed.faults if not fault.listed), default=0.0)
    if unlisted >= MATTERS:
        lines.append(speaker.say("unknown_unlisted", sure=speaker.sure(unlisted)))
    if advice.check is not None:
        lines.append(speaker.say("unknown_check"))
    trouble = priced.breakdown.complications * (1.0 + speaker.knowledge.prices.tax.value)
    if trouble >= TROUBLE_FROM:
        lines.append(speaker.say("unknown_trouble", money=speaker.money(trouble)))
    wanted = (speaker.knowledge.repairs[job.repair].access for option in options for job in option.jobs)
    if access_without_minutes(speaker.knowledge, case.engine, wanted):
        lines.append(speaker.say("unknown_opening"))
    if case.distance_km is None:
        lines.append(speaker.say("unknown_distance"))
    if case.age_years is None:
        lines.append(speaker.say("unknown_age"))
    return tuple(lines)
