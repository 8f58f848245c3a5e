"""An engine whose file lacks the minutes for what must be opened: every paper with money or time on it says so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diag.casebook import access_without_minutes
from diag.knowledge_base import load_knowledge, shipped_folder
from tests.cli.process import run

SAID = {
    "estimate": "is not in the price: engine covers over the wells off, injectors bare",
    "customer": "The prices are without that time, so they will be higher.",
    "sheet": "Not counted in that time, as the engine's file has no minutes for it: engine covers",
    "repair": "No time and no money is reckoned for opening this, as the engine's file has no minutes for it: engine",
    "estimate --language de": "nicht im Preis: Abdeckung über",
    "customer --language de": "Die Preise sind ohne diese Zeit, sie werden also höher.",
}


@pytest.fixture(scope="module")
def cases(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same case on an engine with all minutes, and on one whose file has them for the filter alone."""
    folder = tmp_path_factory.mktemp("untimed")
    text = (shipped_folder() / "engines" / "ostrel_4.yaml").read_text(encoding="utf-8")
    bare = re.sub(r"  access_minutes:.*?\n(?=  awkward)", "  access_minutes:\n    filter: {A: 8}\n", text, flags=re.S)
    found = {}
    for name, engine in (("timed", text), ("bare", bare)):
        (folder / f"{name}_4.yaml").write_text(engine, encoding="utf-8")
        told = f"title: Tern van\nengine: {name}_4.yaml\nfindings: {{chuff: {{2: present}}, tar: {{2: present}}}}\n"
        found[name] = folder / f"{name}.yaml"
        found[name].write_text(told, encoding="utf-8")
    return found


def _printed(command: str, case: Path) -> str:
    name, *options = command.split()
    ran = run(name, str(case), *options)
    assert ran.returncode == 0, ran.stderr
    return " ".join(ran.stdout.split())


@pytest.mark.parametrize("command", SAID)
def test_a_paper_says_what_is_not_in_its_money_and_time(cases: dict[str, Path], command: str) -> None:
    """The notes of `diag weigh` alone had; the estimate was too low by 52.80 EUR before tax without a word."""
    assert SAID[command] in _printed(command, cases["bare"])
    assert SAID[command] not in _printed(command, cases["timed"])


def test_what_has_no_minutes_is_found_with_all_that_it_includes() -> None:
    """Injectors are bare only once the covers are off."""
    knowledge = load_knowledge()
    engine = knowledge.engines["ostrel_4"]
    assert access_without_minutes(knowledge, engine, ["injectors"]) == ()
    only = engine.model_copy(update={"access_minutes": {"injectors": engine.access_minutes["injectors"]}})
    assert access_without_minutes(knowledge, only, ["injectors", "none"]) == ("covers",)
