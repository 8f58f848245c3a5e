"""The knowledge that ships, and a study of it that was begun."""

from __future__ import annotations

import pytest

from diag.knowledge_base import Knowledge, load_knowledge
from diag.training import Bench, Seat, start, studies, study_named


@pytest.fixture(scope="package")
def shipped() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def seated(shipped: Knowledge) -> tuple[Bench, Seat]:
    """The easiest study, begun: it smells of exhaust and chuffs, and seal 2 blows."""
    practice, hidden = study_named(shipped, "smell_under_the_bonnet", studies()["smell_under_the_bonnet"], 5)
    return Bench.of(shipped, practice), start(practice, hidden)
