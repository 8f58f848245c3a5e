"""Loading the knowledge: every spoilt line is named by file, line and column, and all are told at once."""

# ruff: noqa: E501  tables are read across, one row to a line

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from diag.basics import KnowledgeError
from diag.knowledge_base import Knowledge, load_knowledge

Editor = Callable[[str, str, str], Path]

COMPONENTS, SEVERITIES, FINDINGS, WORK, REST = (
    "components.yaml",
    "severities.yaml",
    "findings.yaml",
    "work.yaml",
    "rest.yaml",
)
ENGINE = "engines/toy_4.yaml"
STEPS = "work_steps.yaml"
NONE = "      none: {middle: 0, width: 0.8}"
FIGURE = "write the number alone, without its unit, as 12.5; a chance or a share as 0.4 or 40 %"
POINT = "decimals are written with a point: 1.5"


def told(folder: Path) -> list[str]:
    """The problems of a folder, each without the folder's name."""
    with pytest.raises(KnowledgeError) as caught:
        load_knowledge(folder)
    return [str(problem).replace(f"{folder}/", "") for problem in caught.value.problems]


# file, what is exchanged, what for (@ marks where the problem must be placed), what is said
SPOILT = [
    # fields
    (COMPONENTS, "per: cylinder", "per: @cyl", "'cyl' is not allowed here; did you mean 'cylinder'?"),
    (COMPONENTS, "    plain: the rubber\n", "    @plian: the rubber\n", "'plian' is not known here; did you mean 'plain'?"),
    (COMPONENTS, "name: engine mounts", "name: @5", "this should be text, and is '5'; put it in quotes"),
    (COMPONENTS, "scale: 600000", "scale: @long", f"this should be a number, and is 'long'; {FIGURE}"),
    (COMPONENTS, "scale: 600000", "scale: @600 000 km", f"this should be a number, and is '600 000 km'; {FIGURE}"),
    (COMPONENTS, "scale: 600000", 'scale: @"600000,5"', f"this should be a number, and is '600000,5'; {POINT}"),
    (WORK, "minutes: 30", "minutes: @30 min", f"this should be a number, and is '30 min'; {FIGURE}"),
    (COMPONENTS, "scale: 600000", "scale: @-1", "this number cannot be below zero, and is -1"),
    (COMPONENTS, "scale: 600000", "scale: @.inf", f"this should be a number, and is '.inf'; {FIGURE}"),
    (COMPONENTS, "scale: 600000", "scale: @inf", "this should be a finite number, and is 'inf'"),
    (COMPONENTS, "worn: 4 %", "worn: 4,5 %@", f"'5 %' is a number where a name should stand; {POINT}"),
    (COMPONENTS, "worn: 4 %", "worn: @true", "a number is needed here, not true or false"),
    (COMPONENTS, "worn: 4 %", "worn: @140 %", "a chance or a rate lies between 0 and 1 (or 0 % and 100 %), not 1.4"),
    (COMPONENTS, "also: [1.9]", "also: @1.9", "this should be a list, and is '1.9'; write [one, another]"),
    (COMPONENTS, "fault: false", "fault: @no", "this should be true or false, and is 'no'; write true or false"),
    (COMPONENTS, "cite: book, ", "", "a published number names its source: add 'cite:' with an entry of sources.yaml"),
    (COMPONENTS, "source: learned", "source: @lerned", "'lerned' is not allowed here; did you mean 'learned'?"),
    (SEVERITIES, "levels: [none, some]", "levels: @[none]", "this needs at least 2, and has 1"),
    (WORK, "yields: [chuff, chuff under load]", "yields: [chuff, @chuff under lod]", "'lod' is not allowed here; did you mean 'load'?"),
    (FINDINGS, "first: P0263", "first: @PO263", "'PO263' does not have the right form; write a code such as P0263"),
    (REST, "currency: EUR", "currency: @euro", "'euro' does not have the right form; write three capital letters, such as EUR"),
    # steps of work
    (WORK, "steps: [draw, fit]", "steps: [draw, @fitt]", "there is no step 'fitt'; did you mean 'fit'?"),
    (WORK, "steps: [draw, fit]", "steps: [fit, @draw]", "'draw' comes before 'fit' among the steps, and one order holds for all work"),
    (WORK, "steps: [draw, fit]", "steps: [draw, @draw]", "the step 'draw' is listed twice"),
    (WORK, "steps: [draw, fit]", "steps: [@pipe, draw, fit]", "'pipe' is a step of the stage 'open'; here stand steps of before, work, codes or after"),
    (WORK, "read_again: [correction]", "read_again: [@corection]", "there is no reading 'corection'; did you mean 'correction'?"),
    (REST, "open: [off]", "open: [@of]", "there is no step 'of'; did you mean 'off'?"),
    (REST, "close: [on]", "close: [@off]", "'off' is a step of the stage 'open'; here stand steps of close"),
    (STEPS, "stage: codes", "stage: @code", "'code' is not allowed here; did you mean 'codes'?"),
    (STEPS, "after {wait}.", "after {wate}.", "'{wate}' stands for nothing of an engine; did you mean 'wait'?"),
    (STEPS, "stage: close}", "stage: close, cautions: [@runing]}", "there is no caution 'runing'; did you mean 'running'?"),
    (STEPS, "parts: [injector]", "parts: [@injectr]", "there is no part 'injectr'; did you mean 'injector'?"),
    (STEPS, "parts: [injector]", "unless: @fitt, parts: [injector]", "there is no step 'fitt'; did you mean 'fit'?"),
    # ids
    (FINDINGS, "  shakes:\n", "  @Shakes:\n", "'Shakes' is not an id; an id is small letters, digits and _, beginning with a letter"),
    (FINDINGS, "  mount_gap:", "  @seal:", "the id 'seal' is already in components (components.yaml:2); give one of them another"),
    (COMPONENTS, "worn: {name: worn}}", "Worn: {name: worn}}", "'Worn' is not an id"),
    # components
    (COMPONENTS, "fails_as: {weeping: 60 %", "fails_as: {@weping: 60 %", "'seal' has no 'weping'; did you mean 'weeping'?"),
    (COMPONENTS, "fresh: {weeping", "fresh: {@sound", "'sound' is given no chance: as the first of 'seal' it takes what the others leave"),
    (COMPONENTS, "fails_as: {weeping: 60 %", "@fails_as: {weeping: 70 %", "these chances add up to 1.1, which is more than 1"),
    (COMPONENTS, "scale_under: {stress", "scale_under: {@stres", "there is no component 'stres'; did you mean 'stress'?"),
    (COMPONENTS, "scale_under: {stress: {harsh", "scale_under: {stress: {@hard", "'stress' has no 'hard'"),
    (COMPONENTS, "{harsh: 0.5}", "{harsh: @0}", "a life is multiplied by a number above zero"),
    (COMPONENTS, "unnoticed: 12000", "unnoticed: @0", "the unnoticed of a life must be above zero"),
    (COMPONENTS, "given: {stress: {harsh", "given: {stress: {@harch", "'stress' has no 'harch'; did you mean 'harsh'?"),
    (COMPONENTS, "given: {stress: {harsh", "given: {@mounts: {torn", "'mounts' is no shared cause that reaches into cylinders; add 'reaches_cylinders: true' to 'mounts'"),
    (COMPONENTS, "given: {stress: {harsh", "given: {@injector: {worn", "a component cannot change its own chances"),
    (COMPONENTS, "    fresh:", "    only_after: [@reseel]\n    fresh:", "there is no repair 'reseel'; did you mean 'reseal'?"),
    (COMPONENTS, "    fresh:", "    reaches_cylinders: @true\n    fresh:", "a component of each cylinder cannot reach into cylinders as a shared cause does"),
    (COMPONENTS, "cite: book", "cite: @bok", "there is no source 'bok'; did you mean 'book'?"),
    # severities
    (SEVERITIES, "      seal: {weeping", "      @seel: {weeping", "there is no component or severity 'seel'; did you mean 'seal'?"),
    (SEVERITIES, "      seal: {weeping", "      seal: {@weepin", "'seal' has no 'weepin'; did you mean 'weeping'?"),
    (SEVERITIES, "      seal: {weeping", "      seal: {@sound", "'sound' is the first of 'seal' and causes nothing; leave it out"),
    (SEVERITIES, "slight: 70 %", "@slihgt: 70 %", "'blow_by' has no 'slihgt'; did you mean 'slight'?"),
    (SEVERITIES, "{slight: 20 %, strong: 79 %}", "{slight: 30 %, strong: 79 %}", "these chances add up to 1.09, which is more than 1"),
    (SEVERITIES, "background: {some", "background: {@none", "'none' is given no chance"),
    (SEVERITIES, "[none, slight, strong]", "@[none, slight, slight]", "a level is named twice"),
    (SEVERITIES, "      seal: {weeping", "      @mounts: {torn: {slight: 1 %}}\n      seal: {weeping", "'mounts' is of the vehicle and does not reach into cylinders; add 'reaches_cylinders: true' to 'mounts'"),
    (SEVERITIES, "      seal: {weeping", "      @starving: {some: {slight: 1 %}}\n      seal: {weeping", "a cylinder severity is caused by components, not by another severity"),
    (SEVERITIES, "causes: {blow_by: {strong", "causes: {@seal: {blown", "'seal' cannot cause 'rough' directly"),
    (SEVERITIES, "causes: {blow_by: {strong", "causes: {@shaking: {felt", "the severity 'shaking' must be written before 'rough', which it causes; move it up in severities.yaml"),
    # findings and readings
    (FINDINGS, "shows: blow_by", "shows: @blowby", "there is no component or severity 'blowby'; did you mean 'blow_by'?"),
    (FINDINGS, "    chance: {none: 3 %, slight: 45 %,", "    @chance: {none: 3 %,", "a chance is missing for 'slight' of 'blow_by'"),
    (FINDINGS, "load: {none: 3 %, slight: 60 %,", "@load: {slight: 60 %,", "a chance is missing for 'none' of 'blow_by'"),
    (FINDINGS, "felt: 95 %", "felt: 95 %, @much: 1 %", "'shaking' has no 'much'"),
    (FINDINGS, "under: {load:", "under: {@idle:", "there is no condition 'idle'; it can be load or cold"),
    (FINDINGS, "danger: [beware]", "danger: [@bewore]", "there is no caution 'bewore'; did you mean 'beware'?"),
    (FINDINGS, "    code: {first: P0263, step: 3}\n", "", "the code 'starving_code' has no number; add 'code: {first: P0201}'"),
    (FINDINGS, "kind: code", "lasting: 50 %\n    kind: code", "luck that lasts over conditions needs chances under a condition; add 'under:', or leave 'lasting' out"),
    (FINDINGS, "kind: code", "kind: symptom", "only a finding of kind 'code' has a number, and this is of kind 'symptom'"),
    (FINDINGS, "code: {first: P0263, step: 3}", "@code: {first: P0263}", "a code of each cylinder needs a 'step' from one cylinder's number to the next"),
    (FINDINGS, "code: {first: P0263, step: 3}", "code: {first: P0263, step: 3, @also: [P0999]}", "further numbers can only be given of a code of the whole vehicle"),
    (FINDINGS, "code: {first: P0263, step: 3}", "code: {first: P0263, step: 3, also: [@P0266]}", "the number P0266 is here already; leave it out"),
    (FINDINGS, "code: {first: P0263, step: 3}", "code: {first: P0263, step: 3, also: [@263]}", "this should be text"),
    (FINDINGS, "code: {first: P0263, step: 3}", "code: {first: P0263, step: 3, also: [@O263]}", "write a code such as P0263"),
    (FINDINGS, "first: P0263", "first: @P026A", "this number counts in hexadecimal; add 'hexadecimal: true'"),
    (FINDINGS, "      some: {middle: 3, width: 1.2}\n", "", "a spread is missing for 'some' of 'starving'"),
    (FINDINGS, "width: 0.8", "width: @0", "a width must be above zero"),
    (FINDINGS, "log-normal, middle: 1", "log-normal, middle: @0", "the middle of a log-normal spread must be above zero"),
    (FINDINGS, "highest: 10", "highest: @-10", "the highest must be above the lowest, -10"),
    # mixtures
    (FINDINGS, NONE, "      none: {@parts: [{weight: 90 %, middle: 0, width: 0.8}, {weight: 9 %, middle: 2, width: 1}]}", "the weights of the parts add up to 0.99, and must to 1 (100 %)"),
    (FINDINGS, NONE, "      none: {parts: [{weight: 110 %, middle: 0, width: 0.8}, {weight: @-10 %, middle: 2, width: 1}]}", "this number cannot be below zero, and is -0.1"),
    (FINDINGS, NONE, "      none: {parts: [{weight: 1, middle: 0, width: 0.8}, {weight: @0, middle: 2, width: 1}]}", "a weight must be above zero; leave this part out"),
    (FINDINGS, NONE, "      none: {@parts: [{weight: 1, middle: 0, width: 0.8}]}", "a mixture has at least two parts, and this has 1; write the one law without 'parts'"),
    (FINDINGS, NONE, "      none: {@parts: []}", "a mixture has at least two parts, and this has 0"),
    (FINDINGS, NONE, "      none: {parts: @two}", "this should be a list, and is 'two'; write [one, another]"),
    (FINDINGS, NONE, "      none: {parts: [@{middle: 0, width: 0.8}, {weight: 50 %, middle: 2, width: 1}]}", "'weight' is missing here"),
    (FINDINGS, NONE, "      none: {parts: [{weight: 50 %, shape: @gamma, middle: 0, width: 0.8}, {weight: 50 %, middle: 2, width: 1}]}", "'gamma' is not allowed here; it can be normal, log-normal or student t"),
    (FINDINGS, NONE, "      none: {parts: [{weight: 50 %, middle: 0, width: @0}, {weight: 50 %, middle: 2, width: 1}]}", "a width must be above zero"),
    (FINDINGS, NONE, "      none: {parts: [{weight: 50 %, shape: log-normal, middle: @-1, width: 1}, {weight: 50 %, middle: 2, width: 1}]}", "the middle of a log-normal spread must be above zero"),
    (FINDINGS, NONE, "      none: {@middle: 0, parts: [{weight: 50 %, middle: 0, width: 1}, {weight: 50 %, middle: 2, width: 1}]}", "'middle' is not known here; it can be parts"),
    # checks and repairs
    (WORK, "[starving_code, correction", "[starving_code, @corection", "there is no finding or reading 'corection'; did you mean 'correction'?"),
    (WORK, "[chuff, chuff under load]", "[chuff, @chuff]", "'chuff' is listed twice"),
    (WORK, "needs: [engine_running]", "needs: [@engine_runing]", "there is no precondition 'engine_runing'; did you mean 'engine_running'?"),
    (WORK, "access: covers", "access: @cover", "there is no access 'cover'; did you mean 'covers'?"),
    (WORK, "hazards: [engine running]", "hazards: [@engine runing]", "'engine runing' is not allowed here; did you mean 'engine running'?"),
    (WORK, "renews: [seal]", "renews: [@sael]", "there is no component 'sael'; did you mean 'seal'?"),
    (WORK, "renews: [seal]", "renews: [seal]\n    disturbs: [@seal]", "'seal' is renewed, so it is not also disturbed"),
    (WORK, "then: [write_code]", "then: [@write_cod]", "there is no repair 'write_cod'; did you mean 'write_code'?"),
    (WORK, "then: [write_code]", "then: @[replace_injector]", "'replace_injector' would have to follow itself"),
    (WORK, "parts: {washer: 1", "parts: {@wacher: 1", "there is no part 'wacher'; did you mean 'washer'?"),
    (WORK, "parts: {washer: 1", "parts: {washer: @0", "the number of parts must be 1 or more, and is 0"),
    (WORK, "by: blow_by", "by: @blow", "there is no component or severity 'blow'; did you mean 'blow_by'?"),
    (WORK, "chance: {slight: 5 %", "chance: {@sligt: 5 %", "'blow_by' has no 'sligt'; did you mean 'slight'?"),
    (WORK, "by: blow_by, chance: {slight", "chance: {always: 1 %, @slight", "a risk without 'by' has the one key 'always'"),
    # vocabulary and answers
    (REST, "includes: [covers]", "includes: [@cover]", "there is no access 'cover'; did you mean 'covers'?"),
    (REST, "includes: [covers]", "includes: @[injectors]", "'injectors' would include itself"),
    (REST, "  a_bit: {", "  @present: {", "'present' is a plain answer and is not listed here"),
    # engines
    (ENGINE, "[1, 3, 4, 2]", "[1, 3, 4, @5]", "there is no cylinder 5; its cylinders are 1 to 4"),
    (ENGINE, "[1, 3, 4, 2]", "[1, 3, @3, 2]", "cylinder 3 fires twice"),
    (ENGINE, "firing_order: [1, 3, 4, 2]", "@firing_order: [1, 3, 4]", "the firing order leaves out 2"),
    (ENGINE, "banks: {A: [1, 2, 3, 4]}", "@banks: {A: [1, 2], B: [3, 4]}", "an inline engine has one bank, and this has 2"),
    (ENGINE, "layout: inline", "layout: V", "a V engine has two banks, and this has one"),
    (ENGINE, "banks: {A: [1, 2, 3, 4]}", "banks: {A: [1, 2, 3, @3]}", "cylinder 3 is twice"),
    (ENGINE, "banks: {A: [1, 2, 3, 4]}", "@banks: {A: [1, 2, 3, 5]}", "the cylinders are numbered 1 to 4, and these are 1, 2, 3, 5"),
    (ENGINE, "banks: {A: [1, 2, 3, 4]}", "@banks: {}", "an engine has at least one bank"),
    (ENGINE, "banks: {A:", "banks: {@left:", "'left' is no bank; name banks A, B, ..."),
    (ENGINE, "covers: {A: 8}", "covers: {A: 8, @B: 9}", "there is no bank 'B'"),
    (ENGINE, "covers: {A: 8}", "@covers: {}", "the minutes for bank A are missing"),
    (ENGINE, "covers: {A: 8}", "covers: {A: @-8}", "this should not be below 0, and is '-8'"),
    (ENGINE, "covers: {A: 8}", "@cover: {A: 8}", "there is no access 'cover'; did you mean 'covers'?"),
    (ENGINE, "awkward_minutes: {4", "awkward_minutes: {@5", "there is no cylinder 5; its cylinders are 1 to 4"),
    (ENGINE, "awkward_minutes: {4", "awkward_minutes: {@four", "this should be a whole number, and is 'four'; write the number alone, without its unit"),
    (ENGINE, "value: 3, unit: mg/stroke, default: true", "value: null, unit: mg/stroke, default: @true", "a limit that is left blank is not a default"),
    # files
    (REST, "answers:", "@anwsers:", "'anwsers' is no kind of knowledge; did you mean 'answers'?"),
    (REST, "sources:\n  book: {citation: An invented book.}", "sources: @book", "'sources' should hold entries 'id: ...'"),
    (WORK, "  scan:", "  @listen:", "the key 'listen' is already at line 2, column 3; keep one of the two"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "said"), SPOILT, ids=[f"{row[0]}:{row[3][:50]}" for row in SPOILT])
