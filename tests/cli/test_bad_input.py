"""Bad input: one clear message on stderr, the documented exit code, no traceback, nothing written."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from tests.cli.process import run_here, run_in

GOOD = "engine: ostrel_4\ndistance: 187000 km\nfindings: {rough_idle: present}\n"
V8 = "engine: karrick_v8\n"
LONG = "long" * 100
NOISE = "".join(random.Random(20260101).choices("abc {}[]:,-&*!|>'\"%@`#\t\n0123456789éß", k=1_000_000))
ALIASES = "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9) if n else 'lol'}]\n" for n in range(12))

# name, what the case file holds, exit code, what the message says
CASES: list[tuple[str, str, int, str]] = [
    ("empty file", "", 4, r"case\.yaml"),
    ("wrong engine", GOOD.replace("ostrel_4", "ostrel_44"), 4, r"case\.yaml:1:9: .*ostrel_44.*did you mean 'ostrel_4'"),
    ("cylinder 9 of 8", V8 + "findings:\n  chuff: {9: present}\n", 4, r"case\.yaml:3:11: .*9.*cylinders 1 to 8"),
    ("reading without unit", GOOD + "readings:\n  rail_pressure_cranking: 180\n", 4, r"case\.yaml:5:\d+: .*unit"),
    ("unknown finding", GOOD.replace("rough_idle", "rough_idel"), 4, r"case\.yaml:3:12: .*did you mean 'rough_idle'"),
    (
        "two answers to one question",
        GOOD.replace("{rough_idle: present}", "{rough_idle: present, rough_idle: absent}"),
        4,
        r"case\.yaml:3:\d+: .*rough_idle",
    ),
    ("a megabyte of noise", NOISE, 4, r"case\.yaml"),
    ("more than a megabyte", "# " + "x" * 1_000_001, 4, r"case\.yaml: .*larger than 1 MB"),
    ("alias bomb", ALIASES + GOOD, 4, r"case\.yaml:1:\d+: .*(anchor|alias)"),
]


@pytest.mark.parametrize(("name", "text", "code", "message"), CASES, ids=[case[0] for case in CASES])
def test_a_bad_case_gets_one_clear_message(name: str, text: str, code: int, message: str, tmp_path: Path) -> None:
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    _refused(tmp_path, code, message, "weigh", "case.yaml")


TRIED = "tried:\n  - did: write_code\n    cylinder: 2\n    then: {findings: {mounts_torn: absent}}\n"
MINE = "engine:\n  name: mine\n  invented: false\n  layout: inline\n  injector: solenoid\n  banks: {A: [1, 2, 3]}\n"


def test_answers_that_contradict_over_a_repair_are_told_with_their_places(tmp_path: Path) -> None:
    """Work that cannot reach a finding leaves it as it was; both lines are named, the later one as the place."""
    text = GOOD.replace("rough_idle", "mounts_torn") + TRIED
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    told = r"^case\.yaml:7:\d+: .*is present at first \(line 3\) and absent after 'write the trim code'; nothing that"
    _refused(tmp_path, 4, told, "weigh", "case.yaml")


def test_a_broken_engine_file_beside_a_good_case_is_what_is_told(tmp_path: Path) -> None:
    broken = MINE + "  firing_order: [1, 3, 4]\n  access_minutes: {}\n"
    (tmp_path / "mine.yaml").write_text(broken, encoding="utf-8")
    (tmp_path / "case.yaml").write_text("engine: mine.yaml\nfindings: {rough_idle: present}\n", encoding="utf-8")
    told = r"mine\.yaml:7:24: there is no cylinder 4; its cylinders are 1 to 3\n$"
    _refused(tmp_path, 3, told, "weigh", "case.yaml")
    _refused(tmp_path, 3, told, "talk", "--engine", "mine.yaml")
    _refused(tmp_path, 3, told, "export", "net.bif", "--engine", "mine.yaml")


def test_findings_that_cannot_be_are_named(tmp_path: Path) -> None:
    (tmp_path / "case.yaml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "never.yaml").write_text(
        "basis: {source: learned, strength: 40}\nfindings: {rough_idle: {chance: {none: 0, felt: 0}}}\n",
        encoding="utf-8",
    )
    _refused(tmp_path, 5, r"cannot .*true.*rough idle", "weigh", "case.yaml", "--overlay", "never.yaml")


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (("weigh", "one_blwn_seal"), 4, r"one_blwn_seal: .*did you mean 'one_blown_seal'"),
        (("weigh", "nowhere/case.yaml"), 4, r"nowhere/case\.yaml: there is no such file"),
        (("weigh", "."), 4, r"\.: this is a folder"),
        (("weigh",), 2, r"CASE"),
        (("wiegh", "one_blown_seal"), 2, r"wiegh"),
        (("weigh", "one_blown_seal", "--overlay", "missing.yaml"), 3, r"missing\.yaml: there is no such file"),
        (("weigh", "one_blown_seal", "--knowledge", "missing"), 3, r"missing"),
        (("know", "explain", "sael"), 2, r"'sael'; did you mean 'seal'"),
        (("know", "list", "chekcs"), 2, r"'chekcs' of knowledge; did you mean 'checks'"),
        (("know", "draw", "sael"), 2, r"sael.*did you mean 'seal'"),
        (("know", "draw", "qqqqqqqq"), 2, r"qqqqqqqq.*see: diag know list"),
        (("know", "schema", "qqqqqqqq"), 2, r"it can be components, .*overlay or case"),
        (("know", "schema", "checks", "--form", "weigh"), 2, r"KIND or --form, not both"),
        (("know", "schema", "--form", "wiegh"), 2, r"no JSON form 'wiegh'"),
        (("engine", "new", "Big Engine"), 2, r"short name"),
        (
            ("engine", "new", "big", "--name", "Big", "--layout", "V", "--cylinders", "99"),
            2,
            r"1 to 12 cylinders .* 99",
        ),
        (("weigh", ""), 2, r"no name of a case"),
        (("weigh", "long" * 2000), 4, r"no such file"),
        (("weigh", "long" * 2000 + ".yaml"), 4, r"cannot be read: File name too long"),
        (("weigh", "one_blown_seal", "--overlay", "long" * 2000), 3, r"cannot be read: File name too long"),
        (("export", "long" * 2000 + ".bif", "--engine", "ostrel_3"), 2, r"could not be written: File name too long"),
        (("picture", "one_blown_seal", LONG + ".svg"), 2, r"could not be written: File name too long"),
        (("sheet", "one_blown_seal", "--pdf", LONG), 2, r"could not be written: File name too long"),
        (("customer", "one_blown_seal", "--pdf", LONG), 2, r"could not be written: File name too long"),
        (("practice", "begin", "smell_under_the_bonnet", "--journal", LONG), 2, r"could not be written: File name"),
        (("practice", "set", LONG, "--case", "smell_under_the_bonnet"), 2, r"cannot be made: File name too long"),
        (("book", "list", "--book", LONG), 9, r"cannot be opened: File name too long"),
        (("book", "keep", "one_blown_seal", "--book", LONG), 9, r"cannot be opened: File name too long"),
        (("export", "net.txt", "--engine", "ostrel_3"), 2, r"add --bif or --xmlbif"),
        (("export", "net.bif"), 2, r"either --case CASE or --engine ENGINE"),
        (("export", "net.bif", "--engine", "ostrel_9"), 2, r"ostrel_9.*did you mean 'ostrel_"),
        (("talk", "one_blown_seal", "--engine", "ostrel_4"), 2, r"names its engine already"),
    ],
)
def test_a_wrong_request_gets_one_clear_message(
    arguments: tuple[str, ...],
    code: int,
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    ended, out, err = run_here(capsys, *arguments)
    assert (ended, out) == (code, "")
    assert re.search(message, err, re.DOTALL), err
    assert "Traceback" not in err
    assert not list(tmp_path.iterdir())


def test_an_overlay_with_an_error_is_told_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "ours.yaml").write_text(
        "basis: {source: learned}\ncomponents:\n  seal:\n    lief: 3\n", encoding="utf-8"
    )
    _refused(tmp_path, 3, r"ours\.yaml:4:5: .*lief", "know", "list", "--overlay", "ours.yaml")


def _refused(folder: Path, code: int, message: str, *arguments: str) -> None:
    before = {path: path.read_bytes() for path in folder.iterdir()}
    result = run_in(folder, *arguments, COLUMNS="400")
    assert result.returncode == code, result.stderr
    assert re.search(message, result.stderr, re.DOTALL), result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) <= 21
    assert max(len(line) for line in result.stderr.splitlines()) <= 500
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
