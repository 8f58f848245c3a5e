"""The book at the command line: real processes, one after the other and two at once."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from diag.casebook import demo_cases, dump_case, load_case
from diag.knowledge_base import load_knowledge, shipped_folder
from tests.cli.desk import CASE, CLOSING, Desk
from tests.cli.process import environment, run_here, run_in

NEVER = "basis: {source: learned, strength: 40}\nfindings: {fumes: {chance: {none: 0, some: 0}}}\n"


def test_a_case_from_its_opening_to_its_come_back_in_real_processes(tmp_path: Path) -> None:
    """Nothing is set up: the book is made in the user's data folder when the first case is kept."""
    home = {"HOME": str(tmp_path / "home"), "XDG_DATA_HOME": str(tmp_path / "home" / "data"), "DIAG_BOOK": ""}

    def run(*arguments: str) -> str:
        result = run_in(tmp_path, *arguments, **home)
        assert (result.returncode, result.stderr) == (0, "")
        return result.stdout

    assert run("book", "keep", CASE, "--by", "Anna").startswith("Kept as case 1.\n")
    assert (tmp_path / "home" / "data" / "diag" / "book.sqlite3").exists()
    assert run("weigh", "book:1") == run("weigh", CASE)
    assert "cured: yes" in run("book", "close", "1", *CLOSING)
    assert run("book", "keep", CASE).startswith("Kept as case 2.\n")
    page = run("book", "link", "2", "1")
    assert "Noted as a come-back of case 1." in page
    assert "It came back: 2." in run("book", "show", "1")
    assert "combustion seal:" in run("book", "list")


@pytest.mark.parametrize("command", ["weigh", "advise"])
def test_the_commands_take_a_case_of_the_book_by_its_number(desk: Desk, command: str) -> None:
    """The same page as for the file it was kept from; also as it stood at an earlier revision."""
    desk("book", "keep", CASE)
    place = f"DIAG_BOOK={desk.book} diag"  # so that what is printed to go on with finds the case
    assert desk(command, "book:1").replace(f"{place} sheet book:1", f"diag sheet {CASE}") == desk(command, CASE)
    if command == "weigh":
        desk("book", "undo", "1", "--to", "3")
        assert desk("weigh", "book:1") != desk("weigh", CASE)
        assert desk("weigh", "book:1@14") == desk("weigh", CASE)


@pytest.mark.parametrize(
    ("case", "message"),
    [
        ("book:9", "book:9: the book has no case 9; 'diag book list' shows the cases it has"),
        ("book:x", "book:x: 'book:x' is no number of a case in the book; write for example 17 or book:17"),
        ("book:0", "is no number of a case in the book"),
        ("book:1@99", "case 1 has no revision 99; it stands at 14"),
        ("book:1@", "'' is no revision; write for example book:1"),
        ("book:99999999999999999999", "is no number of a case in the book"),
    ],
)
def test_a_case_that_the_book_does_not_have_is_said(desk: Desk, case: str, message: str) -> None:
    desk("book", "keep", CASE)
    code, said = desk.refused("weigh", case)
    assert code == 4
    assert message in said


def test_without_a_book_the_first_step_is_said_and_none_is_made(desk: Desk) -> None:
    for arguments in (("book", "list"), ("book", "show", "1"), ("weigh", "book:1"), ("book", "backup", "b.zip")):
        code, said = desk.refused(*arguments)
        assert code == 9
        assert said == f"{desk.book}: there is no book yet; 'diag book keep CASEFILE' begins one\n"
    assert list(desk.folder.iterdir()) == []


