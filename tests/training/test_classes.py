"""Journals and classes: written whole, read back as they were, compared."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from unittest import mock

import pytest

from diag.basics import CaseError, TooLarge, UsageError
from diag.casebook import Answer, Measured
from diag.decision import Job
from diag.knowledge_base import Knowledge, load_knowledge
from diag.report import Sentence, Table, class_blocks, class_csv, class_sheet, trainee_pages
from diag.training import (
    Asked,
    Belief,
    Bench,
    Classroom,
    Debrief,
    Journal,
    Seat,
    Wish,
    ask,
    believe,
    class_of,
    classes,
    debrief,
    decide,
    fit,
    load_journal,
    made,
    save_journal,
    start,
    studies,
    study_named,
)
from diag.training.classes import compared

NAME = "smell_under_the_bonnet"


@pytest.fixture(scope="module")
def known() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def begun(known: Knowledge) -> tuple[Bench, Seat]:
    practice, hidden = study_named(known, NAME, studies()[NAME], 5)
    return Bench.of(known, practice), start(practice, hidden)


@pytest.fixture(scope="module")
def classroom(
    known: Knowledge, begun: tuple[Bench, Seat], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Classroom]:
    """Ann looks into the wells and reseals 2; Ben changes an injector at once; Cem has only begun; one file is none."""
    folder = tmp_path_factory.mktemp("class")
    bench, seat = begun
    ann = believe(bench, ask(bench, seat, "look_into_wells", "A"), [Belief("seal", 2, 0.8)])
    sittings = {
        "Ann": decide(bench, ann, [Job("reseal", 2)], "a washer"),
        "=Ben": decide(
            bench, believe(bench, seat, [Belief("injector", 2, 0.9)]), [Job("replace_injector", 3)], "a part"
        ),
        "Cem": ask(bench, seat, "read_injector_codes", None),
    }
    for number, (name, played) in enumerate(sittings.items()):
        save_journal(folder / f"{number}.json", Journal(name, f"2026-03-0{number + 1}T08:00:00+00:00", played))
    (folder / "other.json").write_text("{}", encoding="utf-8")
    return folder, class_of(known, folder)


def test_a_journal_comes_back_as_it_was(known: Knowledge, begun: tuple[Bench, Seat], tmp_path: Path) -> None:
    """Checks, a reading, a trial, a belief and the plan; then played on as if nothing had happened."""
    bench, seat = begun
    played = ask(bench, ask(bench, seat, "look_into_wells", "A"), "idle_correction", None)
    assert any(isinstance(each, Measured) for each in played.play.events[-1].found)  # type: ignore[union-attr]
    played = believe(bench, fit(bench, played, [Job("reseal", 2)]), [Belief("seal", 2, 0.25)])
    journal = Journal("Ann", "2026-03-01T08:00:00+00:00", played)
    save_journal(tmp_path / "a.json", journal)
    back = load_journal(tmp_path / "a.json", known)
    assert back.seat.play.events == played.play.events
    assert back.seat.hidden == played.hidden
    assert back.seat.play.case_at() == played.play.case_at()
    bench_again = Bench.of(known, back.seat.play.practice)
    assert (
        ask(bench_again, back.seat, "cabin_air", None).play.events == ask(bench, played, "cabin_air", None).play.events
    )


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda text: text[:200], "no journal"),
        (lambda text: text.replace("diag.practice.journal/1", "diag.other/1"), "no journal"),
        (lambda text: text.replace('"is": "World"', '"is": "Word"'), "damaged"),
        (lambda text: text.replace('"hidden"', '"hiden"'), "damaged"),
    ],
)
def test_a_damaged_journal_says_so(
    known: Knowledge, begun: tuple[Bench, Seat], tmp_path: Path, damage: object, words: str
) -> None:
    path = tmp_path / "a.json"
    save_journal(path, Journal("Ann", "", begun[1]))
    path.write_text(damage(path.read_text(encoding="utf-8")), encoding="utf-8")  # type: ignore[operator]
    with pytest.raises(CaseError, match=words):
        load_journal(path, known)


def test_a_journal_that_cannot_be_written_leaves_the_old_one(begun: tuple[Bench, Seat], tmp_path: Path) -> None:
    """Whole or not at all: what is there stays where it may not be written over, and no part of a file is left."""
    path = tmp_path / "a.json"
    save_journal(path, Journal("Ann", "", begun[1]))
    before = path.read_bytes()
    with pytest.raises(UsageError, match="already there"):
        save_journal(path, Journal("Ben", "", begun[1]), overwrite=False)
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["a.json"]


def test_a_class_compares_who_ended_and_counts_who_has_not(classroom: tuple[Path, Classroom]) -> None:
    _, found = classroom
    lines = {each.trainee: each for each in found.trainees}
    assert (lines["Ann"].ended, lines["Cem"].ended, lines["Cem"].running) == (1, 0, 1)
    assert lines["Ann"].regret < lines["=Ben"].regret
    (case,) = found.cases
    assert (case.trainees, case.grade) == (2, 4)
    assert case.least == pytest.approx(lines["Ann"].regret)
    assert case.most == pytest.approx(lines["=Ben"].regret)
    assert len(found.unread) == 1


def test_what_goes_wrong_again_and_again_is_named(classroom: tuple[Path, Classroom]) -> None:
    """Ben worked while a check was worth more; that check is under-used, and its regret is Ben's."""
    _, found = classroom
    lost = next(each.regret for each in found.trainees if each.trainee == "=Ben")
    assert found.haste.early == 1
    assert found.haste.early_cost == pytest.approx(lost)
    missed = [each for each in found.habits if each.missed]
    assert sum(each.missed_cost for each in missed) == pytest.approx(
        sum(each.regret for each in found.trainees), abs=30.0
    )
    assert found.calibration is not None
    assert found.calibration.statements == 2
    assert found.calibration.lean == pytest.approx((0.8 + 0.9) / 2 - 0.5)


