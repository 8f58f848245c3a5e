"""The page of `diag repair`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence
from shlex import quote

from diag.basics import counted
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Onward, Sentence, Table, of_case_to_name
from diag.report.figures import at_place, at_places, duration, money, per_cent, rounded_to_sum
from diag.report.sheets_repair import JobLine, OptionLine, PlanLine, RepairSheet
from diag.report.text_case import case_blocks
from diag.report.text_next import by_reason
from diag.report.words import ABOUT, MAKERS_DATA_FIRST, REPAIR
from diag.report.words_checks import CHECKS

__all__ = [
    "advice_sentence",
    "after_blocks",
    "grouped_jobs",
    "jobs_title",
    "money_blocks",
    "options_blocks",
    "plan_blocks",
    "repair_blocks",
]

LEAST_GAIN = 0.03  # of the chance of cure, from which an option has a line of its own


def repair_blocks(sheet: RepairSheet, head: bool = True, onward: Onward = of_case_to_name) -> tuple[Block, ...]:
    """The options side by side, then the advised plan with its work, parts, values, cautions and money.

    Without `head`, title, verdict and the cautions that stand whatever is done were said already. `onward` makes the
    command of the work sheet.
    """
    blocks: list[Block] = [*(case_blocks(sheet.case) if head else ())]
    if head:
        blocks += [Cautions(sheet.cautions), *_chosen_for(sheet), Sentence(advice_sentence(sheet), strong=True)]
        blocks += [] if sheet.plan.jobs else [Sentence(REPAIR["check_first"], command=onward("next"))]
    blocks += options_blocks(sheet)
    if sheet.barred:
        blocks += [
            Heading(REPAIR["why_barred"]),
            Items("", by_reason(sheet.barred)),
        ]
    blocks += plan_blocks(sheet, onward)
    blocks += _own_side_blocks(sheet) if head else ()
    return (*blocks, Sentence(MAKERS_DATA_FIRST))


def plan_blocks(sheet: RepairSheet, onward: Onward = of_case_to_name) -> tuple[Block, ...]:
    """The plan in full: its work with the cautions, values, parts, and how its money comes about."""
    return (
        *_work(sheet.plan, len(sheet.case.banks), _of_work_sheet(sheet, onward)),
        *_values(sheet.plan, sheet.case.invented),
        *_parts(sheet.plan, sheet.currency),
        *money_blocks(sheet.plan, sheet.currency),
    )


def advice_sentence(sheet: RepairSheet) -> str:
    """What is advised, in one sentence with its money: the work, or that nothing is to be done; and where testing first
    comes to less than the best plan does untested, that it does."""
    return " ".join([_advised(sheet), *_tested_first(sheet)])


def _tested_first(sheet: RepairSheet) -> tuple[str, ...]:
    """Whether the first of the options costs less than the advice: only testing first, which is no plan, can."""
    first = min((option for option in sheet.options if not option.barred), key=lambda option: option.total)
    if sheet.side != "customer" or first.best or round(first.total) >= round(sheet.plan.total):
        return ()
    total, own = money(first.total, sheet.currency), money(sheet.plan.total, sheet.currency)
    return (REPAIR["advice_tested"].format(option=first.name, total=total, own=own),)


def _advised(sheet: RepairSheet) -> str:
    plan = sheet.plan
    if not plan.jobs:
        return REPAIR["advice_nothing"]
    banks = len(sheet.case.banks)
    return REPAIR["advice"].format(
        work="; ".join(_named(jobs, banks) for jobs in grouped_jobs(plan)),
        invoice=money(plan.invoice, sheet.currency),
        with_tax=money(plan.invoice_with_tax, sheet.currency),
    )


def options_blocks(sheet: RepairSheet) -> tuple[Block, ...]:
    """The options side by side; those that mend no more than leaving it and cost more only by name."""
    columns = (
        Column(REPAIR["option"], grows=True, least=22),
        Column(REPAIR["invoice"], right=True),
        Column(REPAIR["cures"], right=True),
        *(Column(REPAIR["short_again"].format(months=months), right=True) for months in (12, 24, 36)),
        Column(REPAIR["total"], right=True),
    )
    idle = _no_better_than_leaving(sheet.options)
    shown = [option for option in sheet.options if option not in idle]
    best = next((index for index, option in enumerate(shown) if option.best), None)
    blocks: list[Block] = [
        Heading(REPAIR["heading"]),
        Table(columns, tuple(_option(option) for option in shown), strong_row=best),
    ]
    if idle:
        names = "; ".join(f"{option.name} ({option.total:,.0f})" for option in idle)
        blocks.append(Sentence(REPAIR["no_better"].format(names=names)))
    blocks.append(Sentence(REPAIR["columns_mean"].format(currency=sheet.currency)))
    if sheet.prices_invented and not sheet.case.invented:
        blocks.append(Sentence(REPAIR["prices_invented"], strong=True))
    for option in shown:
        blocks += after_blocks(option, sheet.currency)
    return (*blocks, *_spread_blocks(sheet, shown, best))


def after_blocks(option: OptionLine, currency: str) -> tuple[Block, ...]:
    """What follows each result of a test that decides; nothing for other options, nor for one that is barred."""
    if not option.after or option.barred:
        return ()
    lines = tuple(
        REPAIR["after_line"].format(
            answers="; ".join(each.answers),
            chance=per_cent(each.chance),
            work="; ".join(each.work),
            invoice=money(each.invoice, currency),
            total=money(each.total, currency),
        )
        for each in option.after
    )
    same = len({each.work for each in option.after}) == 1
    return (
        Heading(REPAIR["after"]),
        Items("", lines),
        *([Sentence(REPAIR["after_same"])] if same else []),
    )


def _no_better_than_leaving(options: Sequence[OptionLine]) -> tuple[OptionLine, ...]:
    """The options that cure hardly more than doing nothing and cost more in the end; none where leaving is barred."""
    leaving = next((option for option in options if not option.jobs and not option.barred), None)
    if leaving is None:
        return ()
    return tuple(
        option
        for option in options
        if option.jobs
        and not option.best
        and option.cures < leaving.cures + LEAST_GAIN
        and option.total > leaving.total
    )


def _spread_blocks(sheet: RepairSheet, shown: Sequence[OptionLine], best: int | None) -> tuple[Block, ...]:
    """How the money of the options spreads; nothing where it was not drawn."""
    known = [option.spread for option in shown if option.spread is not None]
    if not known:
        return ()
    columns = (
        Column(REPAIR["option"], grows=True, least=22),
        Column(REPAIR["invoice_range"], right=True),
        Column(REPAIR["total_middle"], right=True),
        Column(REPAIR["bad_luck"], right=True),
        Column(REPAIR["nothing_left"], right=True),
    )
    rows = tuple(
        (
            f"{REPAIR['best']}: {option.name}" if option.best else option.name,
            _from_to(spread.invoice_low, spread.invoice_high),
            f"{spread.total_middle:,.0f}",
            f"{spread.total_high:,.0f}",
            per_cent(option.cures),
        )
        for option in shown
        if (spread := option.spread) is not None
    )
    error = money(max(each.total_high_error for each in known), sheet.currency)
    means = REPAIR["spread_means"].format(draws=counted(known[0].draws), error=error)
    approximate = [Sentence(REPAIR["spread_approximate"])] if known[0].approximate else []
    return (Heading(REPAIR["spread"]), Table(columns, rows, strong_row=best), Sentence(means), *approximate)


def _from_to(low: float, high: float) -> str:
    """`618-707`, or one number where whole money does not tell them apart."""
    one, other = f"{low:,.0f}", f"{high:,.0f}"
    return one if one == other else f"{one}-{other}"


def _own_side_blocks(sheet: RepairSheet) -> tuple[Block, ...]:
    """The workshop's own side of every option, apart from the customer's; nothing where it was not drawn."""
    columns = (
        Column(REPAIR["option"], grows=True, least=22),
        *(Column(REPAIR[name], right=True) for name in ("guarantee", "goodwill", "own_cost", "margin")),
    )
    rows = tuple(
        (option.name, *(f"{amount:,.0f}" for amount in (each.guarantee, each.goodwill, both, each.margin)))
        for option in sheet.options
        if (each := option.spread) is not None
        for both in [each.guarantee + each.goodwill]
    )
    if not rows:
        return ()
    means = () if sheet.side == "workshop" else (Sentence(REPAIR["own_side_means"].format(currency=sheet.currency)),)
    return (Heading(REPAIR["own_side"]), Table(columns, rows), *means)


def _chosen_for(sheet: RepairSheet) -> tuple[Block, ...]:
    """Said in the open where the plan was not chosen for the customer's total."""
    if sheet.side == "customer":
        return ()
    fine = [option for option in sheet.options if not option.barred]
    least = min(fine or sheet.options, key=lambda option: option.total)
    total = money(least.total, sheet.currency)
    return (Sentence(REPAIR["own_side_chosen"].format(name=least.name, total=total), strong=True),)


