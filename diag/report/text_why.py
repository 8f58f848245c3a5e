"""The page of `diag why`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from diag.basics import counted, listed
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Onward, Sentence, Table, of_case_to_name
from diag.report.figures import money, number, per_cent, place_words, rounded_to_sum, short_place
from diag.report.from_why import decibans_text, told_text, weight_words
from diag.report.sheets_why import AdviceWhyLine, TurningLine, WeightLine, WhySheet
from diag.report.text_case import case_blocks
from diag.report.words import JUDGED, REPAIR, WEIGH
from diag.report.words_why import WHY

__all__ = ["why_blocks"]

SILENT = 0.05  # decibans that round to 0.0
TURNING_SHOWN = 8


def why_blocks(
    sheet: WhySheet, everything: bool = False, head: bool = True, onward: Onward = of_case_to_name
) -> tuple[Block, ...]:
    """The answer in short, the findings for and against, the rival, the other cylinders, and the advice if asked for.
    `everything`: findings that tell nothing are shown too; `onward` makes the command of the repair."""
    return (
        *(case_blocks(sheet.case) if head else ()),
        Cautions(sheet.cautions),
        Heading(WHY["heading"].format(fault=sheet.fault.name)),
        Sentence(sheet.in_short, strong=True),
        *_findings(sheet, everything),
        *_contrast(sheet, everything),
        *_neighbours(sheet),
        *((Sentence(WEIGH["basis"].format(judged=JUDGED)),) if sheet.judged else ()),
        *(_advice(sheet.advice, onward) if sheet.advice is not None else (Sentence(WHY["ask_advice"]),)),
    )


def _findings(sheet: WhySheet, everything: bool) -> tuple[Block, ...]:
    if not sheet.findings:
        return ()
    shown = [line for line in sheet.findings if everything or not _silent(line.decibans, line.own_decibans)]
    texts = _adding_up(sheet.prior_decibans, [line.decibans for line in sheet.findings], sheet.posterior_decibans)
    by_line = dict(zip(map(id, sheet.findings), texts[1:-1], strict=True))
    rows = [(WHY["before"], texts[0], "", per_cent(sheet.chance_before), "")]
    rows += [
        (
            told_text(line),
            by_line[id(line)],
            _direction(line.decibans, by_line[id(line)]),
            per_cent(line.chance_then),
            _own(line),
        )
        for line in shown
    ]
    rows.append((WHY["now"], texts[-1], "", per_cent(sheet.chance), ""))
    columns = (
        Column(WHY["told"], grows=True, least=20, speaks=True),
        Column(WHY["decibans"], right=True),
        Column(WHY["in_words"], speaks=True),
        Column(WHY["then"], right=True),
        Column(WHY["taken_back"], right=True),
    )
    return (
        Heading(WHY["findings"]),
        Table(columns, tuple(rows), last_is_total=True),
        *_left_out(len(sheet.findings) - len(shown)),
        Sentence(WHY["means"]),
    )


def _own(line: WeightLine) -> str:
    return decibans_text(line.own_decibans)


def _silent(*weights: float | None) -> bool:
    return all(weight is not None and abs(weight) < SILENT for weight in weights)


def _left_out(count: int) -> tuple[Block, ...]:
    if not count:
        return ()
    return (Sentence(WHY["silent"].format(count=counted(count))),)


def _adding_up(prior: float | None, weights: list[float | None], posterior: float | None) -> list[str]:
    """Prior, weights and posterior in tenths that add up as printed; plainly rounded where one has no bound."""
    every = [prior, *weights]
    finite = [value for value in every if value is not None]
    if posterior is None or len(finite) < len(every):
        return [decibans_text(value) for value in (*every, posterior)]
    tenths = rounded_to_sum([10.0 * value for value in finite])
    return [decibans_text(tenth / 10.0) for tenth in (*tenths, sum(tenths))]


def _direction(decibans: float | None, printed: str) -> str:
    """For or against in words, by the weight as it is printed, so that word and number never disagree."""
    if decibans is None:
        return weight_words(None)
    shown = float(printed.replace(",", ""))
    if shown == 0.0:
        return weight_words(0.0)
    return WHY["direction_for" if shown > 0 else "direction_against"].format(words=weight_words(shown))


def _contrast(sheet: WhySheet, everything: bool) -> tuple[Block, ...]:
    found = sheet.contrast
    chances = {
        "only_fault": per_cent(found.only_fault),
        "only_rival": per_cent(found.only_rival),
        "both": per_cent(found.both),
    }
    lines = [line for line in sheet.findings if not _silent(line.contrast_decibans, line.contrast_own_decibans)]
    return (
        Heading(WHY["contrast"].format(rival=found.rival.name)),
        Sentence(_verdict(sheet), strong=True),
        Sentence(WHY["contrast_short"].format(**chances)),
        *_contrast_table(sheet, list(sheet.findings) if everything else lines),
    )


def _verdict(sheet: WhySheet) -> str:
    """What tells the two apart most: a finding, or how common they are."""
    found = sheet.contrast
    settles = next((line for line in sheet.findings if line.contrast_decibans is None), None)
    if settles is not None:
        fault = sheet.fault if found.only_fault > found.only_rival else found.rival
        return WHY["contrast_settles"].format(finding=told_text(settles), fault=fault.name)
    prior = found.prior_decibans or 0.0
    weights = [abs(line.contrast_decibans or 0.0) for line in sheet.findings]
    most = sheet.findings[weights.index(max(weights))] if weights and max(weights) > max(abs(prior), SILENT) else None
    decibans = most.contrast_decibans or 0.0 if most is not None else prior
    if _silent(decibans):
        return WHY["contrast_none"]
    return WHY["contrast_for" if most is not None else "contrast_prior"].format(
        finding=told_text(most) if most is not None else "",
        decibans=decibans_text(abs(decibans)),
        fault=(sheet.fault if decibans > 0 else found.rival).name,
        words=weight_words(decibans),
    )


def _contrast_table(sheet: WhySheet, shown: list[WeightLine]) -> tuple[Block, ...]:
    if not shown:
        return ()
    found = sheet.contrast
    weights = [line.contrast_decibans for line in sheet.findings]
    texts = _adding_up(found.prior_decibans, weights, found.posterior_decibans)
    by_line = dict(zip(map(id, sheet.findings), texts[1:-1], strict=True))
    rows = [(WHY["before"], texts[0], "", "")]
    for line in shown:
        own = decibans_text(line.contrast_own_decibans)
        text = by_line[id(line)]
        rows.append((told_text(line), text, _direction(line.contrast_decibans, text), own))
    rows.append((WHY["now"], texts[-1], "", ""))
    columns = (
        Column(WHY["told"], grows=True, least=20, speaks=True),
        Column(WHY["decibans"], right=True),
        Column(WHY["in_words"], speaks=True),
        Column(WHY["taken_back"], right=True),
    )
    return Table(columns, tuple(rows), last_is_total=True), *_left_out(len(sheet.findings) - len(shown))


def _neighbours(sheet: WhySheet) -> tuple[Block, ...]:
    if len(sheet.neighbours) < 2 or not sheet.neighbours[0].sources:
        return ()
    name = sheet.fault.name.split(":")[0].split(",")[0]
    columns = (
        Column(WHY["at"], speaks=True),
        Column(WHY["chance"], right=True),
        *(Column(short_place(source.place), right=True) for source in sheet.neighbours[0].sources),
    )
    rows = tuple(
        (short_place(line.place), per_cent(line.chance), *(decibans_text(source.decibans) for source in line.sources))
        for line in sheet.neighbours
    )
    return (
        Heading(WHY["neighbours"].format(component=name)),
        Table(columns, rows),
        Sentence(WHY["neighbours_means"]),
    )


def _advice(found: AdviceWhyLine, onward: Onward) -> tuple[Block, ...]:
    return (*_parts(found), *_worth(found), *_turning(found), Sentence(REPAIR["see_repair"], command=onward("repair")))


def _parts(found: AdviceWhyLine) -> tuple[Block, ...]:
    if not found.other:
        return ()
    best = rounded_to_sum([part.best for part in found.parts])
    other = rounded_to_sum([part.other for part in found.parts])
    rows = [
        (part.name, number(one, 0), number(two, 0), _signed(two - one))
        for part, one, two in zip(found.parts, best, other, strict=True)
    ]
    rows.append((WHY["total"], number(sum(best), 0), number(sum(other), 0), _signed(sum(other) - sum(best))))
    columns = (
        Column(WHY["part"], grows=True, speaks=True),
        Column(WHY["this"], right=True),
        Column(WHY["next"], right=True),
        Column(f"{WHY['difference']}, {found.currency}", right=True),
    )
    ahead = money(sum(other) - sum(best), found.currency)
    return (
        Heading(WHY["parts"]),
        Sentence(WHY["parts_short"].format(best=_capital(found.best), ahead=ahead, other=found.other), strong=True),
        Table(columns, tuple(rows), last_is_total=True),
    )


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _signed(amount: int) -> str:
    return f"+{number(amount, 0)}" if amount > 0 else number(amount, 0)


def _worth(found: AdviceWhyLine) -> tuple[Block, ...]:
    if not found.worth:
        return ()
    turned = [line for line in found.worth if line.turned]
    turned.sort(key=lambda line: -(line.saved if line.saved is not None else float("inf")))
    texts = []
    for line in turned:
        if line.saved is None:
            texts.append(WHY["worth_barred"].format(finding=line.told, plan=line.plan, barred=line.barred))
        else:
            saved = money(line.saved, found.currency)
            texts.append(WHY["worth_line"].format(finding=line.told, plan=line.plan, saved=saved))
    rest = len(found.worth) - len(turned)
    if not turned:
        return Heading(WHY["worth"]), Sentence(WHY["worth_none"])
    tail = (Sentence(WHY["worth_rest"].format(count=rest)),) if rest else ()
    return (Heading(WHY["worth"]), Items("", tuple(texts)), *tail)


def _turning(found: AdviceWhyLine) -> tuple[Block, ...]:
    shown = found.turning[:TURNING_SHOWN]
    texts = tuple(_turning_text(line, found.currency) for line in shown)
    said = WHY["turning_count" if texts else "turning_none"].format(count=counted(found.looked_at))
    if found.left_out:
        said = f"{said} {WHY['turning_left'].format(count=counted(found.left_out))}"
    return (Heading(WHY["turning"]), *((Items("", texts),) if texts else ()), Sentence(said))


def _turning_text(line: TurningLine, currency: str) -> str:
    where = f", {place_words(line.place)}" if line.place is not None else ""
    outcome = line.outcomes[0] if len(line.outcomes) == 1 else listed(line.outcomes)
    words = {"finding": f"{line.name}{where}", "outcome": outcome, "per_cent": per_cent(line.chance), "plan": line.plan}
    if line.saved is None:
        return WHY["turning_barred"].format(**words)
    return WHY["turning_line"].format(**words, saved=money(line.saved, currency))
