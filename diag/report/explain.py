"""From the knowledge to the sheets that list and explain it.

May import: `diag.basics`, `diag.knowledge_base`, `diag.casebook`, the sheets.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from diag.basics import UsageError, counted, did_you_mean
from diag.casebook import MOST_CYLINDERS, code_of_cylinder
from diag.knowledge_base import (
    Answer,
    Basis,
    Check,
    CodePattern,
    Component,
    Engine,
    Finding,
    Knowledge,
    LogColumn,
    LogRule,
    Part,
    Reading,
    Repair,
    Severity,
    WorkStep,
    cautions_at,
    steps_of,
)
from diag.report.cautions import cautions_of, danger_cautions
from diag.report.explain_numbers import (
    answer_sections,
    chance,
    column_sections,
    component_sections,
    engine_sections,
    part_sections,
    reading_sections,
    rule_sections,
    step_sections,
)
from diag.report.figures import duration, money
from diag.report.sheets_knowledge import ItemLine, ItemSheet, ListSheet, SectionLine
from diag.report.steps_words import steps_words
from diag.report.words import KNOW, KNOWLEDGE_KINDS, REPAIR, WEIGH
from diag.report.words_checks import CHECKS

__all__ = ["KINDS", "item_sheet", "kinds_of", "list_sheet"]

KINDS: tuple[str, ...] = tuple(KNOWLEDGE_KINDS)


def entries(knowledge: Knowledge, kind: str) -> dict[str, tuple[str, str]]:
    """Id -> (name, in plain words) of every entry of a kind, in the order of the files."""
    match kind:
        case "cautions":
            return {id_: (entry.text, ", ".join(entry.hazards)) for id_, entry in knowledge.cautions.items()}
        case "sources":
            return {id_: (entry.citation, entry.note or "") for id_, entry in knowledge.sources.items()}
        case "answers":
            return {id_: (entry.name, "") for id_, entry in knowledge.answers.items()}
        case "parts":
            return {id_: (entry.name, "") for id_, entry in knowledge.prices.parts.items()}
        case "engines":
            return {id_: (entry.name, entry.note or "") for id_, entry in knowledge.engines.items()}
        case "steps":
            return {id_: (entry.do, "") for id_, entry in knowledge.steps.items()}
        case "log_rules":
            return {
                id_: (f"{entry.name}: {entry.value.value:g} {entry.unit}".strip(), entry.reason)
                for id_, entry in knowledge.log_rules.items()
            }
        case "checks":
            return {id_: (entry.name, "") for id_, entry in knowledge.checks.items()}
    named: Mapping[str, Component | Severity | Finding | Reading | Repair] = getattr(knowledge, kind)
    return {id_: (entry.name, entry.plain) for id_, entry in named.items()}


def kinds_of(knowledge: Knowledge, item: str) -> tuple[str, ...]:
    """The kinds that hold an entry of that id."""
    return tuple(kind for kind in KINDS if item in entries(knowledge, kind))


def list_sheet(knowledge: Knowledge, kind: str | None) -> ListSheet:
    """All entries of one kind, or of every kind. Raises UsageError for an unknown kind."""
    if kind is not None and kind not in KINDS:
        raise UsageError(f"there is no kind '{kind}' of knowledge; {did_you_mean(kind, KINDS, most=20)}")
    lines = [
        ItemLine(each, id_, name, plain)
        for each in ([kind] if kind else KINDS)
        for id_, (name, plain) in entries(knowledge, each).items()
    ]
    return ListSheet(tuple(lines))


def item_sheet(knowledge: Knowledge, item: str) -> ItemSheet:
    """One entry explained; `item` is its id or, where several kinds have that, its kind and id (`parts.injector`).

    Of an id alone the first of them is explained, and the others are named. Raises UsageError where there is none.
    """
    named_kind, _, rest = item.partition(".")
    kinds = kinds_of(knowledge, item)
    if rest and named_kind in kinds_of(knowledge, rest):
        kinds, item = (named_kind, *(each for each in kinds_of(knowledge, rest) if each != named_kind)), rest
    if not kinds:
        every = [id_ for kind in KINDS for id_ in entries(knowledge, kind)]
        raise UsageError(
            f"the knowledge holds nothing called '{item}'; {did_you_mean(item, every) or 'see: diag know list'}"
        )
    kind = kinds[0]
    name, plain = entries(knowledge, kind)[item]
    entry = knowledge.prices.parts[item] if kind == "parts" else getattr(knowledge, kind)[item]
    cautions = _cautions(knowledge, entry)
    others = SectionLine(KNOW["also"], tuple(f"{each}.{item}" for each in kinds[1:]))
    sections = tuple(section for section in (*_sections(knowledge, item, entry), others) if section.lines)
    return ItemSheet(kind, item, name, plain, cautions, sections)


def _cautions(knowledge: Knowledge, entry: object) -> tuple[str, ...]:
    match entry:
        case Check() | Repair():
            return cautions_of(knowledge, entry)
        case WorkStep():
            return tuple(caution.text for caution in cautions_at(knowledge, entry).values())
        case Finding() | Reading():
            return danger_cautions(knowledge, [entry])
    return ()


def _sections(knowledge: Knowledge, item: str, entry: object) -> Iterable[SectionLine]:
    match entry:
        case Component():
            return _component(knowledge, item, entry)
        case Severity():
            return _severity(knowledge, item, entry)
        case Finding() | Reading():
            return _observable(knowledge, item, entry)
        case Check():
            return _check(knowledge, entry)
        case Repair():
            return _repair(knowledge, entry)
        case Engine():
            return engine_sections(entry)
        case Answer():
            return (*answer_sections(entry), _basis(entry.basis, knowledge))
        case Part():
            return part_sections(entry, knowledge.prices.currency)
        case WorkStep():
            return step_sections(entry, knowledge.prices.parts)
        case LogColumn():
            return (*column_sections(entry), _basis(entry.basis, knowledge))
        case LogRule():
            return (*rule_sections(entry), _basis(entry.basis, knowledge))
    return ()


def _basis(basis: Basis, knowledge: Knowledge) -> SectionLine:
    words = KNOW["strength"].format(source=basis.source, strength=counted(basis.strength))
    cited = [knowledge.sources[basis.cite].citation] if basis.cite in knowledge.sources else []
    return SectionLine(KNOW["basis"], (words, *cited, *([basis.note] if basis.note else [])))


def _named(knowledge: Knowledge, names: Iterable[str]) -> tuple[str, ...]:
    """Ids with their names: `seal (combustion seal)`."""
    lines = []
    for id_ in dict.fromkeys(names):
        kinds = kinds_of(knowledge, id_)
        name = entries(knowledge, kinds[0])[id_][0] if kinds else ""
        lines.append(f"{id_} ({name})" if name else id_)
    return tuple(lines)


def _seen_by(knowledge: Knowledge, item: str) -> tuple[str, ...]:
    shown = [id_ for id_, finding in knowledge.findings.items() if finding.shows == item]
    shown += [id_ for id_, reading in knowledge.readings.items() if reading.shows == item]
    return _named(knowledge, shown)


def _component(knowledge: Knowledge, item: str, entry: Component) -> Iterable[SectionLine]:
    states = tuple(
        f"{id_}: {state.plain or state.name}{' (' + WEIGH['dangerous'] + ')' if state.dangerous else ''}"
        for id_, state in entry.states.items()
    )
    caused = [id_ for id_, severity in knowledge.severities.items() if item in severity.causes]
    cured = [id_ for id_, repair in knowledge.repairs.items() if item in repair.renews]
    yield SectionLine(KNOW["per"], (entry.per,))
    yield SectionLine(KNOW["states"], states)
    yield SectionLine(KNOW["causes"], _named(knowledge, caused))
    yield SectionLine(KNOW["seen_by"], _seen_by(knowledge, item))
    yield SectionLine(KNOW["cured_by"], _named(knowledge, cured))
    yield from component_sections(entry)
    yield _basis(entry.basis, knowledge)


def _severity(knowledge: Knowledge, item: str, entry: Severity) -> Iterable[SectionLine]:
    onward = [id_ for id_, severity in knowledge.severities.items() if item in severity.causes]
    yield SectionLine(KNOW["per"], (entry.per,))
    yield SectionLine(KNOW["levels"], entry.levels)
    yield SectionLine(KNOW["caused_by"], _named(knowledge, entry.causes))
    yield SectionLine(KNOW["causes"], _named(knowledge, onward))
    yield SectionLine(KNOW["seen_by"], _seen_by(knowledge, item))
    yield _basis(entry.basis, knowledge)


def _observable(knowledge: Knowledge, item: str, entry: Finding | Reading) -> Iterable[SectionLine]:
    yielding = [id_ for id_, check in knowledge.checks.items() if any(each.item == item for each in check.yields)]
    yield SectionLine(KNOW["ask"], (entry.ask,))
    yield SectionLine(KNOW["shows"], _named(knowledge, [entry.shows]))
    if isinstance(entry, Finding):
        yield SectionLine(KNOW["codes"], () if entry.code is None else (_codes(entry.code),))
        tables = [("", entry.chance), *((str(condition), table) for condition, table in entry.under.items())]
        lines = tuple(
            f"{condition + ': ' if condition else ''}"
            + ", ".join(f"{level} {chance(figure)}" for level, figure in table.items())
            for condition, table in tables
        )
        yield SectionLine(KNOW["chance_present"], lines)
        yield SectionLine(KNOW["lasting"], (chance(entry.lasting),) if entry.lasting.value else ())
    else:
        yield SectionLine(KNOW["unit"], (entry.unit,))
        yield from reading_sections(entry)
    yield SectionLine(KNOW["seen_by"], _named(knowledge, yielding))
    yield _basis(entry.basis, knowledge)


def _codes(code: CodePattern) -> str:
    """The numbers of a fault code: of the first and the last cylinder, or its own and those that tell the same."""
    if code.step:
        first, last = code_of_cylinder(code, 1), code_of_cylinder(code, MOST_CYLINDERS)
        return KNOW["codes_of_cylinders"].format(first=first, last=last, most=MOST_CYLINDERS)
    return ", ".join((code.first, *code.also))


def _access(knowledge: Knowledge, work: Check | Repair) -> tuple[str, ...]:
    kinds = knowledge.vocabulary.access
    return (kinds[work.access].name,) if work.access in kinds else ()


def _check(knowledge: Knowledge, entry: Check) -> Iterable[SectionLine]:
    words = knowledge.vocabulary
    yield SectionLine(CHECKS["how"], (entry.how,))
    yield SectionLine(CHECKS["time_heading"], (duration(entry.minutes.value),))
    yield SectionLine(KNOW["per"], (entry.covers,))
    yield SectionLine(CHECKS["access_heading"], _access(knowledge, entry))
    yield SectionLine(CHECKS["needs"], tuple(words.preconditions.get(id_, id_) for id_ in entry.needs))
    yield SectionLine(CHECKS["tools"], entry.tools)
    brings = tuple(f"{each.item}{' under ' + each.under if each.under else ''}" for each in entry.yields)
    yield SectionLine(KNOW["yields"], brings)
    yield SectionLine(CHECKS["may_go_wrong"], tuple(risk.name for risk in entry.risks))
    yield _basis(entry.basis, knowledge)


def _repair(knowledge: Knowledge, entry: Repair) -> Iterable[SectionLine]:
    words, prices = knowledge.vocabulary, knowledge.prices
    yield SectionLine(REPAIR["steps"], steps_words(knowledge, steps_of(knowledge, entry)))
    yield SectionLine(CHECKS["time_heading"], (duration(entry.minutes.value),))
    yield SectionLine(KNOW["per"], (entry.on,))
    yield SectionLine(CHECKS["access_heading"], _access(knowledge, entry))
    yield SectionLine(CHECKS["needs"], tuple(words.preconditions.get(id_, id_) for id_ in entry.needs))
    yield SectionLine(CHECKS["tools"], entry.tools)
    parts = tuple(
        f"{count} {prices.parts[id_].name}, {money(prices.parts[id_].price.value, prices.currency, exact=True)}"
        + (f", {REPAIR['single_use']}" if prices.parts[id_].single_use else "")
        for id_, count in entry.parts.items()
    )
    yield SectionLine(REPAIR["parts_heading"], parts)
    yield SectionLine(KNOW["renews"], _named(knowledge, entry.renews))
    yield SectionLine(KNOW["disturbs"], _named(knowledge, entry.disturbs))
    yield SectionLine(REPAIR["must_follow_heading"], _named(knowledge, entry.then))
    yield SectionLine(CHECKS["may_go_wrong"], tuple(risk.name for risk in entry.risks))
    yield _basis(entry.basis, knowledge)
