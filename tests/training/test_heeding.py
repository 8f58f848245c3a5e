"""Findings taken for more or less than they say: what was said before and after, against the model's own change."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.knowledge_base import Knowledge, load_knowledge
from diag.report import class_blocks, class_sheet
from diag.training import (
    Belief,
    Bench,
    Journal,
    Seat,
    ask,
    believe,
    case_named,
    class_of,
    decide,
    save_journal,
)
from diag.training.debriefing import BeliefScore, belief_scores
from diag.training.heeding import Heeded, heeded_in, heeding_of

NAME, KEY = "smell_under_the_bonnet", b"sixteen bytes or more"


@pytest.fixture(scope="module")
def known() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def played(known: Knowledge) -> tuple[Bench, Seat, list[float]]:
    """A look into the wells, and the model's chance of the seal of cylinder 2 before and after it."""
    seat = case_named(known, NAME, KEY)
    bench = Bench.of(known, seat.play.practice)
    after = ask(bench, seat, "look_into_wells", "A")
    chances = [
        score.model
        for each in (seat, after)
        for score in belief_scores(bench, believe(bench, each, [Belief("seal", 2, 0.5)]))
    ]
    return bench, seat, chances


def said(bench: Bench, seat: Seat, before: float, after: float) -> Seat:
    """Said of the seal of cylinder 2, before and after a look into the wells."""
    first = believe(bench, seat, [Belief("seal", 2, before)])
    return believe(bench, ask(bench, first, "look_into_wells", "A"), [Belief("seal", 2, after)])


def heard(bench: Bench, seat: Seat) -> list[Heeded]:
    return list(heeded_in(seat.play.events, belief_scores(bench, seat)))


def test_who_moves_as_the_answers_say_is_off_by_nothing(played: tuple[Bench, Seat, list[float]]) -> None:
    bench, seat, (before, after) = played
    (found,) = heard(bench, said(bench, seat, max(before, 0.01), min(after, 0.99)))
    assert (found.source, found.component, found.place) == ("look_into_wells", "seal", 2)
    assert found.meant > 3.0
    assert found.beyond == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize(("share", "sign"), [(0.99, 1), (0.1, -1), (0.02, -1)])
def test_who_moves_further_or_less_is_off_by_the_odds(
    played: tuple[Bench, Seat, list[float]], share: float, sign: int
) -> None:
    """The chance rises on tar in one well; whoever says 99 % takes it for more, whoever stays or falls for less."""
    bench, seat, _ = played
    (found,) = heard(bench, said(bench, seat, 0.1, share))
    assert found.beyond * sign > 1.0


def score(after: int, chance: float, model: float) -> BeliefScore:
    return BeliefScore(after, "seal", 1, chance, model, True, 0.0, 0.0, 0.0)


def test_answers_that_say_nothing_are_over_used_by_whoever_moves(played: tuple[Bench, Seat, list[float]]) -> None:
    """From even odds to ten to one on answers that leave the chance as it is: ten decibans beyond (Good 1950)."""
    events = said(*played[:2], 0.5, 0.5).play.events
    for after in (10 / 11, 1 / 11):
        (found,) = heeded_in(events, [score(0, 0.5, 0.3), score(2, after, 0.3)])
        assert found.beyond == pytest.approx(10.0, abs=1e-6)


def test_what_lies_between_two_checks_is_laid_on_neither(played: tuple[Bench, Seat, list[float]]) -> None:
    bench, seat, _ = played
    first = believe(bench, seat, [Belief("seal", 2, 0.2)])
    both = ask(bench, ask(bench, first, "look_into_wells", "A"), "cabin_air", None)
    assert not heard(bench, believe(bench, both, [Belief("seal", 2, 0.9)]))
    assert not heard(bench, believe(bench, first, [Belief("clamp", 2, 0.9)]))


def test_a_class_counts_people_and_the_furthest_off_comes_first(played: tuple[Bench, Seat, list[float]]) -> None:
    events = said(*played[:2], 0.5, 0.5).play.events
    plays = [
        ("Ann", events, [score(0, 0.5, 0.3), score(2, 0.9, 0.3)]),
        ("Ann", events, [score(0, 0.5, 0.3), score(2, 0.5, 0.9)]),
        ("Ben", events, [score(0, 0.5, 0.3), score(2, 0.5, 0.3)]),
    ]
    (line,) = heeding_of(plays)
    assert (line.source, line.heard, line.people, line.more, line.less) == ("look_into_wells", 3, 2, 1, 1)


def test_the_page_of_the_class_names_the_finding(
    known: Knowledge, played: tuple[Bench, Seat, list[float]], tmp_path: Path
) -> None:
    bench, seat, _ = played
    ended = decide(bench, said(bench, seat, 0.1, 0.1), [], "nothing")
    save_journal(tmp_path / "a.json", Journal("Ann", "2026-03-01T08:00:00+00:00", ended))
    sheet = class_sheet(known, class_of(known, tmp_path))
    assert [(line.source, line.heard, line.less) for line in sheet.heeding] == [("look_into_wells", 1, 1)]
    assert "look into the wells" in repr(class_blocks(sheet))
