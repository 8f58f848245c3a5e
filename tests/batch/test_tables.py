"""What comes out of a table is what its cases come to one by one; what cannot be used is told with its place."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow
import pytest
from pyarrow import parquet

from diag.basics import CaseError, UsageError
from diag.batch import Run, read_table_mapping, run_table
from diag.batch.running import _packed, _plan
from diag.casebook import load_case, scope_of
from diag.knowledge_base import load_knowledge
from diag.network import agreement, component_states, cylinder_chances, weigh
from diag.report import Sentence, table_blocks, table_sheet
from tests.batch.tables import HEADS, invented, write_csv
from tests.cli.process import json_of, run_in

KNOWLEDGE = load_knowledge()
CHUFFING = {
    "case": "the van",
    "engine": "ostrel_4",
    "distance": "187 thousand km",
    "age_years": 11.0,
    "numbering": "confirmed",
    "fumes": True,
    "rough_idle": False,
    "chuff under cold 2": "present",
    "chuff under cold 1": "absent",
    "chuff under cold 3": "no",
    "tar 2": "present",
    "tar 1": "absent",
    "tar 3": "absent",
    "tar 4": "not looked at",
    "correction 1": -0.3,
    "correction 2": 0.9,
    "correction 3": -0.2,
    "correction 4": -0.4,
}


def test_a_row_comes_to_what_the_case_file_does(tmp_path: Path) -> None:
    """The demo case of one blown seal as rows of a Parquet table, twice, and one row that is no case."""
    rows = [CHUFFING, {**CHUFFING, "case": "its twin"}, {**CHUFFING, "case": "a typing error", "engine": "ostrel_44"}]
    parquet.write_table(pyarrow.Table.from_pylist(rows), tmp_path / "cases.parquet")
    done = run_in(tmp_path, "table", "cases.parquet", "--out", "out.parquet", "--processes", "1", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["rows"], told["left_out"], told["distinct"]) == (2, 1, 1)
    found = parquet.read_table(tmp_path / "out.parquet").to_pylist()
    assert [line["case"] for line in found] == ["the van", "its twin"]
    assert {**found[0], "row": 0, "case": ""} == {**found[1], "row": 0, "case": ""}
    advice = json_of("advise", "one_blown_seal", "--json")
    line, faults = found[0], [each for each in advice["weigh"]["faults"] if each["fault"]]
    assert (line["fault_1"], line["fault_1_place"]) == (faults[0]["component"], str(faults[0]["place"]))
    assert line["fault_1_chance"] == pytest.approx(faults[0]["chance"], abs=1e-9)
    assert [line[f"cylinder_{n}"] for n in range(1, 5)] == pytest.approx(
        [each["chance"] for each in advice["weigh"]["cylinders"]], abs=1e-9
    )
    assert line["cylinder_5"] is None
    assert line["conflict"] == pytest.approx(advice["weigh"]["agreement"]["conflict"], abs=1e-9)
    assert line["advice"] == advice["decision"]
    best = next(option for option in advice["repair"]["options"] if option["best"])
    assert line["expected_total"] == pytest.approx(best["total"], abs=1e-6)
    assert line["check"] == advice["next"]["checks"][0]["check"]
    assert line["check_net"] == pytest.approx(advice["next"]["checks"][0]["net"], abs=1e-6)
    assert "no engine 'ostrel_44'; did you mean 'ostrel_4'?" in (tmp_path / "out.left_out.csv").read_text()


def test_rows_weighed_together_are_what_they_are_alone(tmp_path: Path) -> None:
    """Chances, conflict and flag of every row of a table against `weigh` of the same row, to 1e-9."""
    table = write_csv(tmp_path / "cases.csv", invented(40, seed=3, kinds=8))
    run_table(Run(table, tmp_path / "out.parquet", KNOWLEDGE, only_weigh=True, processes=1))
    by_name = {line["case"]: line for line in parquet.read_table(tmp_path / "out.parquet").to_pylist()}
    seen = set()
    for cells in invented(40, seed=3, kinds=8):
        if "hm" in cells or tuple(cells[1:]) in seen:
            continue
        seen.add(tuple(cells[1:]))
        told = dict(zip(HEADS, cells, strict=True))
        text = f"engine: {told['engine']}\ndistance: {told['distance_km']} km\nage: {told['age_years']} years\n"
        text += "findings:\n"
        text += "".join(f"  {name}: {told[name]}\n" for name in ("hard_start", "rough_idle") if told[name])
        tar = [f"{place}: {told[f'tar {place}']}" for place in (1, 2) if told[f"tar {place}"]]
        text += f"  tar: {{{', '.join(tar)}}}\n" if tar else ""
        if pressure := told["rail_pressure_cranking"].removesuffix(" bar"):
            text += f"readings: {{rail_pressure_cranking: {pressure} bar}}\n"
        text += f"codes: [{told['codes'].replace(';', ',')}]\n" if told["codes"] else ""
        (tmp_path / "case.yaml").write_text(text)
        weighed = weigh(KNOWLEDGE, load_case(tmp_path / "case.yaml", KNOWLEDGE))
        line = by_name[told["case"]]
        chances = cylinder_chances(weighed.network, weighed.posterior)
        for cylinder, chance in chances.items():
            assert line[f"cylinder_{cylinder}"] == pytest.approx(chance, abs=1e-9)
        states = component_states(weighed.network, weighed.posterior)
        place = line["fault_1_place"]
        key = (line["fault_1"], int(place) if place.isdecimal() else place or None)
        assert line["fault_1_chance"] == pytest.approx(1 - states[key][0], abs=1e-9)
        agreed = agreement(weighed.network, weighed.posterior, rarity=False)
        assert line["conflict"] == pytest.approx(agreed.conflict, abs=1e-9)
        assert line["contradicts"] == agreed.contradicts
    assert len(seen) >= 6


def test_a_mapping_makes_a_table_of_other_heads_the_same(tmp_path: Path) -> None:
    """German heads and words, decimal commas, semicolons, miles: the same output but for the file's name."""
    rows = [["a", "100000", "present", "180.5"], ["b", "160000", "absent", ""]]
    plain = write_csv(tmp_path / "plain.csv", [[r[0], "ostrel_4", *r[1:]] for r in rows],
                      ("case", "engine", "distance_km", "hard_start", "rail_pressure_cranking"))  # fmt: skip
    other = [["a", "62.137119", "J", "180,5", "x"], ["b", "99.41939", "N", "", "y"]]
    heads = ("Nr", "Meilen (Tsd.)", "startet schlecht", "Druck", "Werkstatt")
    write_csv(tmp_path / "other.csv", other, heads, ";")
    mapping = read_table_mapping(
        "map.yaml",
        KNOWLEDGE,
        "engine: ostrel_4\nothers: unused\nanswers: {J: present, N: absent}\ndecimal: comma\ncolumns:\n"
        "  Nr: case\n  2: {is: distance, unit: thousand miles}\n  startet schlecht: hard_start\n"
        "  Druck: {is: rail_pressure_cranking, unit: bar}\n",
    )
    run_table(Run(plain, tmp_path / "1.csv", KNOWLEDGE, only_weigh=True, processes=1))
    run_table(Run(tmp_path / "other.csv", tmp_path / "2.csv", KNOWLEDGE, mapping, only_weigh=True, processes=1))
    one, two = ((tmp_path / name).read_text().splitlines() for name in ("1.csv", "2.csv"))
    assert len(one) == 3
    for left, right in zip(one, two, strict=True):
        for ours, theirs in zip(left.split(","), right.split(","), strict=True):
            try:
                assert float(ours) == pytest.approx(float(theirs), abs=1e-6)
            except ValueError:
                assert ours == theirs