def test_every_command_has_its_json(desk: Desk) -> None:
    (desk.folder / "log.csv").write_text("t,p\n")
    assert (
        desk.json("book.case", "book", "keep", CASE, "--customer", "Somebody", "--plate", "P 1")["case"]["number"] == 1
    )
    desk.json("book.case", "book", "keep", "second_seal_weeping", "--by", "Anna")
    assert desk.json("book.case", "book", "note", "1", "a remark")["remarks"] == ["a remark"]
    assert desk.json("book.case", "book", "attach", "1", "log.csv")["files"][0]["size"] == 4
    closed = desk.json("book.case", "book", "close", "1", *CLOSING)
    assert closed["outcome"] == {
        "cured": "yes", "fitted": ["reseal the injector, cylinder 2"], "minutes": 90.0, "cost": 269.0,
        "currency": "EUR", "note": "",
    }  # fmt: skip
    assert closed["case"]["found"][0]["words"] == "combustion seal: blown, cylinder 2 (seen)"
    assert desk.json("book.case", "book", "link", "2", "1")["case"]["came_back_from"] == 1
    shown = desk.json("book.case", "book", "show", "1", "--journal", "--customer")
    assert [line["kind"] for line in shown["journal"]][-3:] == ["note", "attached", "closed"]
    assert shown["customer"] == {"name": "Somebody", "plate": "P 1"}
    assert desk.json("book.case", "book", "show", "1")["customer"] is None
    assert [each["number"] for each in desk.json("book.list", "book", "list", "--closed")["cases"]] == [1]
    assert [each["number"] for each in desk.json("book.list", "book", "find", "fathom")["cases"]] == [2]
    like = desk.json("book.like", "book", "like", "book:2")["cases"]
    assert [each["case"]["number"] for each in like] == [1]
    assert like[0]["likeness"] == pytest.approx((like[0]["faults"] + like[0]["findings"]) / 2)
    assert desk.json("book.case", "book", "undo", "1")["case"]["is_open"]
    assert desk.json("book.done", "book", "write", "1", "out.yaml")["numbers"] == [1]
    assert desk.json("book.done", "book", "backup", "b.zip")["counts"] == {"cases": 2}
    assert desk.json("book.done", "book", "export", "out")["counts"] == {"cases": 2, "events": 38, "files": 1}
    assert desk.json("book.done", "book", "import", "out")["counts"] == {"new": 0, "grown": 0, "same": 2, "files": 1}
    assert desk.json("book.done", "book", "restore", "b.zip", "--replace")["counts"] == {"cases": 2}
    assert desk.json("book.case", "book", "erase-customer", "1")["done"].startswith("Who the customer was")


def test_a_file_that_the_case_has_is_said_to_be_there(desk: Desk) -> None:
    (desk.folder / "photo.jpg").write_bytes(b"photo")
    desk("book", "keep", CASE)
    assert desk.json("book.case", "book", "attach", "1", "photo.jpg")["done"] == "Attached: photo.jpg."
    shown = desk.json("book.case", "book", "attach", "1", "photo.jpg")
    assert shown["done"] == "The case holds that already; nothing was added."
    assert [each["name"] for each in shown["files"]] == ["photo.jpg"]


def test_a_lost_attachment_is_named_and_ends_with_a_code_of_its_own(desk: Desk) -> None:
    """A book that lost a photo can still be backed up, exported and imported; a nightly job sees what it lacks."""
    (desk.folder / "photo.jpg").write_bytes(b"photo")
    desk("book", "keep", CASE)
    desk("book", "attach", "1", "photo.jpg")
    shutil.rmtree(desk.folder / "book.sqlite3.files")
    there = ("--book", "there.sqlite3")
    for arguments, said in (
        (("book", "backup", "b.zip"), "so the backup lacks them. They belong into"),
        (("book", "export", "out"), "so the export lacks them. They belong into"),
        (("book", "import", "out", *there), "not in the export, nor in this book. Their cases came in without them"),
    ):
        code, out, err = run_here(desk.capsys, *arguments)
        assert (code, err) == (11, "")
        assert said in " ".join(out.split())
        assert "photo.jpg, case 1" in out
    assert desk.json("book.case", "book", "show", "1", *there)["case"]["number"] == 1


def test_what_two_tablets_told_of_one_case_comes_together_by_the_commands_that_are_named(desk: Desk) -> None:
    """The refusal leaves the other cases a way in, and what was told there, too."""
    there = ("--book", "there.sqlite3")
    desk("book", "keep", CASE)
    desk("book", "export", "out")
    desk("book", "import", "out", *there)
    desk("book", "note", "1", "told here")
    desk("book", "write", "1", "case.yaml", *there)
    told = (desk.folder / "case.yaml").read_text().replace("readings:", "  black_smoke: present\nreadings:")
    (desk.folder / "case.yaml").write_text(told)
    desk("book", "keep", "case.yaml", "--into", "1", *there)
    desk("book", "keep", "second_seal_weeping", *there)
    desk("book", "export", "back", *there)
    _, said = desk.refused("book", "import", "back")
    assert "'diag book keep FILE --into 1 --on 14 --on-top'" in said
    assert "Import the others with --without 1;" in said
    desk("book", "keep", "case.yaml", "--into", "1", "--on", "14", "--on-top")
    assert desk.json("book.done", "book", "import", "back", "--without", "1")["counts"]["new"] == 1
    kinds = [line["kind"] for line in desk.json("book.case", "book", "show", "1", "--journal")["journal"]]
    assert kinds[14:] == ["note", "finding"]


