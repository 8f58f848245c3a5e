"""From a repair decision to its sheet.

May import: decision, casebook, knowledge_base, worksheet (in functions), the sheets.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from diag.casebook import Case, access_without_minutes
from diag.knowledge_base import Engine, Knowledge, Repair, Torque, torques_of
from diag.report.cautions import cautions_of
from diag.report.figures import at_place, place_words, tightening
from diag.report.from_case import case_line
from diag.report.sheets_case import ReasonLine
from diag.report.sheets_repair import (
    AccessLine,
    AfterLine,
    AmountLine,
    JobLine,
    OptionLine,
    PartLine,
    PlanLine,
    RepairSheet,
    SpreadLine,
    TorqueLine,
)
from diag.report.steps_words import steps_words
from diag.report.words import AMOUNTS, MAKERS_VALUE, REPAIR, SAID
from diag.report.work_texts import access_words, danger_texts, jobs_words, risk_words

if TYPE_CHECKING:  # results only pass through here, and weighing alone needs no decision
    from diag.decision import AfterTest, Job, OptionSpread, PlanOption, RepairDecision

__all__ = ["after_lines", "own_steps", "repair_sheet", "torque_lines"]

OPENS_PRESSURE = "opens fuel pressure"
TRIM_CODE = "trim_code"


def repair_sheet(
    knowledge: Knowledge,
    case: Case,
    decision: RepairDecision,
    spreads: Mapping[str, OptionSpread] | None = None,
    side: Literal["customer", "workshop"] = "customer",
) -> RepairSheet:
    """The sheet of `diag repair`; `spreads` by the options' names, where they were drawn."""
    known = spreads if spreads is not None else {}
    return RepairSheet(
        case=case_line(case),
        currency=decision.best.breakdown.currency,
        options=tuple(_option(knowledge, case.engine, option, known.get(option.name)) for option in decision.options),
        plan=plan_line(knowledge, case.engine, decision.best),
        barred=tuple(ReasonLine(option.title, option.barred) for option in decision.options if option.barred),
        cautions=danger_texts(knowledge, decision.danger.cautions),
        side=side,
        prices_invented=knowledge.prices.invented,
    )


def _option(knowledge: Knowledge, engine: Engine, option: PlanOption, spread: OptionSpread | None) -> OptionLine:
    return OptionLine(
        name=option.title,
        jobs=tuple(_job_words(knowledge, engine, job) for job in option.jobs),
        best=option.best,
        barred=option.barred,
        invoice=option.invoice.amount,
        cures=option.cures,
        again_12=option.again[12],
        again_24=option.again[24],
        again_36=option.again[36],
        total=option.total.amount,
        spread=_spread(spread) if spread is not None else None,
        after=after_lines(knowledge, engine, option),
    )


def after_lines(knowledge: Knowledge, engine: Engine, option: PlanOption) -> tuple[AfterLine, ...]:
    """What follows each result where a test decides; nothing of other options."""
    return tuple(_following(knowledge, engine, each) for each in option.after)


def _following(knowledge: Knowledge, engine: Engine, after: AfterTest) -> AfterLine:
    banks = len(engine.banks)
    return AfterLine(
        answers=tuple(
            f"{at_place(knowledge.findings[finding].name, place, banks)}: {SAID.get(said, said)}"
            for finding, place, said in after.answers
        ),
        chance=after.chance,
        work=jobs_words(knowledge, engine, after.jobs),
        invoice=after.invoice.amount,
        total=after.total.amount,
    )


def _spread(spread: OptionSpread) -> SpreadLine:
    return SpreadLine(
        cures_complaint=spread.cures_complaint,
        invoice_low=spread.invoice.low,
        invoice_middle=spread.invoice.middle,
        invoice_high=spread.invoice.high,
        total_low=spread.total.low,
        total_middle=spread.total.middle,
        total_high=spread.total.high,
        total_high_error=spread.total.high_error,
        mean=spread.total.mean,
        mean_error=spread.total.mean_error,
        draws=spread.draws,
        left_out=spread.left_out,
        approximate=spread.approximate,
        guarantee=spread.side.guarantee,
        goodwill=spread.side.goodwill,
        margin=spread.side.margin,
    )


def _job_words(knowledge: Knowledge, engine: Engine, job: Job) -> str:
    return at_place(knowledge.repairs[job.repair].name, job.place, len(engine.banks))