MAPPINGS = [
    ("columns: {n: chufff}\n", 1, 14, "the column 'n' is not known; did you mean 'chuff'?"),
    ("column: {n: chuff}\n", 1, 1, "'column' is not known here; did you mean 'columns'?"),
    ("answers:\n  J: presnt\n", 2, 6, "'presnt' is no answer; did you mean 'present'?"),
    ("columns:\n  other: case\n", 2, 3, "the table has no such column"),
    ("engine: ostrl_4\n", 1, 9, "did you mean 'ostrel_4'?"),
    ("encoding: klingon\n", 1, 11, "there is no encoding 'klingon'"),
    ("columns:\n  n: {is: tar, place: A, undr: cold}\n", 2, 26, "'undr' is not known here; did you mean 'under'?"),
]


@pytest.mark.parametrize(("text", "line", "column", "message"), MAPPINGS, ids=[text[:20] for text, *_ in MAPPINGS])
def test_what_is_wrong_with_a_mapping_is_told_with_its_place(
    tmp_path: Path, text: str, line: int, column: int, message: str
) -> None:
    table = write_csv(tmp_path / "table.csv", [["a"]], ("n",))
    with pytest.raises(CaseError) as told:
        mapping = read_table_mapping(tmp_path / "map.yaml", KNOWLEDGE, text)
        run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, mapping))
    problems = [problem for problem in told.value.problems if message in str(problem)]
    assert problems, told.value
    if "not known; did" not in message:
        assert (problems[0].line, problems[0].column) == (line, column)
    assert not (tmp_path / "out.csv.parts").exists()


