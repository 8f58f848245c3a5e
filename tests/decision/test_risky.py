"""What work may cost on the way moves with an answer, on engines that ship: each check against the case weighed and
decided again after every answer to it."""

from __future__ import annotations

from math import exp
from pathlib import Path

import pytest

from diag.casebook import load_case
from diag.decision import Reckoning, RepairDecision, decide_repair, rank_checks, reckon
from diag.knowledge_base import load_knowledge
from diag.network import weigh

KNOWLEDGE = load_knowledge()
TOLD = {
    "ostrel_4": {"fumes": "present", "chuff_somewhere": "present"},
    "velm_5": {"rough_idle": "present", "fumes": "present", "hard_start": "present", "misfire_felt": "present"},
}


def decided(folder: Path, engine: str, more: str = "") -> tuple[Reckoning, RepairDecision, float]:
    """The case with one more finding, and the logarithm of the chance of all that was told."""
    told = "".join(f"  {finding}: {answer}\n" for finding, answer in TOLD[engine].items())
    path = folder / "case.yaml"
    path.write_text(f"engine: {engine}\ndistance: 180000 km\nage: 10 years\nfindings:\n{told}{more}")
    case = load_case(path, KNOWLEDGE)
    weighed = weigh(KNOWLEDGE, case)
    ready = reckon(KNOWLEDGE, case, weighed.network, weighed.posterior)
    return ready, decide_repair(ready), float(weighed.posterior.log_evidence[0])


@pytest.mark.parametrize("engine", TOLD)
def test_the_worth_of_listening_is_what_deciding_again_saves(engine: str, tmp_path: Path) -> None:
    """Whoever hears the chuff at a cylinder expects its injector to sit fast, too: with complications as they stand
    before the answer the first of these was worth 77 instead of 65."""
    ready, decision, log_before = decided(tmp_path, engine)
    ranking = rank_checks(ready, decision, share=1.0, ahead=False)
    here = [each for each in ranking.checks if each.check == "listen_at_cylinder"]
    assert len(here) == len(ready.case.engine.cylinders)
    for check in here[:2]:
        ((finding, place),) = check.items
        after, chances = 0.0, 0.0
        for answer in ("present", "absent"):
            _, again, log = decided(tmp_path, engine, f"  {finding}: {{{place}: {answer}}}\n")
            chances += exp(log - log_before)
            after += exp(log - log_before) * again.best.total.amount
        assert chances == pytest.approx(1.0, abs=1e-9)
        assert check.worth.amount == pytest.approx(decision.best.total.amount - after, rel=1e-4)
        assert check.worth.amount > 10.0
