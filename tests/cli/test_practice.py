"""`diag practice` in real processes: every command, its JSON, broken off and taken up, and what is refused."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from diag.report import form_schema
from tests.cli.process import environment, json_of, run_here, run_in, succeeded

STUDY = "smell_under_the_bonnet"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a key, and a study begun, played by commands, and ended."""
    place = tmp_path_factory.mktemp("practice")
    (place / "class").mkdir()
    for arguments in (
        ("key", "key.txt"),
        ("begin", STUDY, "--journal", "class/ann.json", "--name", "Ann", "--key", "key.txt"),
        ("ask", "class/ann.json", "look_into_wells", "A"),
        ("sure", "class/ann.json", "seal", "2", "85"),
        ("plan", "class/ann.json", "reseal@2", "--words", "A washer had burnt through."),
    ):
        done = run_in(place, "practice", *arguments)
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
    return place


def form_of(text: str, form: str) -> Any:
    body = json.loads(text)
    jsonschema.validate(body, form_schema(form))
    return body


OURS = """
components:
  our_flap: {name: our flap, plain: a flap, per: cylinder, states: {sound: {name: sound}, stuck: {name: stuck}},
    chance: {stuck: 5 %}, fresh: {stuck: 1 %}}
severities: {delivery: {causes: {our_flap: {stuck: {under: 60 %, none: 30 %}}}}}
findings:
  our_look: {name: our look, ask: Is it stuck?, plain: a stuck flap, kind: observation, shows: our_flap,
    chance: {sound: 2 %, stuck: 97 %}}
checks:
  our_check: {name: our check, how: Look., covers: cylinder, yields: [our_look], minutes: 5}
repairs:
  our_work: {name: our work, plain: a new flap, on: cylinder, renews: [our_flap], minutes: 20}
"""


def test_a_journal_that_was_begun_with_an_overlay_is_told_to_need_it(tmp_path: Path, folder: Path) -> None:
    """What is hidden is not named, and a world that was drawn from other knowledge answers nothing."""
    (tmp_path / "ours.yaml").write_text(OURS, encoding="utf-8")
    key, ours = ("--key", str(folder / "key.txt")), ("--overlay", "ours.yaml")
    fault = ("--fault", "our_flap", "--place", "2")
    assert run_in(tmp_path, "practice", "make", "ostrel_3", *key, *fault, "--journal", "j.json", *ours).returncode == 0
    assert run_in(tmp_path, "practice", "make", "ostrel_3", *key, "--journal", "plain.json").returncode == 0
    hidden = run_in(tmp_path, "practice", "show", "j.json")
    assert hidden.returncode == 4
    assert "j.json: this journal was begun with other knowledge; give the overlays" in hidden.stderr
    assert run_in(tmp_path, "practice", "ask", "j.json", "our_check", "2", *ours).returncode == 0
    asked = run_in(tmp_path, "practice", "show", "j.json")
    assert "this journal tells of 'our_look', which this knowledge does not have; give the overlays" in asked.stderr
    other = run_in(tmp_path, "practice", "ask", "plain.json", "look_into_wells", "A", *ours)
    assert other.returncode == 2
    assert "this practice case was begun with other knowledge; give the overlays" in other.stderr
    assert run_in(tmp_path, "practice", "ask", "plain.json", "look_into_wells", "A").returncode == 0


def test_the_studies_are_listed_easy_ones_first() -> None:
    body = json_of("practice", "studies", "--json")
    jsonschema.validate(body, form_schema("diag.practice.studies/1"))
    grades = [line["grade"] for line in body["studies"]]
    assert grades == sorted(grades)
    assert STUDY in succeeded("practice", "studies")


def test_the_list_of_studies_gives_none_away_but_to_the_trainer() -> None:
    """Who practises alone chooses from it; each is known by what its customer tells."""
    body, trainers = json_of("practice", "studies", "--json"), json_of("practice", "studies", "--about", "--json")
    plain, told = (" ".join(succeeded("practice", "studies", *more).split()) for more in ((), ("--about",)))
    for line, full in zip(body["studies"], trainers["studies"], strict=True):
        assert line["covers"] == []
        assert full["covers"]
        assert full | {"covers": []} == line
        assert line["title"].split(",")[0].split()[0] in plain
    assert "trim code not written" in told
    assert "trim code" not in plain


