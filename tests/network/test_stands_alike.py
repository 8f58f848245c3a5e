"""Cases that stand alike have one model: of one engine and age, with nothing done, whatever was told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from diag.casebook import Case, Work, demo_cases, load_case, with_answer
from diag.inference import infer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.network import build, building

NAMES = ("one_blown_seal", "whole_bank_silent", "excess_return_behind_hard_start")


@cache
def knowledge() -> Knowledge:
    return load_knowledge()


def case(name: str = NAMES[0]) -> Case:
    return load_case(demo_cases()[name], knowledge())


def plain() -> Case:
    """A case without readings that share a shift, whose nodes are placed by all that was told."""
    first = case().epochs[0]
    return replace(case(), epochs=(replace(first, measured=()),))


def test_an_answer_more_changes_no_model() -> None:
    first = build(knowledge(), plain())
    again = build(knowledge(), with_answer(plain(), knowledge(), "wet_joint", 1, "absent"))
    assert again.model is first.model
    assert again.evidence is not first.evidence


def test_another_age_other_numbers_or_work_make_another_model() -> None:
    start = build(knowledge(), plain()).model
    assert build(knowledge(), plain()).model is start
    worked = replace(plain().epochs[0], work=(Work("retighten_clamp", (1,)),))
    others = (
        replace(plain(), distance_km=plain().distance_km + 1.0),
        replace(plain(), age_years=plain().age_years + 1.0),
        replace(plain(), epochs=(worked, *plain().epochs)),
    )
    for other in others:
        assert build(knowledge(), other).model is not start
    assert build(knowledge().model_copy(), plain()).model is not start


@pytest.mark.parametrize("name", NAMES)
def test_what_is_believed_is_the_same_on_a_model_of_before(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for each in NAMES:
        build(knowledge(), case(each))
    warm = build(knowledge(), case(name))
    monkeypatch.setattr(building, "_LATEST", [])
    alone = build(knowledge(), case(name))
    assert alone.model is not warm.model
    mine, theirs = (infer(each.model, each.evidence) for each in (warm, alone))
    assert np.array_equal(mine.configurations, theirs.configurations)
    for one, other in zip(mine.components, theirs.components, strict=True):
        assert all(map(np.array_equal, one, other))
