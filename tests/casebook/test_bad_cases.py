"""A bad case file: each mistake with its line, its column and what would be right, all of them at once."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.basics import CaseError, KnowledgeError
from diag.casebook import load_case, read_case
from diag.knowledge_base import Knowledge

HEAD = "engine: karrick_v8\ndistance: 200000 km\nage: 10 years\n"  # what is tried below begins at line 4

MISTAKES = [
    # ---- engine and vehicle
    ("engine: ostrel_44\n", "1:9: there is no engine 'ostrel_44'; did you mean 'ostrel_4'?"),
    ("title: nothing\n", "1:1: the engine is missing here; add 'engine:' with one of "),
    ("engine: [ostrel_4]\n", "1:9: the engine is not a list; write one of "),
    ("engine: gone.yaml\n", "1:9: gone.yaml: there is no such file"),
    ("engine: ostrel_4\ndistance: 187000\n", "2:11: '187000' has no unit; write for example '187000 km'"),
    ("engine: ostrel_4\ndistance: far\n", "2:11: 'far' is not a number with a unit; write for example '187000 km'"),
    ("engine: ostrel_4\ndistance: 187000 bar\n", "2:11: 'bar' cannot be turned into 'km'; it can be km, "),
    ("engine: ostrel_4\ndistance: 187,000 km\n", "2:11: '187,000 km' is not a plain number; write a point for "),
    (
        "engine: ostrel_4\ndistance: 232.000 km\n",
        "2:11: the point in '232.000 km' may stand for thousands; write '232000 km', or one decimal at most",
    ),
    ("engine: ostrel_4\ndistance: 144.300 mi\n", "2:11: the point in '144.300 mi' may stand for thousands; write "),
    (
        HEAD + "history: [{did: reseal, cylinder: 2, ago: 26.000 km}]\n",
        "4:43: the point in '26.000 km' may stand for thousands; write '26000 km', or one decimal at most",
    ),
    (
        "engine: ostrel_4\ndistance: -5 km\n",
        "2:11: '-5 km' is not plausible for the distance; it lies between 0 and ",
    ),
    ("engine: ostrel_4\ndistance: above 5 km\n", "2:11: 'above 5 km' is a bound and not a number; write for "),
    (
        "engine: ostrel_4\nage: 800 years\n",
        "2:6: '800 years' is not plausible for the age; it lies between 0 and 100 years",
    ),
    ("engine: ostrel_4\nage: [1]\n", "2:6: the age is not a list; write for example '11 years'"),
    ("engine: ostrel_4\nfindngs: {}\n", "2:1: 'findngs' is not known here; did you mean 'findings'?"),
    ("engine: ostrel_4\ntitle: [a]\n", "2:8: this should be text, and is a list; put it in quotes"),
    # ---- findings
    (HEAD + "findings: {chufff: {2: present}}\n", "4:12: there is no finding 'chufff'; did you mean 'chuff'?"),
    (
        HEAD + "findings: {chuff: present}\n",
        "4:19: 'chuff' is of each cylinder, and says of which; write 'chuff: {2: present}'",
    ),
    (
        HEAD + "findings: {rough_idle: {2: yes}}\n",
        "4:24: 'rough_idle' is of the whole vehicle, and has no places; write ",
    ),
    (
        HEAD + "findings: {bank_silent: yes}\n",
        "4:25: 'bank_silent' is of each bank, and says of which; write 'bank_silent: {A: ",
    ),
    (HEAD + "findings: {bank_silent: {C: yes}}\n", "4:26: there is no bank 'C' in this engine; it can be A or B"),
    (
        HEAD + "findings: {bank_silent: {2: yes}}\n",
        "4:26: '2' is not a bank's letter; write 'bank_silent: {A: present}'",
    ),
    (
        HEAD + "findings: {chuff: {9: present}}\n",
        "4:20: there is no cylinder 9 in this engine; it has cylinders 1 to 8",
    ),
    (HEAD + "findings: {chuff: {A: present}}\n", "4:20: 'A' is not a cylinder's number; write 'chuff: {2: present}'"),
    (HEAD + "findings: {tar: {absent: [1, 2, 1]}}\n", "4:33: '1' stands twice in this list; name each place once"),
    (HEAD + "findings: {tar: {absent: [1, 11]}}\n", "4:30: there is no cylinder 11 in this engine; it has "),
    (HEAD + "findings: {rough_idle: presnt}\n", "4:24: 'presnt' is no answer; did you mean 'present'?"),
    (HEAD + "findings: {rough_idle: true}\n", "4:24: 'true' is no answer; it can be present, absent, not sure, "),
    (HEAD + "findings: {rough_idle: }\n", "4:24: empty is no answer; it can be present, absent"),
    (
        HEAD + "findings: {chuff under loaded: {2: yes}}\n",
        "4:12: there is no condition 'loaded'; did you mean 'load'?",
    ),
    (
        HEAD + "findings: {correction: {2: 1 mg/stroke}}\n",
        "4:12: 'correction' does not belong here; write it under 'readings:'",
    ),
    (HEAD + "findings: rough_idle\n", "4:11: this should hold lines 'name: value', and is 'rough_idle'; write "),
    (
        HEAD + "findings:\n  chuff: {2: present}\n  tar: {1: absent}\ncodes: [P0263]\n",
        None,
    ),
    (
        HEAD + "findings:\n  balance_code: {1: absent}\ncodes: [P0263]\n",
        "6:9: two answers to one question: 'balance_code' of cylinder 1 is 'present' here and 'absent' at line 5, "
        "column 21; keep the one that is true, or write 'not sure'",
    ),
    (
        HEAD + "findings:\n  - chuff under load: {2: a bit}\n  - chuff under load: {2: no}\n",
        "6:27: two answers to one question: 'chuff under load' of cylinder 2 is 'absent' here and 'a bit' at line 5",
    ),
    (
        HEAD + "findings:\n  rough_idle: present\n  rough_idle: absent\n",
        "6:3: the key 'rough_idle' is already at line 5, column 3; keep one of the two",
    ),
    # ---- codes
    (HEAD + "codes: [noise]\n", "4:9: 'noise' is not a fault code; write a code such as P0263"),
    (HEAD + "codes: P0263\n", "4:8: this should be a list, and is 'P0263'; write 'codes: [P0263, P0087]'"),
    (
        HEAD + "codes: [P0290]\n",
        "4:9: P0290 belongs to cylinder 10, and there is no cylinder 10 in this engine; it has ",
    ),
    # ---- readings
    (
        HEAD + "readings: {rail_pressure_cranking: 180}\n",
        "4:36: the reading '180' of 'rail_pressure_cranking' has no unit; write '180 bar', or another unit "
        "where it is one",
    ),
    (HEAD + "readings: {rail_pressure_cranking: 180 V}\n", "4:36: 'V' cannot be turned into 'bar'; it can be bar, "),
    (HEAD + "readings: {rail_pressure_cranking: 180 barr}\n", "4:36: unknown unit 'barr'; did you mean 'bar'?"),
    (
        HEAD + "readings: {rail_pressure_cranking: much}\n",
        "4:36: 'much' is not a number with a unit; write for example",
    ),
    (
        HEAD + "readings: {rail_pressure_cranking: true}\n",
        "4:36: 'true' is not a reading; write a number with its unit",
    ),
    (HEAD + "readings: {rail_pressure_cranking: [180 bar, 9 V]}\n", "4:46: 'V' cannot be turned into 'bar'"),
    (
        HEAD + "readings: {rail_pressure_cranking: 900 MPa}\n",
        "4:36: '900 MPa', which is 9000 bar, is not plausible for 'rail_pressure_cranking'; it lies between "
        "0 and 2000 bar",
    ),
    (
        HEAD + "readings: {rail_pressure_idle: 280 bar}\n",
        "4:32: '280 bar' is not plausible for 'rail_pressure_idle'; it lies between -400 and 200 bar (rail pressure "
        "at idle, actual less specified)",
    ),
    (
        HEAD + "readings: {correction: 2 mg/stroke}\n",
        "4:24: 'correction' is of each cylinder, and says of which; write",
    ),
    (
        HEAD + "readings: {correction: {9: 2 mg/stroke}}\n",
        "4:25: there is no cylinder 9 in this engine; it has cylinders",
    ),
    (
        HEAD + "readings: {rail_presure_cranking: 1 bar}\n",
        "4:12: there is no reading 'rail_presure_cranking'; did you mean 'rail_pressure_cranking'?",
    ),
    (HEAD + "readings: {chuff: {2: 1 bar}}\n", "4:12: 'chuff' does not belong here; write it under 'findings:'"),
    # ---- work
    (HEAD + "history: [{did: resael, cylinder: 2}]\n", "4:17: there is no repair 'resael'; did you mean 'reseal'?"),
    (
        HEAD + "history: [{did: reseal}]\n",
        "4:11: this work is done on a cylinder, and does not say which; add 'cylinder: 3'",
    ),
    (
        HEAD + "history: [reseal]\n",
        "4:11: this work is done on a cylinder, and does not say which; add 'cylinder: 3'",
    ),
    (
        HEAD + "history: [{did: reseal, cylinder: 0}]\n",
        "4:35: there is no cylinder 0 in this engine; it has cylinders 1 to 8",
    ),
    (
        HEAD + "history: [{did: reseal, cylinder: two}]\n",
        "4:35: 'two' is not a cylinder's number; write 'cylinder: 3'",
    ),
    (
        HEAD + "history: [{did: reseal, bank: A, cylinder: 1}]\n",
        "4:25: this work is not done on a bank; write 'cylinder:'",
    ),
    (
        HEAD + "history: [{did: replace_filter, cylinder: 1}]\n",
        "4:33: this work is not done on a cylinder; leave 'cylinder' out",
    ),
    (HEAD + "history: [{cylinder: 1}]\n", "4:11: this does not say what was done; add 'did:' with a repair"),
    (
        HEAD + "history: [3]\n",
        "4:11: this should be work, and is '3'; write '{did: reseal, cylinder: 2, ago: 4 months}'",
    ),
    (
        HEAD + "history: [{did: replace_filter, ago: 4}]\n",
        "4:38: '4' does not say how long ago; write for example '4 months' or '12000 km'",
    ),
    (
        HEAD + "history: [{did: replace_filter, ago: 4 bar}]\n",
        "4:38: 'bar' is no unit of time or distance; write for example",
    ),
    (
        HEAD + "history: [{did: replace_filter, ago: 11 years}]\n",
        "4:38: 132 months ago the vehicle did not exist; it is 10 years old",
    ),
    (
        HEAD + "history: [{did: replace_filter, ago: 4000 days}]\n",
        "4:38: 131 months ago the vehicle did not exist; it is 10 years old",
    ),
    (
        HEAD + "history: [{did: replace_filter, ago: 200001 km}]\n",
        "4:38: 200001 km ago is before the vehicle had run at all; it has run 200000 km",
    ),
    (
        HEAD + "tried: [{did: replace_filter, helped: perhaps}]\n",
        "4:39: 'perhaps' does not say whether it helped; it can be no, same, better, partly, yes, worse, other or ",
    ),
    (
        HEAD + "tried: [{did: replace_filter, together: yes}]\n",
        "4:31: nothing stands above that this could be done together with; leave 'together' out",
    ),
    (
        HEAD + "tried: [{did: reseal, cylinder: 2, but: old washr}]\n",
        "4:41: 'old washr' is nothing that can be left undone at this work; did you mean 'old washer'?",
    ),
    (
        HEAD + "tried: [{did: replace_filter, but: [old washer]}]\n",
        "4:37: 'old washer' is nothing that can be left undone at this work; leave 'but' out",
    ),
    # ---- two injectors swapped
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: 2, with: 9}]\n",
        "4:50: there is no cylinder 9 in this engine; it has cylinders 1 to 8",
    ),
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: 9, with: 2}]\n",
        "4:41: there is no cylinder 9 in this engine; it has cylinders 1 to 8",
    ),
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: 2, with: 2}]\n",
        "4:50: cylinder 2 cannot be exchanged with itself; write for example 'with: 1'",
    ),
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: 2}]\n",
        "4:9: it does not say with which cylinder the exchange was made; write 'with: 1'",
    ),
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: [2, 3, 4]}]\n",
        "4:41: an exchange is made between two cylinders; write 'cylinder: 2, with: 3'",
    ),
    (
        HEAD + "tried: [{did: reseal, cylinder: 2, with: 3}]\n",
        "4:36: 'reseal the injector' moves nothing to another cylinder; leave that out",
    ),
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: [2, 5], fault: movd}]\n",
        "4:56: 'movd' does not say what became of the fault; did you mean 'moved'?",
    ),
    (
        HEAD + "tried: [{did: swap_injectors, cylinder: [2, 5], fault: moved}]\n",
        "4:56: nothing was told by which the fault is known to sit on cylinder 2 or 5; add to 'findings:' by what it",
    ),
    (
        HEAD + "tried: [{did: reseal, cylinder: 2, fault: moved}]\n",
        "4:36: this can be said only of one exchange between two cylinders; write what was found under 'then:'",
    ),
    (HEAD + "tried: [{did: replace_filter, together: maybe}]\n", "4:41: this should be yes or no, and is 'maybe'"),
    (HEAD + "tried: [{did: replace_filter, thn: {}}]\n", "4:31: 'thn' is not known here; did you mean 'then'?"),
    (
        HEAD + "tried: [{did: replace_filter, then: {finding: {}}}]\n",
        "4:38: 'finding' is not known here; did you mean 'findings'?",
    ),
    (
        HEAD + "tried:\n  - {did: replace_filter, helped: no}\n  - {did: replace_glow, helped: yes, together: yes}\n",
        "6:25: work that was done together helped 'no' and 'yes'; it can only be said of all together",
    ),
    (
        HEAD + "tried:\n  - {did: replace_filter, then: {findings: {}}}\n"
        "  - {did: replace_glow, together: yes, then: {codes: []}}\n",
        "6:40: what was found after work that was done together stands once; put it all under one 'then:'",
    ),
    # ---- the rest
    (HEAD + "open: [covers C]\n", "4:8: there is no bank 'C' in this engine; it can be A or B"),
    (HEAD + "open: [cover]\n", "4:8: there is no access 'cover'; did you mean 'covers'?"),
    (
        HEAD + "cannot: [compresion_test]\n",
        "4:10: there is no check 'compresion_test'; did you mean 'compression_test'?",
    ),
    (
        HEAD + "cannot: compression_test\n",
        "4:9: this should be a list, and is 'compression_test'; write 'cannot: [compression_test]'",
    ),
    # ---- files
    ("", "1:1: this file is empty"),
    ("# nothing but a remark\n", "1:1: this file is empty"),
    ("just words\n", "1:1: this file should hold lines of the form 'name: value', and does not"),
    (
        "engine: &a ostrel_4\ntitle: *a\n",
        "1:9: an anchor (&a) is not allowed; write the value out where it is needed",
    ),
    (
        "engine: ostrel_4\n---\nengine: ostrel_4\n",
        "2:1: a second document begins here ('---'); one file holds one document",
    ),
    (
        "engine: ostrel_4\nnote: \x00\n",
        "2:7: this is not a text file: it holds the character U+0000; save it as plain text in UTF-8",
    ),
]


@pytest.mark.parametrize(
    ("text", "complaint"), MISTAKES, ids=[f"{n}: {text[-50:]!r}" for n, (text, _) in enumerate(MISTAKES)]
)
def test_each_mistake_is_told_with_its_place(knowledge: Knowledge, text: str, complaint: str | None) -> None:
    """One mistake, one complaint, at the right place; a good file has none."""
    if complaint is None:
        read_case("case.yaml", knowledge, text)
        return
    with pytest.raises(CaseError) as error:
        read_case("case.yaml", knowledge, text)
    told = [str(problem) for problem in error.value.problems]
    assert len(told) == 1, told
    assert told[0].startswith(f"case.yaml:{complaint}"), told[0]


def test_all_mistakes_are_told_at_once(knowledge: Knowledge) -> None:
    """In the order of the file, also where the engine itself is wrong (then no place is checked against it)."""
    text = """engine: ostrl_4