def test_the_table_has_every_choice_and_no_formula(known: Knowledge, classroom: tuple[Path, Classroom]) -> None:
    rows = class_csv(known, classroom[1]).splitlines()
    assert len(rows) == 1 + 2 + 1
    assert any(row.startswith("'=Ben,") for row in rows)
    assert json.dumps(class_sheet(known, classroom[1]).currency) == '"EUR"'


def test_every_trainee_who_ended_gets_a_page(known: Knowledge, classroom: tuple[Path, Classroom]) -> None:
    pages = trainee_pages(known, classroom[1], 0)
    assert list(pages) == ["01-ann.html", "02-ben.html"]
    assert "reseal the injector" in pages["01-ann.html"]
    assert "<h1>Ann: practice cases</h1>" in pages["01-ann.html"]
    for page, line in zip(pages.values(), classroom[1].trainees, strict=False):
        assert f"<td>{line.regret:,.0f}</td>" in page
        assert f"<td>{classroom[1].cases[0].mean:,.0f}</td>" in page
    assert "<script" not in "".join(pages.values())


def test_a_name_is_never_read_as_markup(known: Knowledge, classroom: tuple[Path, Classroom]) -> None:
    found = classroom[1]
    named = replace(found.sittings[0], journal=replace(found.sittings[0].journal, trainee="<b>&"))
    pages = trainee_pages(known, compared(known, [named]), 0)
    assert "<b>&" not in "".join(pages.values())
    assert "&lt;b&gt;&amp;" in "".join(pages.values())


def test_cases_handed_out_together_stand_in_the_order_of_the_course(
    known: Knowledge, classroom: tuple[Path, Classroom]
) -> None:
    """Twelve cases that were begun at one moment: the tenth does not come before the second, as its file's name would
    in an alphabet, and so the later half of them is the later half."""
    one = next(each for each in classroom[1].sittings if each.review is not None)
    assert one.review is not None
    some = [
        replace(one, path=Path(f"ann-{number}.json"), review=replace(one.review, regret=float(number)))
        for number in (*range(7, 13), *range(1, 7))
    ]
    (line,) = compared(known, some).trainees
    assert line.regrets == tuple(float(number) for number in range(1, 13))
    assert line.trend == pytest.approx(6.0)


def test_a_case_that_cannot_be_looked_back_at_keeps_nobody_from_the_others(
    known: Knowledge, classroom: tuple[Path, Classroom]
) -> None:
    """As much may have been fitted on one cylinder as is too large to reckon with."""
    folder, found = classroom

    def too_large(bench: Bench, seat: Seat, draws: int) -> Debrief:
        if seat.play.events[-1] == ben:
            raise TooLarge("so much was renewed")
        return debrief(bench, seat, draws)

    ben = next(each.journal.seat.play.events[-1] for each in found.sittings if each.journal.trainee == "=Ben")
    with mock.patch.object(classes, "debrief", too_large):
        again = class_of(known, folder)
    assert {each.trainee for each in again.trainees} == {"Ann", "Cem"}
    assert any(each == "1.json: so much was renewed" for each in again.unread)


def test_a_folder_without_journals_is_refused(known: Knowledge, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="holds no journal"):
        class_of(known, tmp_path)
    with pytest.raises(UsageError, match="is no folder"):
        class_of(known, tmp_path / "nowhere")


def test_answers_are_records_again(known: Knowledge, classroom: tuple[Path, Classroom]) -> None:
    event = load_journal(classroom[0] / "0.json", known).seat.play.events[0]
    assert isinstance(event, Asked)
    assert all(isinstance(each, Answer | Measured) for each in event.found)


