"""From fault codes with their states, trim codes and soft answers to their parts of the sheet.

May import: knowledge_base, casebook, evidence, network, figures, sheets, words.
"""

from __future__ import annotations

from diag.basics import Place, listed
from diag.casebook import Case, code_of_cylinder, cylinder_of_code, ledger_remarks, scope_of, trim_verdicts
from diag.evidence import decibans
from diag.knowledge_base import Knowledge
from diag.network import Weighed, expected_codes
from diag.report.sheets_agreement import CodeLine, MissingCodeLine, SoftLine, TrimCodeLine, TrimLedger
from diag.report.words_agreement import CODES, LEDGER

__all__ = ["code_lines", "missing_codes", "soft_lines", "trim_ledger"]


def code_lines(knowledge: Knowledge, case: Case) -> tuple[CodeLine, ...]:
    """The codes that were told with a state, in their order."""
    return tuple(
        CodeLine(code.code, *_named(knowledge, code.code), code.state, CODES[code.state], code.status, number)
        for number, epoch in enumerate(case.epochs)
        for code in epoch.codes
    )


def _named(knowledge: Knowledge, code: str) -> tuple[str | None, Place]:
    for item, finding in knowledge.findings.items():
        number = cylinder_of_code(finding.code, code) if finding.code is not None else None
        if number is not None:
            return finding.name, number if scope_of(knowledge, item) == "cylinder" else None
    return None, None


def missing_codes(weighed: Weighed) -> tuple[MissingCodeLine, ...]:
    """The codes that would have been expected."""
    lines = []
    for expected in expected_codes(weighed.network, weighed.posterior):
        finding = weighed.network.knowledge.findings[expected.item]
        if finding.code is not None:
            number = expected.place if isinstance(expected.place, int) else 1
            code = code_of_cylinder(finding.code, number)
            chance, looked_for = expected.probability, expected.looked_for
            lines.append(MissingCodeLine(expected.item, code, finding.name, expected.place, chance, looked_for))
    return tuple(lines)


def soft_lines(knowledge: Knowledge, case: Case) -> tuple[SoftLine, ...]:
    """The soft answers that were given, each once, in the order of the knowledge."""
    given = {answer.answer for epoch in case.epochs for answer in epoch.answers}
    return tuple(
        SoftLine(name, soft.name, soft.ratio.value, decibans(soft.ratio.value), soft.basis.source)
        for name, soft in knowledge.answers.items()
        if name in given and soft.ratio.value > 0
    )


def trim_ledger(knowledge: Knowledge, case: Case) -> TrimLedger | None:
    """The ledger with its verdicts; none where no trim code was noted."""
    if not case.trim_codes:
        return None
    verdicts = {each.cylinder: each for each in trim_verdicts(case, knowledge)}
    lines = tuple(
        TrimCodeLine(
            cylinder=entry.cylinder,
            part=entry.part,
            unit=entry.unit,
            part_before=entry.part_before,
            unit_before=entry.unit_before,
            verdict=verdicts[entry.cylinder].verdict,
            words=LEDGER[verdicts[entry.cylinder].verdict].format(of=verdicts[entry.cylinder].of),
        )
        for entry in case.trim_codes
    )
    remarks = tuple(
        LEDGER[remark.kind].format(
            cylinders=listed([str(number) for number in remark.cylinders], "and"),
            order="-".join(str(number) for number in case.engine.firing_order),
        )
        for remark in ledger_remarks(case, knowledge)
    )
    return TrimLedger(lines, remarks)