TABLES = [
    ("", "this table is empty"),
    ("engine,chuff\n", "'chuff' is of the cylinder; the head is 'chuff 2'"),
    ("engine,rough_idle,rough_idle\n", "both tell 'rough_idle'"),
    ("rough_idle\npresent\n", "no column tells the engine"),
    ("engine,colour\nostrel_4,red\n", "the column 'colour' is not known"),
    ('engine,rough_idle\nostrel_4,"present\n', "the table cannot be read on from here"),
]


@pytest.mark.parametrize(("text", "message"), TABLES, ids=[message[:24] for _, message in TABLES])
def test_a_table_that_cannot_be_used_is_told_and_leaves_no_output(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "table.csv").write_text(text)
    with pytest.raises(CaseError, match=message.replace("(", r"\(")):
        run_table(Run(tmp_path / "table.csv", tmp_path / "out.csv", KNOWLEDGE, only_weigh=True, processes=1))
    assert not (tmp_path / "out.csv").exists()


BAD_CELLS = [
    (["a", "ostrel_4", "many", "5", "", "", "", "", "", ""], "distance_km", "is not a number"),
    (["a", "ostrel_4", "1e9", "5", "", "", "", "", "", ""], "distance_km", "is not plausible"),
    (["a", "ostrel_3", "1e5", "5", "", "", "", "", "", "P0204"], "codes", "cylinder 4"),
    (["a", "ostrel_4", "1e5", "5", "", "", "", "", "9e9 bar", ""], "rail_pressure_cranking", "is not plausible"),
    (["a", "ostrel_4"], "", "the row has 2 cells, and the table has 10 columns"),
    (["a", "", "", "", "", "", "", "", "", ""], "", "the engine is missing"),
]


def test_bad_rows_go_to_the_side_file_with_row_column_and_reason(tmp_path: Path) -> None:
    good = ["z", "ostrel_4", "1e5", "5", "present", "", "", "", "", ""]
    table = write_csv(tmp_path / "table.csv", [*(cells for cells, _, _ in BAD_CELLS), good])
    result = run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True, processes=1))
    assert (result.rows, result.left_out) == (1, len(BAD_CELLS))
    lines = result.side.read_text().splitlines()[1:]
    for number, (line, (_, column, reason)) in enumerate(zip(lines, BAD_CELLS, strict=True), start=1):
        assert line.startswith(f"{number},")
        assert reason in line
        assert f",{column}," in line


def test_a_head_may_hold_a_line_break(tmp_path: Path) -> None:
    """As a spreadsheet writes a head of two lines; what is wrong further down keeps its line."""
    table = tmp_path / "cases.csv"
    text = '"case\nof the shop";engine;"distance\n km"\nvan;ostrel_4;187000 km\n'
    mapping = read_table_mapping(tmp_path / "map.yaml", KNOWLEDGE, 'columns: {"case\\nof the shop": case, 3: distance}')
    table.write_text(text, encoding="utf-8")
    run = Run(table, tmp_path / "out.parquet", KNOWLEDGE, mapping, only_weigh=True, processes=1)
    assert run_table(run).rows == 1
    table.write_text(f'{text}lorry;ostrel_4;"90000 km\nbus;ostrel_4;80000 km\n', encoding="utf-8")
    with pytest.raises(CaseError, match=r"cases\.csv:5:1: the table cannot be read on from here.*mend the quotes"):
        run_table(Run(table, tmp_path / "other.parquet", KNOWLEDGE, mapping, only_weigh=True, processes=1))