def test_a_state_has_its_form_and_nothing_of_the_truth(folder: Path) -> None:
    """What is printed while a case runs holds neither id, grade, notes nor truth of the study."""
    path = folder / "open.json"
    begun = run_in(folder, "practice", "begin", STUDY, "--journal", path.name, "--json")
    body = form_of(begun.stdout, "diag.practice.state/1")
    assert not body["ended"]
    assert {line["check"] for line in body["checks"]} >= {"look_into_wells", "listen_at_cylinder"}
    hidden = json.loads(path.read_text(encoding="utf-8"))["hidden"]
    shown = begun.stdout + run_in(folder, "practice", "show", path.name).stdout
    for secret in (STUDY, hidden["notes"]["learn"], hidden["notes"]["misleads"], str(hidden["first"]["seed"])):
        assert secret not in shown
    asked = form_of(
        run_in(folder, "practice", "ask", path.name, "read_stored_codes", "--json").stdout, "practice.state"
    )
    assert asked["minutes"] == 4.0
    assert asked["latest"]
    assert asked["step_cautions"] == []  # reading codes with the ignition on hurts nobody


def test_the_same_key_gives_the_same_vehicle(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    answers = []
    for name in ("one.json", "two.json"):
        assert run_here(capsys, "practice", "begin", STUDY, "--journal", name, "--key", "key.txt")[0] == 0
        answers.append(run_here(capsys, "practice", "ask", name, "idle_correction", "--json"))
    assert answers[0] == answers[1]


def test_what_was_said_of_how_sure_one_is_is_said_back(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A share typed for per cent is to be seen before it counts."""
    monkeypatch.chdir(folder)
    assert run_here(capsys, "practice", "begin", STUDY, "--journal", "sure.json")[0] == 0
    for typed, said in ((("seal", "2", "0.8"), "combustion seal, cylinder 2, 0.8 %"), (("mounts", "30 %"), "30 %")):
        code, out, _ = run_here(capsys, "practice", "sure", "sure.json", *typed)
        assert code == 0
        assert "Noted how sure you are: " in out
        assert said in out


def test_a_conversation_goes_on_from_what_another_window_did(folder: Path) -> None:
    assert run_in(folder, "practice", "begin", STUDY, "--journal", "windows.json").returncode == 0
    command = [sys.executable, "-m", "diag", "practice", "play", "windows.json"]
    with subprocess.Popen(
        command, cwd=folder, env=environment(), text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as talk:
        assert talk.stdin is not None and talk.stdout is not None
        assert any("Known so far" in line for line in talk.stdout)
        assert run_in(folder, "practice", "ask", "windows.json", "cabin_air").returncode == 0
        told, _ = talk.communicate("ask listen_for_knock\nask listen_for_knock\nquit\n", timeout=60)
    assert " ".join(told.split()).count("in another window; nothing was written") == 1
    events = json.loads((folder / "windows.json").read_text(encoding="utf-8"))["events"]
    assert [each["check"] for each in events] == ["cabin_air", "listen_for_knock"]


def test_the_class_and_the_debrief_give_one_score(folder: Path, tmp_path: Path) -> None:
    """With nothing said of the doubt, both draw it alike; the comparison says where it was not drawn."""
    for line in (("begin", "no_power_uphill", "--journal", "ann.json", "--key", str(folder / "key.txt")),
                 ("ask", "ann.json", "cut_out"), ("plan", "ann.json", "nothing")):  # fmt: skip
        assert run_in(tmp_path, "practice", *line).returncode == 0
    looked = json.loads(run_in(tmp_path, "practice", "debrief", "ann.json", "--json").stdout)
    compared = form_of(run_in(tmp_path, "practice", "class", ".", "--json").stdout, "diag.practice.class/1")
    assert looked["doubted"] == compared["doubted"] == 8
    assert compared["trainees"][0]["regret"] == pytest.approx(looked["regret"])
    said = "The doubt of the numbers themselves was not drawn"
    assert said in run_in(tmp_path, "practice", "class", ".", "--doubt", "0").stdout
    assert said not in run_in(tmp_path, "practice", "class", ".").stdout


@pytest.mark.parametrize(
    "line", [("debrief", "class/ann.json", "--pdf", "none/a.pdf"), ("class", "class", "--csv", "none/all.csv")]
)
def test_a_folder_that_is_not_there_is_told_before_anything_is_looked_at(folder: Path, line: tuple[str, ...]) -> None:
    done = run_in(folder, "practice", *line)
    assert done.returncode == 2
    assert f"{line[-1]} cannot be written: there is no folder none; make it first" in done.stderr
    assert done.stdout == ""


def test_a_debrief_adds_up_and_can_be_printed(folder: Path) -> None:
    done = run_in(
        folder, "practice", "debrief", "class/ann.json", "--doubt", "0", "--html", "a.html", "--pdf", "a.pdf", "--json"
    )
    assert done.returncode == 0, done.stderr
    body = form_of(done.stdout, "diag.practice.debrief/1")
    assert [line["component"] for line in body["truth"]] == ["seal"]
    assert body["all_regret"] == pytest.approx(sum(step["regret"] for step in body["steps"]))
    assert body["total"] == pytest.approx(body["expected"] + body["all_regret"] + body["luck"])
    assert all(step["regret"] >= 0 for step in body["steps"])
    assert body["beliefs"][0]["brier"] == pytest.approx(0.15**2)
    assert body["words"] == "A washer had burnt through."
    assert "Looking back" not in done.stderr
    assert "A washer had burnt through." in (folder / "a.html").read_text(encoding="utf-8")
    assert (folder / "a.pdf").read_bytes().startswith(b"%PDF")


def test_a_class_is_compared_and_written(folder: Path) -> None:
    done = run_in(folder, "practice", "class", "class", "--csv", "all.csv", "--pages", "pages", "--json")
    assert done.returncode == 0, done.stderr
    body = form_of(done.stdout, "diag.practice.class/1")
    assert [line["trainee"] for line in body["trainees"]] == ["Ann"]
    rows = list(csv.DictReader((folder / "all.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["kind"] for row in rows] == ["check", "plan"]
    assert [each.name for each in (folder / "pages").iterdir()] == ["01-ann.html"]
    again = run_in(folder, "practice", "class", "class", "--csv", "all.csv")
    assert again.returncode == 2
    assert "already there" in again.stderr


def test_a_case_is_made_by_wish_and_hides_its_truth_unless_asked(folder: Path) -> None:
    wish = ("practice", "make", "ostrel_4", "--key", "key.txt", "--fault", "seal", "--number", "4", "--json")
    hidden = form_of(run_in(folder, *wish).stdout, "diag.practice.case/1")
    assert (hidden["truth"], hidden["revealed"]) == ([], False)
    shown = form_of(run_in(folder, *wish, "--reveal", "--journal", "made.json").stdout, "diag.practice.case/1")
    assert [line["component"] for line in shown["truth"]] == ["seal"]
    assert shown["complaint"] == hidden["complaint"]
    assert (folder / "made.json").exists()


def test_a_case_is_played_in_a_conversation_and_taken_up_again(folder: Path) -> None:
    """Broken off by 'quit' and by the end of the input; every step is in the journal; mistakes are told and cost
    nothing."""
    name = "talked.json"
    run_in(folder, "practice", "begin", STUDY, "--journal", name)
    first = run_in(folder, "practice", "play", name, typed="ask look_into_wells A\nask nonsense\nsure seal\nquit\n")
    assert first.returncode == 0, first.stderr
    for words in (
        "CAUTION:",
        "only your word keeps you",
        "So far: 13 min",
        "there is no check 'nonsense'",
        "Saved in",
    ):
        assert words in first.stdout
    second = run_in(folder, "practice", "play", name, typed="known\nfit reseal@2\n")
    assert "black tar-like carbon" in second.stdout
    third = run_in(folder, "practice", "play", name, typed="what\nplan nothing\nIt was the washer.\n")
    assert "none of the words here" in third.stdout
    assert "The case has ended" in third.stdout
    ended = run_in(folder, "practice", "ask", name, "cabin_air")
    assert ended.returncode == 2
    assert "has ended" in ended.stderr


def test_a_set_of_cases_is_handed_out_to_a_class(folder: Path) -> None:
    """Every trainee gets every case, all the same vehicles; nothing is written over."""
    names = ("--name", "Ann B.", "--name", "Cem", "--case", STUDY, "--case", "ostrel_4#2")
    done = run_in(folder, "practice", "hand-out", "course", "--key", "key.txt", *names, "--json")
    assert done.returncode == 0, done.stderr
    body = form_of(done.stdout, "diag.practice.class/1")
    assert [(line["trainee"], line["running"]) for line in body["trainees"]] == [("Ann B.", 2), ("Cem", 2)]
    course = folder / "course"
    journals = {each.name: json.loads(each.read_text(encoding="utf-8")) for each in course.glob("*.json")}
    assert set(journals) == {"ann-b-1.json", "ann-b-2.json", "cem-1.json", "cem-2.json"}
    for number in (1, 2):
        assert journals[f"ann-b-{number}.json"]["hidden"] == journals[f"cem-{number}.json"]["hidden"]
    again = run_in(folder, "practice", "hand-out", "course", "--key", "key.txt", *names)
    assert again.returncode == 2
    assert "already there" in again.stderr
    twice = run_in(folder, "practice", "hand-out", "other", "--name", "Cem", "--name", "cem", "--case", STUDY)
    assert twice.returncode == 2
    assert "stands there twice" in twice.stderr
    assert not (folder / "other").exists()
    later = run_in(folder, "practice", "hand-out", "course", "--name", "Dora", "--json")
    body = form_of(later.stdout, "diag.practice.class/1")
    assert [line["trainee"] for line in body["trainees"]] == ["Ann B.", "Cem", "Dora"]
    assert (
        json.loads((course / "dora-2.json").read_text(encoding="utf-8"))["hidden"] == journals["cem-2.json"]["hidden"]
    )


def test_a_set_is_kept_and_handed_out_twice(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the key, since the set holds the vehicles; two classes meet the same ones."""
    monkeypatch.chdir(folder)
    wish = "ostrel_4#1,fault=seal,place=2"
    assert run_here(capsys, "practice", "set", "easy", "--case", STUDY, "--case", wish)[0] == 0
    hidden = []
    for name in ("monday", "friday"):
        assert run_here(capsys, "practice", "hand-out", name, "--set", "easy", "--name", "Ann")[0] == 0
        hidden.append(json.loads((folder / name / "ann-2.json").read_text(encoding="utf-8"))["hidden"])
    assert hidden[0] == hidden[1]
    assert [(each["component"], each["place"]) for each in hidden[0]["faults"]] == [("seal", 2)]
    for arguments, words in (
        (("set", "easy", "--case", STUDY), "already there"),
        (("set", "empty"), "at least one case"),
        (("hand-out", "nobody", "--name", "Ann"), "holds no practice cases"),
        (("set", "wrong", "--case", "ostrel_4#1,fault=seel"), "did you mean 'seal'"),
    ):
        code, _, err = run_here(capsys, "practice", *arguments)
        assert (code, words in err) == (2, True), err


def test_a_killed_step_leaves_a_whole_journal(folder: Path) -> None:
    """Whatever happens to the process, the journal is the one before the step or the one after it."""
    name = "killed.json"
    run_in(folder, "practice", "begin", STUDY, "--journal", name)
    for wait in (0.4, 1.6):
        process = subprocess.Popen(
            [sys.executable, "-m", "diag", "practice", "ask", name, "cabin_air"],
            cwd=folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=environment(),
        )
        time.sleep(wait)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        events = json.loads((folder / name).read_text(encoding="utf-8"))["events"]
        assert [each["is"] for each in events] in ([], ["Asked"])


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("begin", "smell_under_the_bonet", "--journal", "x.json"), 4, "did you mean 'smell_under_the_bonnet'"),
        (("show", "nowhere.json"), 4, "no such journal"),
        (("make", "ostrel_9", "--key", "key.txt"), 2, "there is no engine"),
        (("make", "ostrel_4", "--key", "nowhere.txt"), 2, "cannot be read"),
        (("make", "ostrel_4", "--key", "key.txt", "--misleading", "somewhat"), 2, "little or much"),
        (("begin", STUDY, "--journal", "class/ann.json"), 2, "already there"),
        (("ask", "open2.json", "look_into_wells", "B"), 2, "bank"),
        (("plan", "open2.json", "resel@2"), 2, "did you mean 'reseal'"),
        (("sure", "open2.json", "seal", "2", "many"), 2, "no per cent"),
        (("debrief", "open2.json"), 2, "has not ended"),
        (("class", "pages2"), 2, "is no folder"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_what_makes_no_sense_is_refused(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    code: int,
    words: str,
) -> None:
    monkeypatch.chdir(folder)
    if "open2.json" in arguments and not (folder / "open2.json").exists():
        assert run_here(capsys, "practice", "begin", STUDY, "--journal", "open2.json")[0] == 0
    ended, out, err = run_here(capsys, "practice", *arguments)
    assert (ended, out) == (code, "")
    assert words in err
