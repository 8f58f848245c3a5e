"""The customer's page by command: text, JSON, files written whole or not at all, never over others unasked."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import pytest

from diag.report import form_schema
from tests.cli.process import ROOT, run, run_in, succeeded
from tests.support.pages import pages_in

CASE = "one_blown_seal"


def test_the_terminal_gets_the_page_in_plain_words_and_does_not_wait_for_what_paper_needs(tmp_path: Path) -> None:
    """With a stand-in that ends the program when typst is imported."""
    (tmp_path / "typst.py").write_text("raise SystemExit('typst was imported')\n", encoding="utf-8")
    result = run_in(tmp_path, "customer", CASE, PYTHONPATH=f"{tmp_path}:{ROOT}")
    assert (result.returncode, result.stderr) == (0, "")
    text = result.stdout.replace("\u00a0", " ")
    assert text.startswith("What we found, and what you can do")
    assert "Option A – our advice" in text and "[ ] I want this one" in text
    assert re.search(r"Price now, with tax: about \d+ EUR", text)


def test_json_has_the_documented_form_in_any_language() -> None:
    body = json.loads(succeeded("customer", CASE, "--language", "de", "--json"))
    assert (body["form"], body["language"]) == ("diag.customer/1", "de")
    assert body["title"] == "Was wir fanden und was Sie tun können"
    jsonschema.Draft202012Validator(form_schema("customer")).validate(body)


def test_files_are_written_whole_and_never_over_others(tmp_path: Path) -> None:
    arguments = ("customer", CASE, "--html", "page.html", "--pdf", "page.pdf")
    (tmp_path / "page.pdf").write_bytes(b"mine")
    refused = run_in(tmp_path, *arguments)
    assert refused.returncode != 0
    assert "page.pdf is already there and was left as it is" in refused.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["page.pdf"], "of two files none where one may not be"
    replaced = run_in(tmp_path, *arguments, "--replace")
    assert (replaced.returncode, replaced.stdout) == (0, "Wrote page.html.\nWrote page.pdf.\n")
    assert pages_in((tmp_path / "page.pdf").read_bytes()) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["page.html", "page.pdf"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "bank A, on the right"),
        (("--seal-life",), "today: 232,000 km"),
        (("--options",), "nine in ten below"),
        (("--belief",), "before anything was told"),
    ],
    ids=["engine", "seal life", "options", "belief"],
)
def test_pictures_are_written_as_svg(tmp_path: Path, more: tuple[str, ...], said: str) -> None:
    made = run_in(tmp_path, "picture", "second_seal_weeping", "it.svg", *more)
    assert (made.returncode, made.stdout) == (0, "Wrote it.svg.\n")
    assert said in " ".join((tmp_path / "it.svg").read_text(encoding="utf-8").split())
    assert run_in(tmp_path, "picture", "second_seal_weeping", "it.svg", *more).returncode != 0


def test_a_file_holds_what_its_name_says(tmp_path: Path) -> None:
    """SVG under another ending opens nowhere; a page as HTML under the name of its PDF was left behind by an error."""
    drawn = run_in(tmp_path, "picture", CASE, "it.png")
    assert drawn.returncode == 2 and "it.png does not end in .svg or .pdf" in drawn.stderr
    for more in ((), ("--replace",)):
        made = run_in(tmp_path, "customer", CASE, "--html", "page.pdf", "--pdf", "page.pdf", *more)
        assert made.returncode == 2 and "named for two kinds of file" in made.stderr
    assert list(tmp_path.iterdir()) == []


def test_one_picture_at_a_time(tmp_path: Path) -> None:
    both = run_in(tmp_path, "picture", "second_seal_weeping", "it.svg", "--options", "--seal-life")
    assert both.returncode == 2
    assert "give one of --seal-life, --options and --belief" in " ".join(both.stderr.split())
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("ge", "there is no language 'ge', and a language file ends in .yaml; it can be en or de"),
        ("missing.yaml", "missing.yaml: there is no such file"),
    ],
)
def test_a_language_that_is_not_there_gets_one_clear_error(language: str, said: str) -> None:
    result = run("customer", CASE, "--language", language)
    assert result.returncode != 0
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_the_picture_of_belief_tells_what_was_told_again_after_work(tmp_path: Path) -> None:
    """The smell of before the reseal and of after it are two looks; both had borne the same words."""
    assert run_in(tmp_path, "picture", "resealed_and_back_again", "it.svg", "--belief").returncode == 0
    rows = "".join(re.findall(r"<text[^>]*>([^<]*)</text>", (tmp_path / "it.svg").read_text(encoding="utf-8")))
    assert rows.replace(" ", "").count("(after:resealtheinjector") == 4
