"""The case studies that ship: enough of them, of every kind, whole, and fit to be played."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.basics import CaseError
from diag.casebook import Answer, load_study
from diag.knowledge_base import Knowledge, load_knowledge
from diag.report import practice_state_sheet
from diag.training import Bench, ask, debrief, decide, start, studies, study_named, view_of

ASKED_FOR = {
    "one combustion seal",
    "seals of all cylinders",
    "trim code not written",
    "wrong cylinder",
    "wiring of one injector",
    "compression",
    "air in the fuel",
    "fuel supply",
    "air path",
    "contradicting findings",
    "two faults at once",
    "not the engine at all",
}


@pytest.fixture(scope="module")
def known() -> Knowledge:
    return load_knowledge()


def test_there_are_enough_and_of_every_kind(known: Knowledge) -> None:
    files = [load_study(path, known) for path in studies().values()]
    assert len(files) >= 12
    covered = {each for file in files for each in file.covers}
    assert covered >= ASKED_FOR
    assert {file.grade for file in files} >= {1, 2, 3, 4, 5}


@pytest.mark.parametrize("name", studies())
def test_a_study_is_whole_and_says_that_it_is_invented(known: Knowledge, name: str) -> None:
    """Title, complaint, truth, every note; the truth is not in what a trainee reads first."""
    path = studies()[name]
    file = load_study(path, known)
    assert "Invented from end to end" in path.read_text(encoding="utf-8").splitlines()[0]
    assert file.case.title
    assert file.learn
    assert file.misleads
    assert len(file.ask) >= 2
    assert any(known.findings[each.item].kind == "symptom" for each in file.case.epochs[0].answers)
    assert all(each.answer == "present" for each in file.case.epochs[0].answers)


@pytest.mark.parametrize("name", studies())
def test_the_vehicle_of_a_study_has_its_truth_and_its_complaint(known: Knowledge, name: str) -> None:
    practice, hidden = study_named(known, name, studies()[name], 99)
    wrong = {key for key, state in hidden.first.states.items() if state != 0 and known.components[key[0]].fault}
    assert wrong == {(each.component, each.place) for each in hidden.faults}
    assert {question[0] for question in hidden.first.pinned} == {each.item for each in practice.start.epochs[0].answers}


def test_a_study_can_be_played_to_its_debrief(known: Knowledge) -> None:
    practice, hidden = study_named(known, "shakes_in_the_seat", studies()["shakes_in_the_seat"], 3)
    bench = Bench.of(known, practice)
    seat = decide(bench, ask(bench, start(practice, hidden), "ask_about_running", None), [], "nothing that hurts")
    found = debrief(bench, seat, 0)
    assert len(found.steps) == 2
    assert found.outcome.total > found.outcome.least - 1e-6


@pytest.mark.parametrize("name", studies())
def test_the_control_unit_of_a_study_numbers_as_the_maker_does_and_says_so(known: Knowledge, name: str) -> None:
    """Its vehicle is so, whatever was done to it before; else what it shows would be read as of other cylinders."""
    practice, hidden = study_named(known, name, studies()[name], 7)
    assert practice.start.numbering == "by_cylinder"
    assert hidden.world.states.get(("code_numbering", None), 0) == 0
    sheet = practice_state_sheet(known, view_of(Bench.of(known, practice), start(practice, hidden).play))
    assert (sheet.known[0].what, sheet.known[0].said) == (
        "the control unit's own numbers of the cylinders",
        "as the maker has them",
    )


@pytest.mark.parametrize(("numbering", "shown"), [("confirmed", 2), ("by firing order", 4), ("from other end", 3)])
def test_codes_and_corrections_stand_where_the_control_unit_of_the_study_counts(
    known: Knowledge, tmp_path: Path, numbering: str, shown: int
) -> None:
    """Cylinder 2 of the firing order 1-3-4-2 has an open wire: the control unit that counts so calls it its fourth."""
    path = tmp_path / "study.yaml"
    path.write_text(
        f"title: x\nengine: ostrel_4\nnumbering: {numbering}\nfindings: {{rough_idle: present}}\n"
        "study: {grade: 2, truth: [wiring open 2]}\n",
        encoding="utf-8",
    )
    for seed in range(4):
        practice, hidden = study_named(known, "own", path, seed)
        bench = Bench.of(known, practice)
        seat = ask(bench, start(practice, hidden), "read_injector_codes", None)
        seat = ask(bench, seat, "idle_correction", None)
        latest = seat.play.case_at().epochs[-1]
        codes = {each.place for each in latest.answers if (each.item, each.answer) == ("circuit_code", "present")}
        values = {each.place: each.value for each in latest.measured if each.item == "correction"}
        assert codes <= {shown}
        assert max(values, key=lambda place: abs(values[place])) == shown
        seat = ask(bench, seat, "wires_of_injector", 2)
        at_the_wires = [each for each in seat.play.events[-1].found if isinstance(each, Answer)]  # type: ignore[union-attr]
        assert all(each.place == 2 for each in at_the_wires)


@pytest.mark.parametrize(
    ("block", "words"),
    [
        ("study: {grade: 2}", "does not say what is wrong"),
        ("study: {grade: 9, truth: [seal blown 2]}", "is no grade"),
        ("study: {grade: 1, truth: [seal blown 2, seal weeping 2]}", "one thing is in one state; leave one of the two"),
        ("study: {grade: 1, truth: [seal blown 2, seal blown 2]}", "was told as 'blown' there already"),
        (
            "study: {grade: 1, truth: [seal blown 2], answers: {findings: {rough_idle: absent}}}",
            "'rough_idle' is told otherwise under findings:, so this answer would never be given",
        ),
        ("study: {grade: 2, truth: [seel blown 2]}", "did you mean 'seal'"),
        ("study: {grade: 2, truth: [seal burst 2]}", "no unsound state 'burst'"),
        ("study: {grade: 2, truth: [seal blown 9]}", "cylinder"),
        ("study: {grade: 2, truth: [seal blown 2], hint: no}", "'hint' is not known here"),
        ("study: {grade: 2, truth: [seal blown 2], answers: {findings: {tarr: {2: present}}}}", "did you mean 'tar'"),
        ("readings: {rail_decay: 3 s}\nstudy: {grade: 2, truth: [seal blown 2]}", "complaint alone"),
    ],
)
def test_a_study_with_a_mistake_says_where(known: Knowledge, tmp_path: Path, block: str, words: str) -> None:
    """Every problem with file, line and column."""
    path = tmp_path / "study.yaml"
    path.write_text(f"title: x\nengine: ostrel_4\nfindings: {{rough_idle: present}}\n{block}\n", encoding="utf-8")
    with pytest.raises(CaseError, match=words) as told:
        load_study(path, known)
    assert all(problem.line >= 1 for problem in told.value.problems)


@pytest.mark.parametrize(
    "told", ["codes: [P0263]", "findings: {rough_idle: absent}", "findings: {tar: {2: present}}", ""]
)
def test_a_study_in_which_nobody_complains_is_refused(known: Knowledge, tmp_path: Path, told: str) -> None:
    """Of every work it was said that the complaint is as it was, the right one included."""
    path = tmp_path / "study.yaml"
    text = f"title: x\nengine: ostrel_4\n{told}\nstudy: {{grade: 2, truth: [seal blown 2]}}\n"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CaseError, match="begins with what the customer complains of") as found:
        load_study(path, known)
    assert all(problem.line >= 1 for problem in found.value.problems)