def _option(option: OptionLine) -> tuple[str, ...]:
    mark = f"{REPAIR['best']}: " if option.best else ""
    barred = f" ({REPAIR['barred']})" if option.barred else ""
    again = (option.again_12, option.again_24, option.again_36)
    return (
        f"{mark}{option.name}{barred}",
        f"{option.invoice:,.0f}",
        per_cent(option.cures if option.spread is None else option.spread.cures_complaint),
        *(per_cent(chance) for chance in again),
        f"{option.total:,.0f}",
    )


def _of_work_sheet(sheet: RepairSheet, onward: Onward) -> str:
    """The command of the plan's work sheet: by its name, where it is the best on the workshop's side alone."""
    best = next((option.name for option in sheet.options if option.best), "")
    return onward("sheet") + (f" --option {quote(best)}" if sheet.side != "customer" and best else "")


def _work(plan: PlanLine, banks: int, of_sheet: str) -> tuple[Block, ...]:
    if not plan.jobs:
        return ()
    blocks: list[Block] = [Heading(REPAIR["plan"])]
    if plan.access:
        blocks.append(Items(REPAIR["access_heading"], opened_words(plan)))
    told: set[str] = set()
    for jobs in grouped_jobs(plan):
        blocks += _jobs(jobs, told, banks)
    blocks += [Sentence(REPAIR["see_sheet"], command=of_sheet)] if plan.jobs else []
    return tuple(blocks)