def test_a_spoilt_line_is_named(file: str, old: str, new: str, said: str, spoilt: Editor) -> None:
    """The sentence, and where the marker stands: the file, line and column of it."""
    folder = spoilt(file, old, new)
    path = folder / file
    text = path.read_text()
    before, marker, after = text.partition("@")
    path.write_text(before + after)
    where = f"{file}:{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}: " if marker else f"{file}:"
    assert any(problem.startswith(where) and said in problem for problem in told(folder)), told(folder)


def test_all_problems_of_all_files_at_once(small_folder: Path) -> None:
    """A file that cannot be read, a bad field, a bad name, a bad engine: told together, by place."""
    for file, old, new in (
        (COMPONENTS, "per: cylinder", "per: cyl"),
        (FINDINGS, "shows: blow_by", "shows: blowby"),
        (WORK, "renews: [mounts]", "renews: [mount]"),
        (ENGINE, "[1, 3, 4, 2]", "[1, 3, 4]"),
    ):
        path = small_folder / file
        path.write_text(path.read_text().replace(old, new, 1))
    (small_folder / "zz.yaml").write_text("a: [1\n")
    problems = told(small_folder)
    assert [problem.split(":")[0] for problem in problems] == [COMPONENTS, ENGINE, FINDINGS, WORK, "zz.yaml"]


