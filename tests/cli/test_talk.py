"""The interactive session, through a pipe and on a terminal: answers, undo, save, resume."""

from __future__ import annotations

import os
import pty
import re
import shlex
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from diag.casebook import load_case
from diag.knowledge_base import load_knowledge
from tests.cli.process import environment, run_in


def _lines(*lines: str) -> str:
    return "".join(f"{line}\n" for line in lines)


NEW = _lines("ostrel_4", "187000 km", "11 years", "rough_idle, fumes")


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A session that begins a case, takes answers, undoes one, saves and ends; the folder and what was printed."""
    folder = tmp_path_factory.mktemp("talk")
    told = ("tell chuff", "2", "undo", "tell chuff under cold", "2", "tell correction", "0.1, 2.9, -0.3, 0.2 mg/stroke")
    typed = NEW + _lines(*told, "save our case.yaml", "quit")
    result = run_in(folder, "talk", typed=typed)
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    return folder, result.stdout


def test_a_session_says_what_it_asks_and_what_was_answered(saved: tuple[Path, str]) -> None:
    _, page = saved
    asked = ("Which engine?", "> ostrel_4", "What is the complaint?")
    for words in (*asked, "So far: ", "Taken back: ", "Saved to our case.yaml"):
        assert words in page


def test_an_undo_after_saving_is_not_in_the_file_and_that_is_said(tmp_path: Path) -> None:
    """The file still holds the answer that was taken back; saved again it does not."""
    told = ("tell chuff under load", "2", "save c.yaml", "undo")
    left = run_in(tmp_path, "talk", "one_blown_seal", typed=_lines(*told, "quit")).stdout
    assert "Since the last 'save' nothing was written." in left
    told = ("tell chuff under load", "2", "save d.yaml", "undo", "save", "quit")
    saved = run_in(tmp_path, "talk", "one_blown_seal", typed=_lines(*told)).stdout
    assert "nothing was written" not in saved
    assert "under load" not in (tmp_path / "d.yaml").read_text()


def test_cautions_come_at_once_with_a_dangerous_complaint(tmp_path: Path) -> None:
    knowledge = load_knowledge()
    item = next(id_ for id_, finding in knowledge.findings.items() if finding.danger and finding.kind == "symptom")
    page = run_in(tmp_path, "talk", "--engine", "ostrel_3", typed=f"\n\n{item}\nquit\n").stdout
    assert "CAUTION: " in page


def test_what_was_undone_is_not_in_the_saved_case(saved: tuple[Path, str]) -> None:
    folder, _ = saved
    case = load_case(folder / "our case.yaml", load_knowledge())
    answers = {(each.item, each.place, each.condition): each.answer for each in case.epochs[-1].answers}
    assert answers["chuff", 2, "cold"] == "present"
    assert ("chuff", 2, None) not in answers
    assert answers["rough_idle", None, None] == "present"
    assert {each.place: each.value for each in case.epochs[-1].measured} == {1: 0.1, 2: 2.9, 3: -0.3, 4: 0.2}
    assert (case.distance_km, case.age_years) == (187_000.0, 11.0)


def test_a_saved_case_is_resumed_and_saved_over_its_own_file(saved: tuple[Path, str]) -> None:
    folder, _ = saved
    result = run_in(folder, "talk", "our case.yaml", typed="tell tar\n2\nsave\nquit\n")
    assert result.returncode == 0, result.stderr
    assert "What is the complaint?" not in result.stdout
    case = load_case(folder / "our case.yaml", load_knowledge())
    assert {(each.place, each.answer) for each in case.epochs[-1].answers if each.item == "tar"} >= {(2, "present")}


def test_the_next_check_is_offered_explained_and_answered(tmp_path: Path) -> None:
    result = run_in(tmp_path, "talk", "one_blown_seal", typed="why\nhelp\nyes\nnonsense\nskip\nundo\n")
    assert result.returncode == 0, result.stderr
    for words in ("Check next: ", "Its answer is worth ", "take back the last step", "is no answer here"):
        assert words in result.stdout
    assert result.stdout.index("CAUTION") < result.stdout.index("is no answer here")  # before the first question


def test_the_end_of_the_input_ends_with_the_advice_and_writes_nothing(tmp_path: Path) -> None:
    result = run_in(tmp_path, "talk", "one_blown_seal", typed="tell chuff under load\n2\n")
    assert result.returncode == 0, result.stderr
    assert "What can be done, side by side" in result.stdout
    assert "Nothing was written" in result.stdout
    assert not list(tmp_path.iterdir())


def test_a_demo_case_is_never_written_over_and_no_other_file_either(tmp_path: Path) -> None:
    (tmp_path / "other.yaml").write_text("mine", encoding="utf-8")
    result = run_in(tmp_path, "talk", "one_blown_seal", typed="save\nsave other.yaml\nquit\n")
    assert "Save to which file?" in result.stdout
    assert "other.yaml is already there and was left as it is" in result.stdout
    assert (tmp_path / "other.yaml").read_text(encoding="utf-8") == "mine"


def test_a_repair_that_was_tried_is_told_and_kept(tmp_path: Path) -> None:
    typed = "did replace_mounts\nno\nsave tried.yaml\nquit\n"
    result = run_in(tmp_path, "talk", "vibration_not_the_engine", typed=typed)
    assert result.returncode == 0, result.stderr
    case = load_case(tmp_path / "tried.yaml", load_knowledge())
    assert [work.repair for work in case.epochs[-1].work] == ["replace_mounts"]
    assert case.epochs[-1].work[0].helped == "no"


def test_what_was_left_undone_is_asked_in_one_question(tmp_path: Path) -> None:
    """By name or its beginning, several by commas; what it could be stands in the question."""
    (tmp_path / "chuffing.yaml").write_text("engine: ostrel_4\nfindings: {chuff: {2: present}}\n", encoding="utf-8")
    typed = _lines("did reseal", "2", "same", "old", "old wash, seat_not_cut", "save", "quit")
    result = run_in(tmp_path, "talk", "chuffing.yaml", typed=typed)
    assert result.returncode == 0, result.stderr
    told = " ".join(result.stdout.split())
    assert "Was anything left undone? (old washer used again, marked seat not cut, old bolt used again;" in told
    assert "'old' is nothing that can be left undone at this work" in told
    (epoch,) = load_case(tmp_path / "chuffing.yaml", load_knowledge()).epochs[1:]
    assert epoch.work[0].but == ("old_washer", "seat_not_cut")


def test_work_that_is_broken_off_is_said_to_be_not_noted_and_takes_back_nothing_else(tmp_path: Path) -> None:
    """'undo' in the middle leaves the work alone and what was told before as it was; 'help' and 'skip' go on."""
    (tmp_path / "chuffing.yaml").write_text("engine: ostrel_4\nfindings: {chuff: {2: present}}\n", encoding="utf-8")
    typed = _lines("tell fumes", "yes", "did reseal", "2", "undo", "did reseal", "2", "same", "faults")
    typed += _lines("did reseal", "help", "2", "help", "nonsense", "skip", "skip", "save", "quit")
    result = run_in(tmp_path, "talk", "chuffing.yaml", typed=typed)
    assert result.returncode == 0, result.stderr
    assert result.stdout.count("Not noted: reseal the injector.") == 2
    assert "Taken back" not in result.stdout
    assert "'nonsense' does not say whether it helped" in result.stdout
    case = load_case(tmp_path / "chuffing.yaml", load_knowledge())
    assert [(each.item, each.place) for each in case.epochs[0].answers] == [("chuff", 2), ("fumes", None)]
    (work,) = case.epochs[1].work
    assert (work.repair, work.place, work.helped) == ("reseal", 2, None)


def test_a_check_that_cannot_be_done_and_what_is_closed_again_stand_in_the_case(tmp_path: Path) -> None:
    """As on the page; both are steps that can be taken back. 'not possible here' holds for the check, not for today."""
    (tmp_path / "c.yaml").write_text("engine: ostrel_4\nfindings: {fumes: present}\nopen: [covers]\n", encoding="utf-8")
    typed = _lines("cannot", "cannot do it", "undo", "shut", "shut", "save", "quit")
    page = run_in(tmp_path, "talk", "c.yaml", typed=typed).stdout
    first, second = re.findall(r"Noted: not possible here, (.+?)\.\n", page)
    assert first != second
    assert f"Taken back: not possible here, {second}." in page
    assert page.count("Noted: all that was opened is closed again.") == page.count("Nothing stands open.") == 1
    knowledge = load_knowledge()
    case = load_case(tmp_path / "c.yaml", knowledge)
    assert [knowledge.checks[each].name for each in case.cannot] == [first]
    assert case.open_access == ()


def test_work_at_several_cylinders_is_told_in_one_go(tmp_path: Path) -> None:
    """All seals renewed at once are one stretch of the case, as a case file has it; an exchange begins at one."""
    (tmp_path / "chuffing.yaml").write_text("engine: ostrel_4\nfindings: {chuff: {2: present}}\n", encoding="utf-8")
    typed = _lines("did reseal", "2, 9", "4 2", "same", "", "did reseal", "all", "same", "")
    typed += _lines("did swap_injectors", "2, 3", "quit")
    result = run_in(tmp_path, "talk", "chuffing.yaml", typed=_lines("save") + typed)
    assert "'9' is not an answer here; it can be 1, 2, 3 or 4" in result.stdout
    assert "Noted: reseal the injector, cylinders 2 and 4." in result.stdout
    assert "Noted: reseal the injector, cylinders 1, 2, 3 and 4." in result.stdout
    assert "'2, 3' is not an answer here; it can be 1, 2, 3 or 4" in result.stdout
    run_in(tmp_path, "talk", "chuffing.yaml", typed=_lines("did reseal", "4 2", "same", "", "save", "quit"))
    (epoch,) = load_case(tmp_path / "chuffing.yaml", load_knowledge()).epochs[1:]
    assert [(work.place, work.helped) for work in epoch.work] == [(2, "no"), (4, "no")]


def test_a_swap_that_was_tried_asks_for_the_other_cylinder_and_the_fault(tmp_path: Path) -> None:
    (tmp_path / "limping.yaml").write_text(
        "engine: ostrel_4\nfindings: {rough_idle: present, weak_cutout: {2: present}}\n", encoding="utf-8"
    )
    typed = _lines("did swap_injectors", "2", "7", "3", "moved", "", "save", "quit")
    result = run_in(tmp_path, "talk", "limping.yaml", typed=typed)
    assert result.returncode == 0, result.stderr
    assert "'7' is no other cylinder; it can be 1, 3, 4" in result.stdout
    assert "swap two injectors, cylinder 2 with cylinder 3" in result.stdout
    case = load_case(tmp_path / "limping.yaml", load_knowledge())
    assert (case.epochs[-1].work[0].place, case.epochs[-1].work[0].other) == (2, 3)
    now = {(each.item, each.place): each.answer for each in case.epochs[-1].answers}
    assert (now["weak_cutout", 2], now["weak_cutout", 3]) == ("absent", "present")


def test_a_new_engine_is_made_from_answers_and_never_over_another(tmp_path: Path) -> None:
    typed = _lines("big_six", "Big six", "V", "6", "piezo", "", "", "1-4-2-5-3-6")
    made = run_in(tmp_path, "engine", "new", typed=typed)
    assert made.returncode == 0, made.stderr
    assert "Wrote big_six.yaml" in made.stdout
    before = (tmp_path / "big_six.yaml").read_bytes()
    again = run_in(tmp_path, "engine", "new", "big_six", typed=_lines("Big six", "V", "6", "piezo", "", "", ""))
    assert (again.returncode, (tmp_path / "big_six.yaml").read_bytes()) == (2, before)
    assert "is already there and was left as it is" in again.stderr


@pytest.mark.parametrize(
    ("typed", "said", "written"),
    [
        (("V", "6", "piezo", "", "", ""), "a common one", ("only common for this layout", "the usual numbering")),
        (("inline", "7", "piezo", ""), "no common one is known", ("plainly counted, not known",)),
        (("V", "6", "piezo", "1 3 5", "2 4 6", ""), "no common one is known", ("plainly counted, not known",)),
    ],
)
def test_what_is_only_suggested_is_not_written_as_given(
    tmp_path: Path, typed: tuple[str, ...], said: str, written: tuple[str, ...]
) -> None:
    made = run_in(tmp_path, "engine", "new", typed=_lines("own", "Own", *typed))
    assert made.returncode == 0, made.stderr
    assert said in made.stdout
    text = (tmp_path / "own.yaml").read_text()
    assert "as given" not in text and all(words in text for words in written)


def test_a_new_engine_in_a_folder_with_a_space_is_used_by_the_words_that_are_printed(tmp_path: Path) -> None:
    """The command can be pasted as it stands; a case file names the engine's file, and is told so where it does not."""
    (tmp_path / "own engines").mkdir()
    given = ("--name", "Two", "--layout", "inline", "--cylinders", "2", "--injector", "piezo", "--firing-order", "1-2")
    made = run_in(tmp_path, "engine", "new", "two", *given, "--folder", "own engines")
    lines = made.stdout.partition("Use it: diag ")[2].splitlines()
    command, in_file = lines[0], " ".join(lines[1:]).partition("In a case file beside it, write ")[2]
    used = run_in(tmp_path, *shlex.split(command), typed=_lines("", "", "", "quit"))
    assert used.returncode == 0, used.stderr
    case = tmp_path / "own engines" / "case.yaml"
    case.write_text("engine: two\nfindings: {rough_idle: present}\n", encoding="utf-8")
    refused = run_in(tmp_path, "weigh", str(case))
    assert "or the path of an engine's file, such as two.yaml" in " ".join(refused.stderr.split())
    line = in_file.removeprefix("'").removesuffix("'.")
    case.write_text(f"{line}\nfindings: {{rough_idle: present}}\n", encoding="utf-8")
    weighed = run_in(tmp_path, "weigh", str(case))
    assert weighed.returncode == 0, weighed.stderr