def opened_words(plan: PlanLine) -> tuple[str, ...]:
    """What is opened, with its minutes."""
    return tuple(f"{at_place(line.name, line.bank)}: {duration(line.minutes)}" for line in plan.access)


def grouped_jobs(plan: PlanLine) -> tuple[tuple[JobLine, ...], ...]:
    """The jobs, those of one kind of repair together, in the order of the first of each kind."""
    groups: dict[str, list[JobLine]] = {}
    for job in plan.jobs:
        groups.setdefault(job.repair, []).append(job)
    return tuple(tuple(jobs) for jobs in groups.values())


def jobs_title(jobs: Sequence[JobLine], banks: int = 2) -> str:
    """`reseal the injector, cylinders 1, 2 and 4: 2 h 10 min`."""
    return f"{_named(jobs, banks)}: {duration(sum(job.minutes for job in jobs))}"


def _named(jobs: Sequence[JobLine], banks: int) -> str:
    return at_places(jobs[0].name, [job.place for job in jobs], banks)


def _jobs(jobs: Sequence[JobLine], told: set[str], banks: int) -> tuple[Block, ...]:
    """One kind of work; a caution that was printed word for word with earlier work of the plan is not printed again."""
    first = jobs[0]
    cautions = [text for text in first.cautions if text not in told]
    told.update(cautions)
    blocks: list[Block] = [Sentence(jobs_title(jobs, banks), strong=True), Cautions(tuple(cautions))]
    if len(cautions) < len(first.cautions):
        blocks.append(Sentence(REPAIR["cautions_above"], indent=2))
    lists = ((CHECKS["needs"], first.needs), (CHECKS["tools"], first.tools))
    blocks += [Items(label, (", ".join(items),)) for label, items in lists if items]
    if first.steps:
        blocks.append(Items(REPAIR["steps"], first.steps, numbered=True))
    if first.may_go_wrong:
        blocks.append(Items(REPAIR["may_go_wrong"], first.may_go_wrong))
    if first.must_follow:
        blocks.append(Sentence(REPAIR["must_follow"].format(names=", ".join(first.must_follow)), strong=True, indent=2))
    return tuple(blocks)


def _values(plan: PlanLine, invented: bool) -> tuple[Block, ...]:
    if not plan.torques and not plan.notes:
        return ()
    items = (*(f"{line.name}: {line.words}" for line in plan.torques), *plan.notes)
    blocks: list[Block] = [Heading(REPAIR["torques"]), Items("", items)]
    if invented:
        blocks.append(Cautions((ABOUT["demonstration_values"],)))
    return tuple(blocks)


def _parts(plan: PlanLine, currency: str) -> tuple[Block, ...]:
    if not plan.parts:
        return ()
    columns = (
        Column(REPAIR["count"], right=True),
        Column(REPAIR["part"], grows=True),
        Column(REPAIR["price"], right=True),
        Column(REPAIR["sum"], right=True),
    )
    rows = tuple(
        (
            str(part.count),
            f"{part.name} ({REPAIR['single_use']})" if part.single_use else part.name,
            money(part.each, currency, exact=True),
            money(part.sum, currency, exact=True),
        )
        for part in plan.parts
    )
    return (Heading(REPAIR["parts_heading"]), Table(columns, rows, lead=1))


def money_blocks(plan: PlanLine, currency: str) -> tuple[Block, ...]:
    """The parts of the expected total, in whole money that adds up, and the invoice with tax."""
    columns = (Column(REPAIR["part_of_total"], grows=True), Column(REPAIR["amount"], right=True))
    whole = rounded_to_sum([line.amount for line in plan.amounts])
    rows = [
        (line.name, money(amount, currency))
        for line, amount in zip(plan.amounts, whole, strict=True)
        if abs(line.amount) >= 0.005
    ]
    rows.append((REPAIR["total_line"], money(sum(whole), currency)))
    now, taxed = money(plan.invoice, currency), money(plan.invoice_with_tax, currency)
    return (
        Heading(REPAIR["adds_up"]),
        Table(columns, tuple(rows), last_is_total=True),
        *([Sentence(plan.later)] if plan.later else []),
        *([Sentence(REPAIR["invoice_with_tax"].format(money=now, with_tax=taxed))] if plan.jobs else []),
    )