def test_cases_of_one_name_that_begin_differently_are_not_compared_as_one(known: Knowledge, tmp_path: Path) -> None:
    """The first case of two keys bears one name and is another vehicle; the same case sat by two stays one."""
    for number, (name, key) in enumerate((("Ann", b"k" * 16), ("Ben", b"l" * 16), ("Cem", b"k" * 16))):
        case = made(known, Wish("ostrel_3", faults=1), 1, key)
        seat = start(case.practice, case.hidden)
        ended = decide(Bench.of(known, case.practice), seat, [], "")
        save_journal(tmp_path / f"{number}.json", Journal(name, f"2026-03-0{number + 1}T08:00:00+00:00", ended))
    found = class_of(known, tmp_path)
    assert [(each.practice, each.trainees) for each in found.cases] == [("ostrel_3-1", 2), ("ostrel_3-1-2", 1)]
    regret = {each.trainee: each.regret for each in found.trainees}
    assert found.cases[0].most == max(regret["Ann"], regret["Cem"])
    assert found.cases[1].least == found.cases[1].most == regret["Ben"]
    assert [line["case"] for line in csv.DictReader(io.StringIO(class_csv(known, found)))] == [
        "ostrel_3-1", "ostrel_3-1-2", "ostrel_3-1"
    ]  # fmt: skip


def test_money_that_was_spent_is_not_taken_for_another_currency(
    known: Knowledge, begun: tuple[Bench, Seat], tmp_path: Path
) -> None:
    """A case on which nothing was spent yet goes on in any currency, and one from before journals said it as it was."""
    (tmp_path / "crowns.yaml").write_text("prices: {currency: CZK, exchange: 25}\n", encoding="utf-8")
    crowns, path = load_knowledge(overlays=[tmp_path / "crowns.yaml"]), tmp_path / "a.json"
    _, seat = begun
    save_journal(path, Journal("Ann", "2026-03-01T08:00:00+00:00", seat))
    fresh = load_journal(path, crowns).seat
    asked = ask(Bench.of(crowns, fresh.play.practice), fresh, "look_into_wells", "A")
    save_journal(path, Journal("Ann", "2026-03-01T08:00:00+00:00", asked))
    assert load_journal(path, crowns).seat.play.paid == asked.play.paid
    with pytest.raises(CaseError, match="counts money in CZK, and the prices given are in EUR"):
        load_journal(path, known)
    told = json.loads(path.read_text(encoding="utf-8"))
    del told["practice"]["currency"]
    path.write_text(json.dumps(told), encoding="utf-8")
    assert load_journal(path, known).seat.play.paid == asked.play.paid


def test_a_step_from_another_window_is_not_lost(known: Knowledge, begun: tuple[Bench, Seat], tmp_path: Path) -> None:
    """Two windows at one journal: who comes second is refused, and what was paid in the first stays."""
    bench, seat = begun
    path = tmp_path / "a.json"
    save_journal(path, Journal("Ann", "", seat))
    one = ask(bench, seat, "look_into_wells", "A")
    save_journal(path, Journal("Ann", "", one))
    with pytest.raises(UsageError, match=r"a\.json went on meanwhile, in another window; nothing was written"):
        save_journal(path, Journal("Ann", "", ask(bench, seat, "cabin_air", None)))
    assert load_journal(path, known).seat.play.events == one.play.events
    save_journal(path, Journal("Ann", "", ask(bench, load_journal(path, known).seat, "cabin_air", None)))
    assert len(load_journal(path, known).seat.play.events) == 2


def test_the_comparison_says_what_was_spent_on_and_which_way_the_class_was_off(
    known: Knowledge, begun: tuple[Bench, Seat], tmp_path: Path
) -> None:
    """A part fitted for a trial is no check, and less sure than right is not 'more by a negative share'."""
    bench, seat = begun
    fitted = fit(bench, believe(bench, seat, [Belief("seal", 2, 0.25)]), [Job("replace_filter", None)])
    ended = decide(bench, fitted, [Job("reseal", 2)], "")
    save_journal(tmp_path / "a.json", Journal("Ann", "2026-03-01T08:00:00+00:00", ended))
    blocks = class_blocks(class_sheet(known, class_of(known, tmp_path)))
    heads = [column.heading for block in blocks if isinstance(block, Table) for column in block.columns]
    assert "checks and trials" in heads
    assert "for checks" not in heads
    said = " ".join(block.text for block in blocks if isinstance(block, Sentence))
    assert "said 75 % less than came true on average" in said


def test_a_journal_that_lies_there_twice_counts_once(
    known: Knowledge, begun: tuple[Bench, Seat], tmp_path: Path
) -> None:
    """An older copy, and one under another name: the one that went furthest counts, and the others are named."""
    bench, seat = begun
    asked = ask(bench, seat, "listen_at_cylinder", 2)
    ended = decide(bench, asked, (Job("reseal", 2),), "")
    for name, each in (("anna.json", ended), ("anna (copy).json", ended), ("anna-old.json", asked)):
        save_journal(tmp_path / name, Journal("Anna", "2026-11-01T08:00:00+00:00", each))
    save_journal(tmp_path / "ben.json", Journal("Ben", "2026-11-01T08:00:00+00:00", asked))
    found = class_of(known, tmp_path)
    assert {each.trainee: (each.ended, each.running) for each in found.trainees} == {"Anna": (1, 0), "Ben": (0, 1)}
    assert len(found.unread) == 2
    assert all("a copy of anna" in each for each in found.unread)
