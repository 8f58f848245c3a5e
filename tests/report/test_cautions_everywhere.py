"""Over all knowledge: nothing that can hurt is shown without its cautions."""

from __future__ import annotations

import pytest

from diag.knowledge_base import Check, Knowledge, Repair, load_knowledge
from diag.report import cautions_of, item_blocks, item_sheet, render

KNOWLEDGE: Knowledge = load_knowledge()
WORK: dict[str, Check | Repair] = {**KNOWLEDGE.checks, **KNOWLEDGE.repairs}


@pytest.mark.parametrize("name", WORK)
def test_work_with_hazards_is_explained_with_a_caution_for_every_hazard(name: str) -> None:
    work = WORK[name]
    page = " ".join(render(item_blocks(item_sheet(KNOWLEDGE, name)), 110).replace("!", " ").split())
    for hazard in work.hazards:
        fitting = [caution.text for caution in KNOWLEDGE.cautions.values() if hazard in caution.hazards]
        assert fitting, hazard
        assert all(" ".join(text.replace("!", " ").split()) in page for text in fitting)
    assert ("CAUTION" in page) == bool(cautions_of(KNOWLEDGE, work))


@pytest.mark.parametrize("name", [name for name, finding in KNOWLEDGE.findings.items() if finding.danger])
def test_a_dangerous_finding_is_explained_with_its_cautions_first(name: str) -> None:
    lines = render(item_blocks(item_sheet(KNOWLEDGE, name))).splitlines()
    assert any(line.startswith("CAUTION") for line in lines[:6])