def test_a_log_is_read_for_a_case_of_the_book(desk: Desk) -> None:
    """And what takes its readings into the book is named."""
    rows = "".join(f"{second},{800 + second % 3}\n" for second in range(60))
    (desk.folder / "log.csv").write_text(f"time [s],engine speed [rpm]\n{rows}")
    desk("book", "keep", CASE)
    assert desk.json("log", "log", "log.csv", "--case", "book:1")["engine"].startswith("Ostrel 4")
    code, said = desk.refused("log", "log.csv", "--case", "book:1@14", "--add")
    assert code == 2 and "'diag book write 1 FILE'" in said and "'diag book keep FILE --into 1'" in said


def test_an_undo_that_fails_has_taken_nothing_back(desk: Desk) -> None:
    """Without the overlay that has its engine a case is not changed: whoever repeats the command would go two back."""
    (desk.folder / "ours_4.yaml").write_text((shipped_folder() / "engines" / "ostrel_4.yaml").read_text())
    (desk.folder / "case.yaml").write_text("engine: ours_4\nfindings: {rough_idle: present}\n")
    desk("book", "keep", "case.yaml", "--overlay", "ours_4.yaml")
    desk("book", "note", "1", "a remark")
    code, said = desk.refused("book", "undo", "1")
    assert code == 9 and "add the overlay that has it" in said
    assert desk.json("book.case", "book", "show", "1")["remarks"] == ["a remark"]
    assert desk.json("book.case", "book", "undo", "1", "--overlay", "ours_4.yaml")["remarks"] == []


def test_a_case_file_that_diag_wrote_comes_out_byte_for_byte(desk: Desk) -> None:
    """Through the book and through an export into another book."""
    knowledge = load_knowledge()
    for number, (name, path) in enumerate(demo_cases().items(), start=1):
        (desk.folder / f"{name}.yaml").write_text(dump_case(load_case(path, knowledge)), encoding="utf-8")
        if number <= 4:
            desk("book", "keep", f"{name}.yaml")
            desk("book", "write", str(number), f"{name}.out.yaml")
            assert (desk.folder / f"{name}.out.yaml").read_bytes() == (desk.folder / f"{name}.yaml").read_bytes()
    desk("book", "export", "out")
    desk("book", "import", "out", "--book", "second.sqlite3")
    desk("book", "write", "2", "again.yaml", "--book", "second.sqlite3")
    second = list(demo_cases())[1]
    assert (desk.folder / "again.yaml").read_bytes() == (desk.folder / f"{second}.yaml").read_bytes()


def test_what_is_new_in_a_case_file_is_added_to_its_case(desk: Desk) -> None:
    """A finding more is one event more; nothing new writes nothing."""
    shutil.copy(demo_cases()[CASE], desk.folder / "case.yaml")
    desk("book", "keep", "case.yaml")
    text = (desk.folder / "case.yaml").read_text()
    (desk.folder / "case.yaml").write_text(
        text.replace("4: not looked at}", "4: not looked at}\n  wet_joint: {2: present}")
    )
    assert "Added to case 1: 1 event." in desk("book", "keep", "case.yaml", "--into", "1")
    assert "Nothing in it is new" in desk("book", "keep", "case.yaml", "--into", "book:1")
    assert desk.json("book.case", "book", "show", "1")["case"]["revision"] == 15


