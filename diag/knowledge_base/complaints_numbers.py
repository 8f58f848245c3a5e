"""Complaints about numbers: rows that do not sum, numbers without a source. May import: within the room."""

from __future__ import annotations

from collections.abc import Iterator

from diag.knowledge_base.complaints import Complaint, doings
from diag.knowledge_base.figures import walk_figures
from diag.knowledge_base.records import Basis, ChanceByLevel, Knowledge

__all__ = ["check_numbers"]

_ROUNDING = 1e-6


def check_numbers(knowledge: Knowledge) -> Iterator[Complaint]:
    """Rows of chances, sources of numbers, sources and parts that nothing uses."""
    yield from _sums(knowledge)
    yield from _sources(knowledge)
    yield from _unused(knowledge)


def _rows(knowledge: Knowledge) -> Iterator[tuple[str, str, ChanceByLevel]]:
    """Every row whose chances exclude each other: item, what it is, row."""
    for name, component in knowledge.components.items():
        item = f"components.{name}"
        for field in ("chance", "fresh", "disturbed"):
            yield item, f"'{field}'", getattr(component, field)
        for cause, rows in component.given.items():
            for state, row in rows.items():
                yield item, f"the row given {cause} {state}", row
    for name, severity in knowledge.severities.items():
        yield f"severities.{name}", "'background'", severity.background
        for cause, rows in severity.causes.items():
            for state, row in rows.items():
                yield f"severities.{name}", f"the row of {cause} {state}", row


def _sums(knowledge: Knowledge) -> Iterator[Complaint]:
    for item, what, row in _rows(knowledge):
        most = sum(max((figure.value, *figure.also)) for figure in row.values())
        total = sum(figure.value for figure in row.values())
        if total > 1 + _ROUNDING:
            yield Complaint("does not sum", item, f"{what} adds up to {total:g}, which is more than 1")
        elif most > 1 + _ROUNDING:
            sentence = f"with the other judgements ('also') {what} can add up to {most:g}, which is more than 1"
            yield Complaint("does not sum", item, sentence, "note")
    for name, component in knowledge.components.items():
        if component.life is not None:
            total = sum(figure.value for figure in component.life.fails_as.values())
            if abs(total - 1) > _ROUNDING:
                sentence = (
                    f"'fails_as' adds up to {total:g}, and a part that has failed has failed somehow: it must be 1"
                )
                yield Complaint("does not sum", f"components.{name}", sentence)


def _bases(knowledge: Knowledge) -> Iterator[tuple[str, Basis | None]]:
    for kind in ("components", "severities", "findings", "readings", "checks", "repairs", "answers", "cautions"):
        for name, entry in getattr(knowledge, kind).items():
            yield f"{kind}.{name}", entry.basis
    yield "prices", knowledge.prices.basis
    for placed in walk_figures(knowledge):
        yield ".".join(str(part) for part in placed.path), placed.basis


def _sources(knowledge: Knowledge) -> Iterator[Complaint]:
    said: set[tuple[str, str]] = set()
    for item, basis in _bases(knowledge):
        if basis is None:
            yield Complaint("no source", item, "this number does not say where it comes from")
        elif basis.source == "published" and not basis.cite:
            yield Complaint("cite missing", item, "this is published, and does not say where")
        elif basis.cite and basis.cite not in knowledge.sources:
            entry = ".".join(item.split(".")[:2])
            if (entry, basis.cite) not in said:
                said.add((entry, basis.cite))
                yield Complaint("cite missing", entry, f"it cites '{basis.cite}', which sources.yaml does not hold")
    for name, engine in knowledge.engines.items():
        for limit, entry_ in engine.limits.items():
            if entry_.value is not None and not (engine.invented or entry_.default or entry_.note):
                sentence = f"the limit '{limit}' has a value, and neither a note says from where nor is it a default"
                yield Complaint("no source", f"engines.{name}", sentence)


def _unused(knowledge: Knowledge) -> Iterator[Complaint]:
    cited = {basis.cite for _, basis in _bases(knowledge) if basis is not None}
    for name in knowledge.sources:
        if name not in cited:
            yield Complaint("unused", f"sources.{name}", "no number cites it", "note")
    work = [doing for _, doing in doings(knowledge)]
    fitted = {part for doing in work for part in doing.parts}
    fitted |= {part for doing in work for risk in doing.risks for part in risk.parts}
    for name in knowledge.prices.parts:
        if name not in fitted:
            yield Complaint("unused", f"prices.parts.{name}", "no check or repair needs it", "note")
    named = {hazard for doing in work for hazard in doing.hazards}
    called = {name for doing in work for name in doing.cautions}
    called |= {name for finding in knowledge.findings.values() for name in finding.danger}
    called |= {
        name for known in knowledge.components.values() for state in known.states.values() for name in state.danger
    }
    called |= {name for reading in knowledge.readings.values() for name in reading.danger}
    for name, caution in knowledge.cautions.items():
        if name not in called and not named & set(caution.hazards):
            yield Complaint("unused", f"cautions.{name}", "nothing would ever print it", "note")