def test_lists_of_a_parquet_table_hold_codes_whatever_they_are_made_of(tmp_path: Path) -> None:
    """Numbers in a list of codes are told as what they are, in the side file; what is empty there means nothing."""
    rows = [{"engine": "ostrel_4", "codes": [263, None]}, {"engine": "ostrel_4", "codes": [None]}]
    parquet.write_table(pyarrow.Table.from_pylist(rows), tmp_path / "cases.parquet")
    result = run_table(
        Run(tmp_path / "cases.parquet", tmp_path / "out.parquet", KNOWLEDGE, only_weigh=True, processes=1)
    )
    assert (result.rows, result.left_out) == (1, 1)
    assert "'263' is not a fault code" in (tmp_path / "out.left_out.csv").read_text()


def test_what_is_there_already_stays(tmp_path: Path) -> None:
    table = write_csv(tmp_path / "table.csv", invented(3))
    (tmp_path / "out.csv").write_text("mine")
    with pytest.raises(UsageError, match="already there and was left as it is"):
        run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True))
    with pytest.raises(UsageError, match="is the table itself"):
        run_table(Run(table, table, KNOWLEDGE, only_weigh=True))
    assert (tmp_path / "out.csv").read_text() == "mine"
    (tmp_path / "other.left_out.csv").write_text("mine")
    with pytest.raises(UsageError, match=r"other\.left_out\.csv is already there"):
        run_table(Run(table, tmp_path / "other.parquet", KNOWLEDGE, only_weigh=True))
    assert (tmp_path / "other.left_out.csv").read_text() == "mine"


def test_a_folder_that_cannot_be_worked_in_is_told(tmp_path: Path) -> None:
    """Where the lock cannot be opened, what was stopped cannot be removed, or no file can have the name."""
    table = write_csv(tmp_path / "table.csv", invented(3))
    (tmp_path / "out.csv.parts" / "lock").mkdir(parents=True)
    with pytest.raises(UsageError, match=r"out\.csv\.parts cannot be worked in: Is a directory"):
        run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True))
    (tmp_path / "other.csv.parts").write_text("mine")
    with pytest.raises(UsageError, match=r"other\.csv\.parts cannot be removed: Not a directory"):
        run_table(Run(table, tmp_path / "other.csv", KNOWLEDGE, only_weigh=True, anew=True))
    with pytest.raises(UsageError, match="cannot be made: File name too long"):
        run_table(Run(table, tmp_path / f"{'long' * 100}.csv", KNOWLEDGE, only_weigh=True))


def test_a_run_goes_on_only_with_the_same_table(tmp_path: Path) -> None:
    parts = tmp_path / "out.csv.parts"
    parts.mkdir()
    (parts / "plan.json").write_text(json.dumps({"the table": "another"}))
    table = write_csv(tmp_path / "table.csv", invented(3))
    with pytest.raises(UsageError, match=r"holds a run that was stopped, and the table, .* differs now"):
        run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True))


def test_a_run_does_not_go_on_in_another_encoding(tmp_path: Path) -> None:
    """Else the rows that were read before would keep the names as they were misread."""
    table = write_csv(tmp_path / "table.csv", invented(3))
    plans = []
    for said in ("", "encoding: cp1250\n"):
        run = Run(
            table, tmp_path / "out.csv", KNOWLEDGE, read_table_mapping("map.yaml", KNOWLEDGE, f"{said}others: unused\n")
        )
        plans.append(_plan(run, _packed(run, ())))
    assert {name for name in plans[0] if plans[0][name] != plans[1][name]} == {"the mapping"}


def test_every_column_of_the_list_can_be_a_head(tmp_path: Path) -> None:
    """What `diag table --columns` lists is what a table may have."""
    columns = json_of("table", "--columns", "--json")["columns"]
    banked = {name for name in KNOWLEDGE.findings | KNOWLEDGE.readings if scope_of(KNOWLEDGE, name) == "bank"}
    heads = [line["head"].replace("PLACE", "A" if line["head"].split()[0] in banked else "1") for line in columns]
    table = write_csv(tmp_path / "table.csv", [["ostrel_4" if head == "engine" else "" for head in heads]], heads)
    assert run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True, processes=1)).rows == 1
    assert len(heads) > 40