def test_two_people_at_one_case_both_keep_their_work(desk: Desk) -> None:
    """Each starts from revision 14; the second is told of the first, and adds theirs on top."""
    text = demo_cases()[CASE].read_text()
    for name, finding in (("anna", "wet_joint: {2: present}"), ("bert", "hard_start: present")):
        changed = text.replace("4: not looked at}", f"4: not looked at}}\n  {finding}")
        (desk.folder / f"{name}.yaml").write_text(changed)
    if "hard_start" not in load_knowledge().findings:
        (desk.folder / "bert.yaml").write_text((desk.folder / "bert.yaml").read_text().replace("hard_start", "bubbles"))
    desk("book", "keep", CASE)
    desk("book", "keep", "anna.yaml", "--into", "1", "--on", "14", "--by", "Anna")
    code, said = desk.refused("book", "keep", "bert.yaml", "--into", "1", "--on", "14", "--by", "Bert")
    assert code == 10
    assert "since then there is revision 15: finding, by Anna. Nothing of yours was written." in said
    desk("book", "keep", "bert.yaml", "--into", "1", "--on", "14", "--by", "Bert", "--on-top")
    journal = desk.json("book.case", "book", "show", "1", "--journal")["journal"]
    assert [(line["revision"], line["by"]) for line in journal[14:]] == [(15, "Anna"), (16, "Bert")]


def test_undo_walks_back_and_forth(desk: Desk) -> None:
    desk("book", "keep", CASE)
    desk("book", "close", "1", *CLOSING)
    page = desk("book", "undo", "1")
    assert "Taken back: it stands as at revision 14." in page
    assert "to take that back, too: diag book undo 1 --to 15\n" in page
    assert "closed" in desk("book", "undo", "1", "--to", "15")
    code, said = desk.refused("book", "undo", "1", "--to", "99")
    assert (code, said) == (2, "the case cannot be taken back to revision 99; it can go back to 1 to 16\n")


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (("show", "7"), 2, "the book has no case 7"),
        (("show", "seven"), 2, "'seven' is no number of a case in the book; write for example 17 or book:17"),
        (("close", "1", "--cured", "perhaps"), 2, "it can be yes, partly, no or not known"),
        (("close", "1", "--cured", "yes", "--found", "seal"), 2, "write for example 'seal blown 2 seen'"),
        (("close", "1", "--cured", "yes", "--found", "seel blown 2 seen"), 2, "did you mean 'seal'?"),
        (("close", "1", "--cured", "yes", "--found", "seal sound 2 seen"), 2, "'sound' is no fault of 'seal'"),
        (("close", "1", "--cured", "yes", "--found", "seal blown 9 seen"), 2, "it has cylinders 1 to 4"),
        (("close", "1", "--cured", "yes", "--found", "seal blown 2 sure"), 2, "it can be seen, measured or inferred"),
        (("close", "1", "--cured", "yes", "--found", "seal blown seen"), 2, "it needs a cylinder's number"),
        (("close", "1", "--cured", "yes", "--fitted", "reseel 2"), 2, "did you mean 'reseal'?"),
        (("close", "1", "--cured", "yes", "--fitted", "reseal"), 2, "it needs a cylinder's number"),
        (("close", "1", "--cured", "yes", "--fitted", "reseal 2 x0"), 2, "does not say what was fitted"),
        (
            ("close", "1", "--cured", "yes", "--time", "long"),
            2,
            "'long' is not a number with a unit; write for example '95 min'",
        ),
        (("close", "1", "--cured", "yes", "--time", "95"), 2, "write for example '95 min'"),
        (("close", "1", "--cured", "yes", "--cost", "a lot"), 2, "'a lot' is no amount of money"),
        (("close", "1", "--cured", "yes", "--cost", "1.234 EUR"), 2, "may stand for thousands; write '1234' or '1.23'"),
        (
            ("close", "1", "--cured", "yes", "--found", "seal blown 2 seen", "--found", "seal weeping 2 measured"),
            2,
            "combustion seal at 2: found both blown and weeping; tell the worse, and the other in the note",
        ),
        (
            ("close", "1", "--cured", "yes", "--found", "seal blown 2 seen", "--found", "seal blown 2 measured"),
            2,
            "one fault was told twice at the same place; tell it once",
        ),
        (("link", "1", "1"), 2, "a case is no come-back of itself"),
        (("link", "1", "2"), 2, "the book has no case 2"),
        (("note", "1", "  "), 2, "the remark is empty"),
        (("attach", "1", "nothing.jpg"), 2, "nothing.jpg could not be read: No such file or directory"),
        (("undo", "1", "--on", "3"), 10, "Case 1 has moved on"),
        (("undo", "1", "--on", "99"), 2, "case 1 has no revision 99"),
        (("list", "--since", "soon"), 2, "'soon' is no date; write it as 2026-03-31"),
        (("find", "%%%"), 2, "has no word to search for"),
        (("erase-customer", "1"), 2, "the book knows no customer of case 1"),
        (("restore", "nothing.zip"), 2, "nothing.zip: there is no such file"),
        (("import", "nothing"), 4, "there is no such file; give the folder of an export"),
        (("keep", CASE, "--on", "3"), 2, "--on and --on-top go with --into CASE"),
        (("keep", "no_such_case"), 4, "there is no such file and no demo case of that name"),
        (("keep", CASE, "--into", "5"), 2, "the book has no case 5"),
        (("like", CASE, "--overlay", "../never.yaml"), 2, "cannot all be true at once"),
        (("list", "--book", "mysql://nowhere/x"), 9, "no kind of database that diag knows"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_changes(
    desk: Desk, arguments: tuple[str, ...], code: int, message: str
) -> None:
    desk("book", "keep", CASE)
    (desk.folder.parent / "never.yaml").write_text(NEVER)
    ended, said = desk.refused("book", *arguments)
    assert ended == code, said
    assert message in " ".join(said.split())
    assert desk.json("book.list", "book", "list")["cases"][0]["revision"] == 14
    assert [path.name for path in desk.folder.iterdir() if "sqlite3" not in path.name] == []


def test_a_case_that_cannot_be_true_is_kept_and_that_is_said(desk: Desk) -> None:
    """With an overlay under which its complaint never comes."""
    (desk.folder / "never.yaml").write_text(NEVER)
    page = desk("book", "keep", CASE, "--overlay", "never.yaml")
    assert "so it is not among the similar cases" in " ".join(page.split())
    assert desk.json("book.like", "book", "like", CASE)["cases"] == []


def test_after_erasing_a_customer_no_byte_is_left_beside_the_book(desk: Desk) -> None:
    desk("book", "keep", CASE, "--customer", "Zebulon Quarkmeister", "--plate", "QQ 4711")
    assert "Customer: Zebulon Quarkmeister, plate QQ 4711" in desk("book", "show", "1", "--customer")
    assert "Zebulon" not in desk("book", "show", "1", "--journal")
    desk("book", "export", "out")
    desk("book", "erase-customer", "1")
    left = [path for path in desk.folder.rglob("*") if path.is_file() and b"Quarkmeister" in path.read_bytes()]
    assert left == []


def test_two_real_processes_that_keep_at_once_get_a_number_each(tmp_path: Path) -> None:
    """Also where neither finds a book yet."""
    command = [sys.executable, "-m", "diag", "book", "keep", CASE, "--json"]
    place = environment(DIAG_BOOK=str(tmp_path / "book.sqlite3"))
    both = [
        subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=place)
        for _ in range(2)
    ]
    said = [process.communicate(timeout=120) for process in both]
    assert [err for _, err in said] == ["", ""]
    assert sorted(json.loads(out)["case"]["number"] for out, _ in said) == [1, 2]