def test_a_new_engine_given_by_options_is_used_with_its_blanks(tmp_path: Path) -> None:
    options = ("--name", "Small", "--layout", "inline", "--cylinders", "3", "--injector", "solenoid")
    made = run_in(tmp_path, "engine", "new", "small", *options, "--firing-order", "1-3-2")
    assert made.returncode == 0, made.stderr
    typed = _lines("", "", "rough_idle", "tell tar", "2", "tell chuff", "2", "repair", "save case.yaml", "quit")
    used = run_in(tmp_path, "talk", "--engine", "small.yaml", typed=typed)
    assert used.returncode == 0, used.stderr
    assert "maker's value ____" in used.stdout
    assert load_case(tmp_path / "case.yaml", load_knowledge()).engine.name == "Small"


def test_a_new_engine_has_what_an_overlay_adds(tmp_path: Path) -> None:
    """An access and a limit of the workshop's own are in its file; the command that is printed names the overlay."""
    (tmp_path / "own.yaml").write_text(
        "vocabulary: {access: {hatch: {name: hatch off, open: [covers_off], close: [covers_on]}}}\n"
        "engines: {ostrel_4: {access_minutes: {hatch: {A: 12}}, limits: {compression: {value: 23}}}}\n",
        encoding="utf-8",
    )
    given = ("--name", "Own", "--layout", "inline", "--cylinders", "2", "--injector", "piezo", "--firing-order", "1-2")
    made = run_in(tmp_path, "engine", "new", "own_2", *given, "--overlay", "own.yaml")
    assert made.returncode == 0, made.stderr
    assert "hatch: {A: 12}" in (tmp_path / "own_2.yaml").read_text()
    command = made.stdout.partition("Use it: diag ")[2].splitlines()[0]
    assert command.endswith("--overlay own.yaml")
    used = run_in(tmp_path, *shlex.split(command), typed=_lines("", "", "", "quit"))
    assert used.returncode == 0, used.stderr