def plan_line(knowledge: Knowledge, engine: Engine, option: PlanOption) -> PlanLine:
    """A plan in full: the work with its cautions, what is opened, parts counted, values to tighten to, the money."""
    from diag.worksheet import with_tax

    repairs = [knowledge.repairs[job.repair] for job in option.jobs]
    return PlanLine(
        name=option.title,
        jobs=tuple(_job(knowledge, engine, job) for job in option.jobs),
        access=tuple(_access(knowledge, engine, *key) for key in option.opens),
        parts=_parts(knowledge, repairs),
        torques=torque_lines(engine, (name for repair in repairs for name in torques_of(knowledge, repair))),
        notes=(*_notes(engine, repairs), *_untimed(knowledge, engine, repairs)),
        later=_later(engine, option.later) if option.jobs else "",
        amounts=tuple(AmountLine(AMOUNTS[name], money.amount) for name, money in option.breakdown.amounts.items()),
        total=option.total.amount,
        invoice=option.invoice.amount,
        invoice_with_tax=with_tax(option.invoice.amount, knowledge.prices.tax.value, knowledge.prices.currency),
    )


def _job(knowledge: Knowledge, engine: Engine, job: Job) -> JobLine:
    repair = knowledge.repairs[job.repair]
    awkward = engine.awkward_minutes.get(job.place, 0.0) if isinstance(job.place, int) else 0.0
    return JobLine(
        repair=job.repair,
        name=repair.name,
        place=job.place,
        minutes=repair.minutes.value + (awkward if repair.access != "none" else 0.0),
        cautions=cautions_of(knowledge, repair),
        needs=tuple(knowledge.vocabulary.preconditions.get(need, need) for need in repair.needs),
        tools=repair.tools,
        steps=steps_words(knowledge, own_steps(knowledge, repair), engine),
        must_follow=tuple(knowledge.repairs[follower].name for follower in repair.then),
        may_go_wrong=risk_words(repair),
    )


def own_steps(knowledge: Knowledge, repair: Repair) -> tuple[str, ...]:
    """The steps of the work itself; what stands before and after it, and the dismantling, are on the work sheet."""
    return tuple(name for name in repair.steps if knowledge.steps[name].stage in ("work", "codes"))


def _access(knowledge: Knowledge, engine: Engine, kind: str, bank: str) -> AccessLine:
    only = len(engine.banks) == 1
    return AccessLine(access_words(knowledge, kind), None if only else bank, engine.access_minutes[kind][bank])


def _parts(knowledge: Knowledge, repairs: Sequence[Repair]) -> tuple[PartLine, ...]:
    counts: dict[str, int] = {}
    for repair in repairs:
        for part, count in repair.parts.items():
            counts[part] = counts.get(part, 0) + count
    return tuple(
        PartLine(part, known.name, count, known.price.value, count * known.price.value, known.single_use)
        for part, count in counts.items()
        for known in [knowledge.prices.parts[part]]
    )


def torque_lines(engine: Engine, names: Iterable[str]) -> tuple[TorqueLine, ...]:
    """The engine's tightening values of these names; blank where it has none."""
    lines = []
    for name in dict.fromkeys(names):
        torque = engine.torques.get(name, Torque())
        words = tightening(torque.newton_metres, torque.then_degrees)
        lines.append(TorqueLine(name.replace("_", " "), torque.newton_metres, torque.then_degrees, words))
    return tuple(lines)


def _notes(engine: Engine, repairs: Sequence[Repair]) -> Iterable[str]:
    if any(OPENS_PRESSURE in repair.hazards for repair in repairs):
        wait = engine.wait_after_stop_minutes
        yield REPAIR["wait_blank"] if wait is None else REPAIR["wait"].format(minutes=wait)
    if any(TRIM_CODE in repair.renews for repair in repairs):
        length, alphabet = engine.trim_code.length, engine.trim_code.alphabet
        yield REPAIR["trim_code"].format(
            length=MAKERS_VALUE if length is None else length, alphabet=alphabet or MAKERS_VALUE
        )


def _untimed(knowledge: Knowledge, engine: Engine, repairs: Sequence[Repair]) -> Iterable[str]:
    missing = access_without_minutes(knowledge, engine, (repair.access for repair in repairs))
    if missing:
        yield REPAIR["untimed"].format(what=", ".join(knowledge.vocabulary.access[kind].name for kind in missing))


def _later(engine: Engine, policy: Sequence[str]) -> str:
    """How the workshop would act at a later seal, in words."""
    if not policy:
        return ""
    if tuple(policy) == ("all",):
        return REPAIR["later_all"]
    if len(set(policy)) == 1:
        return REPAIR[f"later_{policy[0]}"]
    return REPAIR["later_by_bank"].format(
        banks="; ".join(
            f"{place_words(bank)}: {REPAIR[f'later_short_{how}']}"
            for bank, how in zip(engine.banks, policy, strict=True)
        )
    )