def test_only_a_command_that_opens_the_book_loads_a_database(tmp_path: Path) -> None:
    """`diag weigh` of a file stays quick."""
    code = (
        "import sys; from diag.cli import main\n"
        "try: main(['weigh', 'one_blown_seal'])\n"
        "except SystemExit: pass\n"
        "sys.exit(bool({'sqlalchemy', 'alembic', 'psycopg'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, env=environment(), check=False
    )
    assert done.returncode == 0


def test_come_backs_never_go_round_in_a_circle(tmp_path: Path) -> None:
    """3 came back from 2, 2 from 1: then 1 came back from neither. Once a link is taken back, the other way is free."""
    for number in ("1", "2", "3"):
        assert run_in(tmp_path, "book", "keep", CASE, "--book", "b.sqlite3").returncode == 0
        assert run_in(tmp_path, "book", "close", number, "--cured", "yes", "--book", "b.sqlite3").returncode == 0
    for later, earlier in (("2", "1"), ("3", "2")):
        assert run_in(tmp_path, "book", "link", later, earlier, "--book", "b.sqlite3").returncode == 0
    for later in ("2", "3"):
        refused = run_in(tmp_path, "book", "link", "1", later, "--book", "b.sqlite3")
        assert refused.returncode == 2
        assert f"case {later} goes back to case 1 itself; name the earlier case second" in refused.stderr
    assert run_in(tmp_path, "book", "undo", "2", "--book", "b.sqlite3").returncode == 0
    assert run_in(tmp_path, "book", "link", "1", "3", "--book", "b.sqlite3").returncode == 0