def test_a_bad_entry_is_not_reported_again_by_those_who_name_it(spoilt: Editor) -> None:
    """The seal cannot be read; it still exists for its severities, repairs and risks."""
    assert len(told(spoilt(COMPONENTS, "per: cylinder", "per: cyl"))) == 1


def test_an_id_in_two_files(small_folder: Path) -> None:
    """The second place is told, with the first."""
    (small_folder / "more.yaml").write_text("sources:\n  book: {citation: Another.}\n")
    assert told(small_folder) == ["rest.yaml:13:3: 'book' is already in more.yaml:2; keep one of the two"]


def test_two_codes_with_one_number(small_folder: Path) -> None:
    """P0263 and then every third: cylinder 3 has P0269 already."""
    (small_folder / "zz.yaml").write_text(
        "findings:\n  {twin: {name: t, ask: t, plain: t, kind: code, shows: mounts, chance: {sound: 0, torn: 1},"
        " code: {first: P0269}, basis: {source: elicited}}}\n"
    )
    assert told(small_folder)[0].endswith("the number P0269 is also one of 'starving_code'")


def test_a_folder_without_prices(small_folder: Path) -> None:
    """What must be there once is asked for."""
    rest = small_folder / REST
    rest.write_text(rest.read_text().split("prices:")[0])
    work = small_folder / WORK
    work.write_text("\n".join(line for line in work.read_text().splitlines() if "parts:" not in line))
    assert told(small_folder) == [f"{small_folder}: no file here holds 'prices:'"]