def test_a_comma_for_decimals_leads_to_the_mapping_that_reads_it(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    table.write_text("case;engine;correction 1\na;ostrel_4;0,3\nb;ostrel_4;-1,25 mg/stroke\n", encoding="utf-8")
    result = run_table(Run(table, tmp_path / "1.csv", KNOWLEDGE, only_weigh=True, processes=1))
    assert (result.rows, result.left_out) == (0, 2)
    side = result.side.read_text(encoding="utf-8")
    assert side.count("write 'decimal: comma' in a mapping (--map)") == 2
    mapping = read_table_mapping("map.yaml", KNOWLEDGE, "decimal: comma\n")
    assert run_table(Run(table, tmp_path / "2.csv", KNOWLEDGE, mapping, only_weigh=True, processes=1)).rows == 2


def test_the_mapping_that_is_shown_as_an_example_can_be_used(tmp_path: Path) -> None:
    """Every line of what `diag table --columns` prints is read, by a table with such heads."""
    lines = json_of("table", "--columns", "--json")["mapping"]
    mapping = read_table_mapping("map.yaml", KNOWLEDGE, "\n".join(lines))
    table = tmp_path / "table.csv"
    heads = ("Vehicle no", "Miles", "Chuff 3", "Shop", "hard_start", "fumes", "c", "mood")
    table.write_text(";".join(heads) + "\nthe van;93.000,5;N;1;J;N;0,3;good\n", encoding="cp1252")
    result = run_table(Run(table, tmp_path / "1.csv", KNOWLEDGE, mapping, only_weigh=True, processes=1))
    assert (result.rows, result.left_out) == (0, 1), "thousands are told"
    table.write_text(";".join(heads) + "\nthe van;93000,5;N;1;J;N;0,3;good\n", encoding="cp1252")
    result = run_table(Run(table, tmp_path / "2.csv", KNOWLEDGE, mapping, only_weigh=True, processes=1))
    assert (result.rows, result.left_out) == (1, 0)


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16", "utf-8-sig", "utf-8"])
def test_names_come_back_whatever_the_tables_encoding(tmp_path: Path, encoding: str) -> None:
    """By its name a row is joined to its case again; what spreadsheets write is read without a word."""
    table = tmp_path / "table.csv"
    text = "case;engine;hard_start\n" + "J;ostrel_4;present\n" * 3 + "Müller, Łódź;ostrel_4;present\n"
    table.write_bytes(text.encode(encoding, "replace"))
    result = run_table(Run(table, tmp_path / "1.csv", KNOWLEDGE, only_weigh=True, processes=1))
    assert (result.rows, result.left_out) == (4, 0)
    known = "Müller, ?ód?" if encoding == "cp1252" else "Müller, Łódź"
    assert f'"{known}"' in (tmp_path / "1.csv").read_text(encoding="utf-8")
    told = " ".join(block.text for block in table_blocks(table_sheet(result)) if isinstance(block, Sentence))
    assert (f"read as {encoding}" in told) == (not encoding.startswith("utf-8"))


def test_one_damaged_letter_leaves_the_other_names_as_they_are(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    table.write_bytes("case,engine,hard_start\nMüller,ostrel_4,present\n".encode() + b"M\xfcller,ostrel_4,present\n")
    run_table(Run(table, tmp_path / "1.csv", KNOWLEDGE, only_weigh=True, processes=1))
    assert '"Müller"' in (tmp_path / "1.csv").read_text(encoding="utf-8")


def test_answers_in_the_letters_of_a_named_encoding_are_read(tmp_path: Path) -> None:
    """A table in Windows' Western European letters; where the wrong encoding is named, the row is told."""
    table = tmp_path / "table.csv"
    table.write_bytes("case,engine,hard_start\nMüller,ostrel_4,présent\nJ,ostrel_4,present\n".encode("cp1252"))
    wrong = read_table_mapping("map.yaml", KNOWLEDGE, "encoding: utf-8\nanswers: {présent: present}\n")
    result = run_table(Run(table, tmp_path / "1.csv", KNOWLEDGE, wrong, only_weigh=True, processes=1))
    assert (result.rows, result.left_out) == (1, 1)
    assert "name the table's encoding in a mapping" in result.side.read_text(encoding="utf-8")
    for number, named in enumerate(("encoding: cp1252\n", ""), start=2):
        mapping = read_table_mapping("map.yaml", KNOWLEDGE, f"{named}answers: {{présent: present}}\n")
        out = tmp_path / f"{number}.csv"
        assert run_table(Run(table, out, KNOWLEDGE, mapping, only_weigh=True, processes=1)).rows == 2
        assert '"Müller"' in out.read_text(encoding="utf-8")
