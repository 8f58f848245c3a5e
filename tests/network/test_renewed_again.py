"""Work after work on one cylinder, with symptoms told before and after each, may be too much, and is then refused."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest

from diag.basics import TooLarge
from diag.casebook import Case, load_case
from diag.knowledge_base import load_knowledge
from diag.network import weigh

KNOWLEDGE = load_knowledge()
MIB = 1 << 20


def tried_twice(folder: Path, *symptoms: str) -> Case:
    """An injector was renewed, then its seal, and nothing helped."""
    told = "findings: {" + ", ".join(f"{each}: present" for each in symptoms) + "}"
    work = "".join(
        f"  - did: {did}\n    cylinder: 2\n    helped: no\n    then:\n      {told}\n"
        for did in ("replace_injector", "reseal")
    )
    path = folder / "case.yaml"
    path.write_text(f"engine: ostrel_4\ndistance: 180000 km\nage: 10 years\n{told}\ntried:\n{work}")
    return load_case(path, KNOWLEDGE)


def test_what_does_not_fit_into_the_memory_is_refused_before_it_is_made(tmp_path: Path) -> None:
    """With three symptoms the levels before and after on that cylinder had taken 22 GiB, and then the program was
    killed."""
    case = tried_twice(tmp_path, "rough_idle", "white_smoke", "hard_start")
    tracemalloc.start()
    try:
        with pytest.raises(TooLarge, match="leave out findings of earlier visits"):
            weigh(KNOWLEDGE, case)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 1024 * MIB