@pytest.mark.parametrize("said", [("quit",), ("ostrel_4", "quit"), ("ostrel_4", "skip", "QUIT")])
def test_quit_ends_at_the_questions_before_the_case_too(tmp_path: Path, said: tuple[str, ...]) -> None:
    """At the engine, the distance and the age, as everywhere else; 'quit' had been taken for a distance."""
    ended = run_in(tmp_path, "talk", typed=_lines(*said))
    assert ended.returncode == 0, ended.stderr
    assert "Nothing was written" in ended.stdout
    assert not any(words in ended.stdout + ended.stderr for words in ("is no", "unit", "What is the complaint"))


@pytest.mark.parametrize("end", ["", "quit\n6\npiezo\n\n\n\n"])
def test_a_new_engine_that_is_not_told_to_the_end_is_not_written(tmp_path: Path, end: str) -> None:
    made = run_in(tmp_path, "engine", "new", "half", typed=f"Half an engine\nV\n{end}")
    assert made.returncode == 2
    assert "the input ended before this was answered: How many cylinders?" in made.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("no_color", [False, True])
def test_a_session_works_on_a_terminal(tmp_path: Path, no_color: bool) -> None:
    main_end, terminal = pty.openpty()
    wishes = {"TERM": "xterm-256color"} | ({"NO_COLOR": "1"} if no_color else {})
    with subprocess.Popen(
        [sys.executable, "-m", "diag", "talk", "--engine", "ostrel_4"],
        cwd=tmp_path,
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        env=environment(**wishes),
    ) as process:
        os.close(terminal)
        os.write(main_end, b"187000 km\n11 years\nhelp\ncabin_smell\nquit\n")
        page = _read_all(main_end)
    assert process.returncode == 0
    assert "Done." in page
    coloured = "\x1b[1;31m" in page
    assert coloured is not no_color


