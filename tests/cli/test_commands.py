"""Every command on a demo case: the happy path, as text and as JSON."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from rich.cells import cell_len

from diag.report import form_schema
from tests.cli.process import environment, json_of, run, run_here, run_in, succeeded

CASE = "one_blown_seal"


def test_weigh_names_the_seal_in_words_and_numbers() -> None:
    page = succeeded("weigh", CASE)
    assert "Cylinder 2:" in page
    assert "combustion seal" in page
    assert "judged, not counted" in page


def test_weigh_warns_first_of_what_was_told_and_of_what_is_likely(tmp_path: Path) -> None:
    """Whoever only weighs a knocking engine, or one of which the numbers say it, starts it next."""
    page = succeeded("weigh", "injector_stuck_open")
    assert page.index("CAUTION: Knock with rising oil") < page.index("Chance that something is wrong")
    case = tmp_path / "case.yaml"
    told = "findings: {white_smoke: present, oil_smells_of_fuel: present, nozzle_wet: {2: present}}"
    read = "readings: {correction: {2: below -4 mg/stroke}}"
    case.write_text(f"engine: ostrel_4\n{told}\n{read}\n", encoding="utf-8")
    assert "CAUTION: Knock with rising oil" in succeeded("weigh", case)
    assert "CAUTION" not in succeeded("weigh", CASE)
    assert json_of("weigh", "injector_stuck_open", "--json")["cautions"][0].startswith("Knock with rising oil")


def test_a_makers_own_code_is_shown_as_a_note_without_effect(tmp_path: Path) -> None:
    case = tmp_path / "case.yaml"
    case.write_text(
        "title: Rough\nengine: ostrel_4\nfindings: {rough_idle: present}\ncodes: [P1234]\n", encoding="utf-8"
    )
    plain = tmp_path / "plain.yaml"
    plain.write_text("title: Rough\nengine: ostrel_4\nfindings: {rough_idle: present}\n", encoding="utf-8")
    assert "Fault code P1234 is not in this knowledge and has no effect." in " ".join(succeeded("weigh", case).split())
    assert json_of("weigh", case, "--json")["faults"] == json_of("weigh", plain, "--json")["faults"]


def test_next_ranks_checks_and_shows_the_first_with_its_cautions_or_says_to_stop() -> None:
    page = succeeded("next", CASE)
    assert "Next checks, best first" in page
    assert ("CAUTION" in page) or ("Stop checking, repair now" in page)


def test_repair_shows_options_work_parts_and_money() -> None:
    page = succeeded("repair", CASE)
    for words in ("What can be done, side by side", "BEST:", "The work", "CAUTION", "new each time", "expected total"):
        assert words in page


def test_repair_shows_how_the_money_spreads_and_the_workshops_side_apart() -> None:
    page = " ".join(succeeded("repair", CASE).split())
    for words in ("What luck may make of it", "all left", "The workshop's own side", "Drawn 4,000 times"):
        assert words in page
    assert "nothing on this page was chosen by it" in page


def test_choosing_on_the_workshops_side_is_said_first_and_has_the_least_of_it() -> None:
    page = succeeded("repair", CASE, "--side", "workshop")
    assert page.index("Chosen on the workshop's own side") < page.index("What can be done")
    sheet = json_of("repair", CASE, "--side", "workshop", "--json")
    assert sheet["side"] == "workshop"
    own = {each["name"]: each["spread"]["guarantee"] + each["spread"]["goodwill"] for each in sheet["options"]}
    best = next(each for each in sheet["options"] if each["best"])
    mending = [each["name"] for each in sheet["options"] if each["jobs"] and "refer" not in each["name"]]
    assert own[best["name"]] == min(own[name] for name in mending)


def test_an_unknown_side_is_refused() -> None:
    refused = run("repair", CASE, "--side", "maker")
    assert refused.returncode == 2
    assert "it is customer or workshop" in " ".join(refused.stderr.split())


def test_the_drawn_mean_is_the_exact_total_within_its_error() -> None:
    for option in json_of("repair", CASE, "--json")["options"]:
        spread = option["spread"]
        assert abs(spread["mean"] - option["total"]) < 4.5 * spread["mean_error"] + 1.0
        assert spread["cures_complaint"] >= option["cures"] - 1e-3


def test_advise_holds_all_three() -> None:
    page = succeeded("advise", CASE, columns=40)
    for words in ("Faults, likeliest first", "Next checks, best first", "What can be done, side by side"):
        assert words in page


@pytest.mark.parametrize(
    ("form", "arguments"),
    [
        ("weigh", ("weigh", CASE, "--json")),
        ("next", ("next", CASE, "--json")),
        ("repair", ("repair", CASE, "--json")),
        ("engines", ("engine", "list", "--json")),
        ("knowledge.list", ("know", "list", "--json")),
        ("knowledge.check", ("know", "check", "--json")),
    ],
)
def test_json_has_the_documented_form(
    form: str, arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run_here(capsys, *arguments)
    assert (code, err) == (0, "")
    jsonschema.validate(json.loads(out), form_schema(form))


@pytest.mark.parametrize(
    ("form", "arguments"),
    [
        ("advise", ("advise", CASE, "--json")),
        ("cases", ("cases", "--json")),
        ("knowledge.item", ("know", "explain", "reseal", "--json")),
    ],
)
def test_json_of_a_real_process_has_the_documented_form(form: str, arguments: tuple[str, ...]) -> None:
    jsonschema.validate(json_of(*arguments), form_schema(form))


def test_the_parts_of_the_total_add_up_in_json() -> None:
    plan = json_of("advise", CASE, "--json")["repair"]["plan"]
    assert sum(line["amount"] for line in plan["amounts"]) == pytest.approx(plan["total"], rel=1e-12)
    assert plan["invoice_with_tax"] > plan["invoice"] > 0


def test_every_state_of_every_component_sums_to_one_in_json() -> None:
    for line in json_of("advise", CASE, "--json")["weigh"]["faults"]:
        assert sum(state["chance"] for state in line["states"]) == pytest.approx(1.0, abs=1e-9)


def test_a_narrow_terminal_gets_no_line_over_forty_columns() -> None:
    assert max(cell_len(line) for line in succeeded("advise", CASE, columns=40).splitlines()) <= 40


def test_a_pipe_gets_no_escape_sequences() -> None:
    assert "\x1b" not in succeeded("repair", CASE)


def test_the_demo_cases_are_listed_with_their_engines() -> None:
    page = succeeded("cases")
    assert CASE in page
    assert "ostrel_4" in page


def test_the_engines_are_listed_and_say_that_they_are_invented() -> None:
    page = succeeded("engine", "list")
    assert page.count("invented engine") == 5


def test_the_knowledge_is_checked_with_its_sizes(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run_here(capsys, "know", "check")
    assert code in (0, 6)
    assert "What decides the speed" in out
    assert (code == 0) == ("Nothing to complain about." in out)


def test_the_knowledge_is_drawn_as_dot_and_as_a_picture(capsys: pytest.CaptureFixture[str]) -> None:
    assert run_here(capsys, "know", "draw", "tar")[1].startswith("digraph")
    assert run_here(capsys, "know", "draw", "tar", "--svg")[1].startswith("<svg")


def test_schemas_are_printed_for_files_and_forms(capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(run_here(capsys, "know", "schema", "--form", "weigh")[1]) == form_schema("weigh")
    assert json.loads(run_here(capsys, "know", "schema", "case")[1])["properties"]["engine"]
    assert json.loads(run_here(capsys, "know", "schema", "checks")[1])["properties"]["checks"]


def test_an_overlay_changes_prices(tmp_path: Path) -> None:
    (tmp_path / "ours.yaml").write_text(
        "basis: {source: learned, strength: 40}\nprices: {currency: CZK, exchange: 25, labour_per_hour: 1200}\n",
        encoding="utf-8",
    )
    result = run_in(tmp_path, "know", "explain", "reseal", "--overlay", "ours.yaml")
    assert result.returncode == 0, result.stderr
    assert "CZK" in result.stdout


@pytest.mark.parametrize("flag", ["--help", "-h"])
def test_help_lists_the_exit_codes(flag: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, page, _ = run_here(capsys, flag)
    for number, words in ((3, "the knowledge"), (4, "the case file"), (5, "cannot all be true"), (6, "complaints")):
        assert any(line.strip().startswith(f"{number}  ") and words in line for line in page.splitlines())


def test_the_tab_key_offers_demo_cases_engines_and_entries() -> None:
    def offered(*words: str) -> list[str]:
        line = " ".join(("diag", *words))
        asking = {"_DIAG_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(len(words))}
        return run_in(Path.cwd(), **asking).stdout.split()

    assert offered("weigh", "one_b") == [CASE]
    assert offered("know", "explain", "replace_inj") == ["replace_injector"]


# Design note of the project: a command of the main job starts in under a second, which no import of these would allow.
SLOW = {"pgmpy", "pandas", "networkx", "scipy", "torch"}
FOR_OTHERS = {  # what the doors hold besides, for other commands
    "diag.casebook.writing",
    "diag.decision.several",
    "diag.decision.spread",
    "diag.inference.lots",
    "diag.inference.pooled",
    "diag.knowledge_base.report",
    "diag.network.many",
    "diag.network.reference",
}


@pytest.mark.parametrize(("command", "needless"), [("weigh", {*FOR_OTHERS, "diag.decision"}), ("next", FOR_OTHERS)])
def test_nothing_slow_or_needless_is_imported_on_the_way(command: str, needless: set[str], tmp_path: Path) -> None:
    watch = (
        "import sys, diag.cli\n"
        "try:\n"
        f"    diag.cli.main(['{command}', '{CASE}'])\n"
        "finally:\n"
        f"    print('needless:', sorted(set({sorted(SLOW | needless)}) & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", watch], cwd=tmp_path, env=environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == "needless: []\n"


def test_output_that_nobody_reads_to_its_end_is_no_error(tmp_path: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "w") as closed:
        done = subprocess.run(
            [sys.executable, "-m", "diag", "know", "draw"],
            cwd=tmp_path,
            env=environment(),
            stdout=closed,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert "Traceback" not in done.stderr
    assert "fault of diag" not in done.stderr


def test_the_network_is_written_once_and_never_over_another_file(tmp_path: Path) -> None:
    done = run_in(tmp_path, "export", "net.bif", "--engine", "ostrel_3")
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "net.bif").read_text(encoding="utf-8")
    assert text.startswith("network")
    assert "variable seal__1 {" in text
    again = run_in(tmp_path, "export", "net.bif", "--engine", "ostrel_3")
    assert again.returncode == 2
    assert "is already there and was left as it is" in again.stderr
    assert (tmp_path / "net.bif").read_text(encoding="utf-8") == text