def test_a_folder_that_is_no_knowledge(tmp_path: Path) -> None:
    """Empty, or not there."""
    assert "this folder holds no knowledge files (*.yaml)" in told(tmp_path)[0]
    assert "there is no such file" in told(tmp_path / "nowhere")[0]


def test_the_small_knowledge_says_what_it_says(small: Knowledge) -> None:
    """Percentages, other judgements, soft conditions, order of the files."""
    seal = small.components["seal"]
    assert seal.sound == "sound" and list(seal.states) == ["sound", "weeping", "blown"]
    assert seal.life is not None and seal.life.fails_as["weeping"].value == pytest.approx(0.6)
    assert seal.life.shape.also == (1.9,)
    assert [(one.item, one.under) for one in small.checks["listen"].yields] == [("chuff", None), ("chuff", "load")]
    assert list(small.severities) == ["blow_by", "starving", "rough", "shaking"]
    assert small.engines["toy_4"].cylinders == (1, 2, 3, 4)


def test_the_shipped_knowledge_is_found_from_anywhere(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """An installed command works in any folder."""
    monkeypatch.chdir(tmp_path)
    assert len(load_knowledge().engines) >= 5


def test_loading_twice_gives_equal_knowledge(small_folder: Path, tmp_path: Path) -> None:
    """Nothing depends on the order in which the disk lists files."""
    twin = tmp_path / "twin"
    shutil.copytree(small_folder, twin)
    assert load_knowledge(small_folder) == load_knowledge(twin)