def test_breaking_off_says_that_what_was_not_saved_is_not_kept(tmp_path: Path) -> None:
    """Ctrl-C at a question: exit code 130, no trace, nothing written."""
    with subprocess.Popen(
        [sys.executable, "-m", "diag", "talk", "one_blown_seal"],
        cwd=tmp_path,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(),
        text=True,
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if line.startswith("Do this check?"):
                break
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Broken off; what was not saved is not kept." in out
    assert "Traceback" not in err
    assert not list(tmp_path.iterdir())


def test_a_complaint_that_is_none_says_where_to_find_one(tmp_path: Path) -> None:
    page = run_in(tmp_path, "talk", "--engine", "ostrel_3", typed="\n\nqqqq\nwhy\nwhat\nquit\n").stdout
    for words in ("'qqqq'; give its number in the list above", "No check is offered yet.", "'help' lists the words"):
        assert words in " ".join(page.split())


def test_a_case_that_is_gone_on_with_warns_of_its_danger_before_a_check_is_offered(tmp_path: Path) -> None:
    page = run_in(tmp_path, "talk", "injector_stuck_open", typed="quit\n").stdout
    assert page.index("Knock with rising oil") < page.index("Do this check?")


def test_the_check_that_is_asked_about_has_been_named(tmp_path: Path) -> None:
    """No check pays here; the one that 'yes' begins is the one that was called the nearest."""
    page = " ".join(run_in(tmp_path, "talk", "whole_bank_silent", typed="yes\nquit\n").stdout.split())
    named = page.split("The nearest to it: ")[1].split(", worth")[0]
    assert page.index(f"Check next: {named}") > page.index("Do this check?")


def _read_all(descriptor: int) -> str:
    """Everything until the other side hangs up."""
    parts = []
    while True:
        try:
            part = os.read(descriptor, 65536)
        except OSError:  # what Linux says when the last process has closed the terminal
            break
        if not part:
            break
        parts.append(part)
    os.close(descriptor)
    return b"".join(parts).decode("utf-8", "replace")