distance: 187000
findings:
  chufff: {2: present}
  tar: {77: presnt}
readings: {correction: {1: 2}}
tried:
  - {did: resael, cylinder: 2, helped: perhaps}
colour: blue
"""
    with pytest.raises(CaseError) as error:
        read_case("case.yaml", knowledge, text)
    places = [(problem.line, problem.column) for problem in error.value.problems]
    assert places == [(1, 9), (2, 11), (4, 3), (5, 13), (6, 28), (8, 11), (8, 40), (9, 1)]


def test_an_alias_bomb_is_refused_at_once(knowledge: Knowledge) -> None:
    """Nothing is expanded, so that it costs no time."""
    bomb = "a: &a [x, x]\n" + "".join(f"{n}: &{n} [*{chr(ord(n) - 1)}, *{chr(ord(n) - 1)}]\n" for n in "bcdefghijklm")
    start = time.perf_counter()
    with pytest.raises(CaseError, match=r"case.yaml:1:4: an anchor \(&a\) is not allowed"):
        read_case("case.yaml", knowledge, bomb)
    assert time.perf_counter() - start < 1


def test_a_megabyte_of_noise_is_one_complaint(knowledge: Knowledge, tmp_path: Path) -> None:
    """Bytes that are no text, more than the limit, a folder, nothing: one clear message each."""
    noise = bytes(range(256)) * 3900
    for name, content, message in (
        ("noise.yaml", noise, "this is not a text file in UTF-8: it holds the byte 0x80"),
        ("large.yaml", b"a" * 1_000_001, "this file is larger than 1 MB"),
        ("one_line.yaml", b"[" * 900_000, "nested"),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(CaseError, match=message) as error:
            load_case(tmp_path / name, knowledge)
        assert len(error.value.problems) == 1
    with pytest.raises(CaseError, match="this is a folder, not a file"):
        load_case(tmp_path, knowledge)
    with pytest.raises(CaseError, match=r"there is no such file; did you mean 'noise.yaml'\?"):
        load_case(tmp_path / "nose.yaml", knowledge)


def test_an_engine_file_is_checked_like_the_case(knowledge: Knowledge, tmp_path: Path) -> None:
    """Its problems carry its own name, line and column."""
    (tmp_path / "mine.yaml").write_text(
        "engine:\n  name: mine\n  invented: true\n  layout: inline\n  injector: solenoid\n  banks: {A: [1, 2, 4]}\n"
        "  firing_order: [1, 2, 3]\n  access_minutes: {covers: {B: 5}}\n"
    )
    with pytest.raises(CaseError) as error:
        read_case(tmp_path / "case.yaml", knowledge, "engine: mine.yaml\nfindings: {chuff: {2: presnt}}\n")
    told = [str(problem).removeprefix(f"{tmp_path.resolve()}/") for problem in error.value.problems]
    assert told == [
        "case.yaml:2:23: 'presnt' is no answer; did you mean 'present'?",
        "mine.yaml:6:3: the cylinders are numbered 1 to 3, and these are 1, 2, 4",
    ]
    (tmp_path / "odd.yaml").write_text("{}\n")
    with pytest.raises(KnowledgeError, match=r"odd.yaml:1:1: an engine's file holds 'engine:'"):
        read_case(tmp_path / "case.yaml", knowledge, "engine: odd.yaml\n")


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=200) | st.text(alphabet="abc:{}[]-,'\"#&*!|>%@ \n\t012", max_size=200))
def test_any_text_is_a_case_or_a_clear_complaint(knowledge: Knowledge, text: str) -> None:
    """Never another exception, whatever somebody saved."""
    try:
        read_case("case.yaml", knowledge, text)
    except CaseError as error:
        assert error.problems


KEYS = ["title", "distance", "age", "history", "codes", "findings", "readings", "tried", "open", "cannot", "note"]
TREES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-9, 99)
    | st.floats(allow_nan=False)
    | st.sampled_from(
        ["present", "no", "2", "180 bar", "reseal", "4 months", "all", "A", "P0263", "covers A", "words"]
    ),
    lambda inside: (
        st.lists(inside, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["chuff", "rough_idle", "correction", "did", "cylinder", "then", "findings", "present", 2, 99]
            ),
            inside,
            max_size=3,
        )
    ),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), TREES, max_size=4))
def test_any_shape_of_values_is_a_case_or_a_clear_complaint(knowledge: Knowledge, tree: dict[str, object]) -> None:
    """Lists where mappings should be, numbers where text should be: always a complaint with a place."""
    text = "engine: karrick_v6\n" + "".join(f"{key}: {_flow(value)}\n" for key, value in tree.items())
    try:
        read_case("case.yaml", knowledge, text)
    except CaseError as error:
        assert all(problem.line and problem.column for problem in error.problems)


def _flow(value: object) -> str:
    """A value in YAML's one-line form."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(inside)}" for key, inside in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    if value is None or isinstance(value, bool):
        return str(value).lower().replace("none", "null")
    return str(value)
