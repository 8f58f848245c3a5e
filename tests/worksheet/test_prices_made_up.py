"""Prices that ship are made up: every paper for a real engine says so until the workshop gives its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from diag.casebook import demo_cases, load_case
from diag.decision import advise_on, reckon
from diag.knowledge_base import load_knowledge, load_language
from diag.network import weigh
from diag.report import customer_page, estimate_blocks, estimate_sheet, render, repair_blocks, repair_sheet, weigh_sheet
from diag.report.customer import page_blocks
from diag.worksheet import estimate
from tests.worksheet.demo import as_chosen

SAID = {"en": "made up", "de": "erfunden"}


def papers(overlays: tuple[Path, ...], real: bool, code: str) -> dict[str, str]:
    """The words of each paper with money in it, for one demo case; `real`: as if its engine were a real one."""
    knowledge, language = load_knowledge(overlays=overlays), load_language(code)
    case = load_case(demo_cases()["one_blown_seal"], knowledge)
    if real:
        case = replace(case, engine=case.engine.model_copy(update={"invented": False}))
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    advice = advise_on(ready)
    made = estimate(ready.bound.tariff, case, weighed.network, weighed.posterior, as_chosen(advice.repair.best))
    page = customer_page(knowledge, case, language, weigh_sheet(weighed), advice)
    sheets = {
        "customer": page_blocks(page),
        "estimate": estimate_blocks(estimate_sheet(knowledge, case, made, language), language),
        "repair": repair_blocks(repair_sheet(knowledge, case, advice.repair)),
    }
    return {name: " ".join(render(blocks, 100).split()) for name, blocks in sheets.items()}


@pytest.mark.parametrize("code", SAID)
def test_papers_for_a_real_engine_say_that_the_prices_are_made_up(code: str) -> None:
    for name, words in papers((), True, code).items():
        assert SAID["en" if name == "repair" else code] in words, (name, words)
        assert "own list" not in words and "Liste der Werkstatt" not in words, name


def test_prices_of_the_workshop_s_own_are_not_called_made_up(tmp_path: Path) -> None:
    own = tmp_path / "own.yaml"
    own.write_text("prices: {labour_per_hour: 85, invented: false}\n")
    for name, words in papers((own,), True, "en").items():
        assert SAID["en"] not in words, (name, words)
    own.write_text("prices: {labour_per_hour: 85}\n")  # parts and all else are still those that ship
    for name, words in papers((own,), True, "en").items():
        assert SAID["en"] in words, (name, words)


def test_an_invented_engine_is_said_to_be_that_and_no_more() -> None:
    words = papers((), False, "en")
    assert "prices do not exist" in words["customer"]
    assert "engine are invented" in words["estimate"]
    assert "put in its own" not in " ".join(words.values())
