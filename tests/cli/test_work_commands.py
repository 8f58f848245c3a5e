"""`diag sheet` and `diag estimate`: pages, files written whole or not at all, and what is refused."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import jsonschema
import pytest

from diag.report import form_schema
from tests.cli.process import json_of, run_here, run_in, succeeded

CASE = "second_seal_weeping"


def test_the_sheet_of_the_best_plan_in_a_real_process() -> None:
    page = succeeded("sheet", CASE, columns=60)
    for words in (
        "Work sheet: reseal the injector (5, 6)",
        "Bank B: open, work, close",
        "CAUTION: Fuel jet",
        "[_]5 [_]6",
    ):
        assert words in page


def test_the_estimate_has_the_invoice_that_repair_shows() -> None:
    plan = json_of("repair", CASE, "--json")["plan"]
    sheet = json_of("estimate", CASE, "--json")
    jsonschema.validate(sheet, form_schema("estimate"))
    assert sheet["net"] == round(plan["invoice"], 2)
    assert sheet["total"] == pytest.approx(plan["invoice_with_tax"], abs=0.015)


@pytest.mark.parametrize("name", ["resealed_and_back_again", "all_returns_high"])
def test_the_estimate_the_options_and_the_customers_page_say_one_nine_in_ten(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The customer holds the page and the estimate side by side, the advisor the options as well."""
    estimate, repair, page = (
        json.loads(run_here(capsys, command, name, "--json")[1]) for command in ("estimate", "repair", "customer")
    )
    best = next(option for option in repair["options"] if option["best"])
    advised = next(option for option in page["options"] if option["advised"])
    assert best["spread"]["invoice_high"] == estimate["bad_luck"] > estimate["least"]
    assert advised["price_high"] == pytest.approx(estimate["bad_luck"] * (1 + estimate["tax_rate"]))


def test_the_estimate_speaks_another_language(capsys: pytest.CaptureFixture[str]) -> None:
    """The same total with the language's own signs, and a language that there is not is refused."""
    code, out, _ = run_here(capsys, "estimate", "one_blown_seal", "--language", "de")
    assert code == 0
    assert "Kostenvoranschlag: Neuer Ring unter der Düse, Zylinder 2" in out and "mit Steuer: 348,12 EUR" in out
    code, out, err = run_here(capsys, "estimate", "one_blown_seal", "--language", "xx")
    assert (code, out) == (2, "") and "there is no language 'xx'" in err


@pytest.mark.parametrize("name", ["all seals", "ALL SEALS", "all_seals", "all seals of bank", "bank"])
def test_another_option_by_its_printed_name_its_beginning_or_its_id(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run_here(capsys, "sheet", CASE, "--option", name, "--json")
    assert (code, err) == (0, "")
    body = json.loads(out)
    jsonschema.validate(body, form_schema("sheet"))
    assert body["title"] == ("all seals" if name.lower().replace("_", " ") == "all seals" else "all seals of bank B")
    assert not body["by_hand"]


def test_work_put_together_by_hand_says_so_and_warns_of_the_danger(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run_here(capsys, "sheet", CASE, "--repair", "reseal@4,5", "--repair", "replace_filter")
    assert code == 0
    words = " ".join(out.split())
    assert "put together by hand" in words
    assert "diag did not check that this work ends it" in words
    assert "reseal the injector, cylinders 4 and 5; replace filter and mend the feed" in words


def test_the_same_work_as_an_option_is_that_option(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run_here(capsys, "sheet", CASE, "--repair", "reseal@all", "--json")
    assert code == 0
    assert json.loads(out)["title"] == "all seals"


def test_a_seal_that_comes_with_an_injector_is_not_renewed_twice(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run_here(capsys, "sheet", CASE, "--repair", "reseal@4,5", "--repair", "replace_injector@5", "--json")
    assert code == 0
    counts = {part["part"]: part["count"] for part in json.loads(out)["parts"]}
    assert counts == {"washer": 2, "o_ring": 2, "clamp_bolt": 2, "return_seal": 2, "injector": 1}


def test_the_same_content_is_the_same_pdf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Written by typst as PDF/UA-1 (ISO 14289-1), which it refuses where title, language or tags are missing."""
    made = []
    for name in ("one.pdf", "other.pdf"):
        for command in ("sheet", "estimate"):
            assert run_here(capsys, command, CASE, "--pdf", str(tmp_path / f"{command}_{name}"))[0] == 0
        made.append([(tmp_path / f"{command}_{name}").read_bytes() for command in ("sheet", "estimate")])
    assert made[0] == made[1]
    assert all(content.startswith(b"%PDF-") for content in made[0])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--option", "all saels"), "there is no option 'all saels'; did you mean 'all seals'?"),
        (
            ("--option", "injector and seal of cylinder 5"),
            "is barred: it mends only 35 % of what may be behind the danger, too",
        ),
        (("--repair", "reseal@5"), "is barred: "),
        (("--repair", "resael@2"), "there is no repair 'resael'; did you mean 'reseal'?"),
        (("--repair", "reseal@9"), "this engine has no cylinder '9'; it can be 1, 2, 3, 4, 5 or 6, or all"),
        (("--repair", "reseal"), "'reseal' is done on one cylinder: say which, such as reseal@1"),
        (
            ("--repair", "swap_injectors@3"),
            "done between two cylinders, and cylinder 3 stands alone; write --repair swap_",
        ),
        (("--repair", "mend_bank_circuit@C"), "this engine has no bank 'C'; it can be A or B, or all"),
        (("--repair", "replace_filter@2"), "'replace_filter' is of the whole vehicle, not of '2'"),
        (("--repair", "reseal@2", "--option", "all seals"), "give either --option or --repair, not both"),
    ],
)
@pytest.mark.parametrize("command", ["sheet", "estimate"])
def test_what_makes_no_sense_is_refused_in_one_sentence(
    command: str, arguments: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run_here(capsys, command, CASE, *arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def test_files_are_written_whole_and_never_over_another_unless_told(tmp_path: Path) -> None:
    page, lines = tmp_path / "estimate.html", tmp_path / "estimate.csv"
    first = run_in(tmp_path, "estimate", CASE, "--html", page.name, "--csv", lines.name)
    assert (first.returncode, first.stderr) == (0, "")
    assert page.read_text(encoding="utf-8").endswith("</html>\n")
    with lines.open(encoding="utf-8", newline="") as stream:
        assert [row["kind"] for row in csv.DictReader(stream)][-3:] == ["net", "tax", "total"]
    page.write_text("mine")
    lines.unlink()
    again = run_in(tmp_path, "estimate", CASE, "--html", page.name, "--csv", lines.name)
    assert again.returncode == 2
    assert "is already there and was left as it is" in again.stderr
    assert page.read_text() == "mine"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["estimate.html"]
    told = run_in(tmp_path, "sheet", CASE, "--html", page.name, "--replace")
    assert told.returncode == 0
    assert "Work sheet" in page.read_text(encoding="utf-8")


def test_one_name_for_two_kinds_of_file_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = str(tmp_path / "both")
    code, _, err = run_here(capsys, "estimate", CASE, "--html", name, "--csv", name)
    assert code == 2
    assert "two kinds of file" in err
    assert not list(tmp_path.iterdir())


def test_checks_of_an_engine_in_line_are_of_all_cylinders_and_not_of_a_bank(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """An engine in line has one bank; its letter says nothing to people."""
    code, out, _ = run_here(capsys, "next", "excess_return_behind_hard_start", "--all")
    assert code == 0
    assert "all cylinders" in out
    assert "bank A" not in out