def test_the_journal_says_at_what_a_value_was_read(desk: Desk) -> None:
    """A return flow without its rail pressure is another one (trade: it grows with the pressure)."""
    said = ("60 mL/min at 400 bar", "61.0 +/- 2 mL/min at 400 bar", "above 60 mL/min at 400 bar")
    told = ", ".join(f"{place}: {value}" for place, value in enumerate(said, 1))
    case = f"engine: ostrel_4\nfindings: {{rough_idle: present}}\nreadings: {{return_flow: {{{told}}}}}\n"
    (desk.folder / "case.yaml").write_text(case)
    desk("book", "keep", "case.yaml")
    shown = desk.json("book.case", "book", "show", "1", "--journal")
    lines = [line["words"] for line in shown["journal"] if line["kind"] == "reading"]
    assert lines == [f"return flow at idle, cylinder {place}: {value}" for place, value in enumerate(said, 1)]
    assert set(lines) <= set(shown["told"])


def test_a_reading_that_the_knowledge_lost_is_told_as_it_was_told(desk: Desk) -> None:
    states = load_knowledge().components["injector"].states
    spread = ", ".join(f"{state}: {{shape: log-normal, middle: 50, width: 0.4}}" for state in states)
    (desk.folder / "own.yaml").write_text(
        "basis: {source: elicited, strength: 4}\n"
        "readings:\n  own_flow:\n    name: own flow\n    ask: How much?\n    plain: how much\n    shows: injector\n"
        "    unit: mL/min\n    decimals: 0\n    instrument_error: 2\n    lowest: 0\n    highest: 500\n"
        f"    spread: {{{spread}}}\n"
        "checks: {return_flow_idle: {yields: [own_flow]}}\n"
    )
    (desk.folder / "case.yaml").write_text("engine: ostrel_4\nreadings: {own_flow: {2: above 61.25 +/- 2 mL/min}}\n")
    desk("book", "keep", "case.yaml", "--overlay", "own.yaml")
    told = desk.json("book.case", "book", "show", "1")["told"]
    assert told == ["own_flow, cylinder 2: above 61.25 +/- 2 mL/min"]


def test_a_case_whose_engine_file_is_gone_is_written_with_its_engine(desk: Desk) -> None:
    """The book holds the engine; the file that is written reads back to the same, wherever it lies. Another engine of
    that name is not taken for it, and nothing is written."""
    (desk.folder / "mine.yaml").write_bytes((shipped_folder() / "engines" / "ostrel_3.yaml").read_bytes())
    (desk.folder / "case.yaml").write_text("engine: mine.yaml\nfindings: {fumes: present, tar: {2: present}}\n")
    desk("book", "keep", "case.yaml")
    before = load_case(desk.folder / "case.yaml", load_knowledge())
    (desk.folder / "mine.yaml").unlink()
    for name in ("out", "taken"):
        (desk.folder / name).mkdir()
    assert "its engine" in desk("book", "write", "1", "out/again.yaml")
    again = load_case(desk.folder / "out" / "again.yaml", load_knowledge())
    assert (again.engine, again.epochs) == (before.engine, before.epochs)
    (desk.folder / "taken" / "mine.yaml").write_text("engine: {}\n")
    assert "may be another engine" in desk.refused("book", "write", "1", "taken/again.yaml")[1]
    assert [path.name for path in (desk.folder / "taken").iterdir()] == ["mine.yaml"]


def test_a_slip_in_what_is_listed_is_told_and_what_is_not_there_is_not(desk: Desk) -> None:
    """A component or an engine that nothing has is a slip; one without cases, or none in those days, lists nothing."""
    desk("book", "keep", CASE)
    desk("book", "close", "1", *CLOSING)
    said = desk.refused("book", "list", "--found", "sael")[1]
    assert "there is no component 'sael'" in said
    assert "did you mean 'seal'?" in said
    assert "did you mean 'ostrel_4'?" in desk.refused("book", "list", "--engine", "ostrel4")[1]
    for arguments in (("--found", "clamp"), ("--engine", "karrick_v6"), ("--found", "seal", "--until", "2001-01-01")):
        assert desk.json("book.list", "book", "list", *arguments)["cases"] == []
    assert len(desk.json("book.list", "book", "list", "--found", "seal", "--engine", "ostrel_4")["cases"]) == 1
