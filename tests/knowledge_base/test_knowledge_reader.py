"""The reader of placed YAML: what words mean, where things stand, and what is refused."""

from __future__ import annotations

import math
import time
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.basics import CaseError, DiagError, KnowledgeError
from diag.knowledge_base import MOST_BYTES, Tree, read_document
from diag.knowledge_base import reader as reader_module


@pytest.mark.parametrize(
    ("word", "meaning"),
    [
        # YAML 1.2.2, section 10.3.2, tag resolution of the core schema
        ("null", None),
        ("~", None),
        ("", None),
        ("true", True),
        ("False", False),
        ("0", 0),
        ("-19", -19),
        ("012", 12),
        ("0o7", 7),
        ("0x3A", 58),
        ("0.", 0.0),
        ("-0.0", -0.0),
        (".5", 0.5),
        ("+12e03", 12000.0),
        ("-2E+05", -200000.0),
        # what YAML 1.1 read otherwise
        ("no", "no"),
        ("yes", "yes"),
        ("on", "on"),
        ("Off", "Off"),
        ("12:30", "12:30"),
        ("1_000", "1_000"),
        ("2021-03-04", "2021-03-04"),
        # what diag keeps as text on purpose
        (".inf", ".inf"),
        (".nan", ".nan"),
        ("60 %", "60 %"),
        ("-", "-"),
        ("P0263", "P0263"),
        ('"5"', "5"),
        ("'true'", "true"),
        ("9" * 5000, "9" * 5000),
    ],
)
def test_words(word: str, meaning: Tree) -> None:
    """Words mean what YAML 1.2 says."""
    value = read_document("f", f"key: {word}\n" if word != "-" else "key: [-]\n").data["key"]
    value = value[0] if isinstance(value, list) else value
    assert value == meaning
    assert type(value) is type(meaning)
    if isinstance(meaning, float):
        assert isinstance(value, float) and math.copysign(1, value) == math.copysign(1, meaning)


def test_keys_are_text_or_whole_numbers() -> None:
    """A level called `none`, a state called `false`, cylinder 2."""
    data = read_document("f", "none: 1\nfalse: 2\n2: 3\n'7': 4\n1.5: 5\nyes: 6\n").data
    assert data == {"none": 1, "false": 2, 2: 3, "7": 4, "1.5": 5, "yes": 6}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "f:1:1: this file is empty"),
        ("# nothing\n\n", "f:1:1: this file is empty"),
        ("- 1\n- 2\n", "f:1:1: this file should hold lines of the form 'name: value', and does not"),
        ("only words\n", "f:1:1: this file should hold lines of the form 'name: value', and does not"),
        ("a: 1\nb:\n  c: 2\n  c: 3\n", "f:4:3: the key 'c' is already at line 3, column 3; keep one of the two"),
        ("{2: a, '2': b}\n", "f:1:8: the key '2' is already at line 1, column 2; keep one of the two"),
        ("{'2': a, 2: b}\n", "f:1:10: the key '2' is already at line 1, column 2; keep one of the two"),
        ("a: &x 1\n", "f:1:4: an anchor (&x) is not allowed; write the value out where it is needed"),
        ("a: *x\n", "f:1:4: an alias (*x) is not allowed; write the value out again"),
        ("a: !!int 1\n", "f:1:4: a tag (!!int) is not allowed; leave it out; text goes in quotes"),
        ("a: !!python/object:os.system x\n", "f:1:4: a tag (!!python/object:os.system) is not allowed"),
        ("<<: {a: 1}\n", "f:1:1: a merge key (<<) is not allowed; write the keys out"),
        ("a: 1\n---\nb: 2\n", "f:2:1: a second document begins here ('---'); one file holds one document"),
        ("? [a, b]\n: 1\n", "f:1:3: a key is one word or whole number, not a list or mapping"),
        ("a: {b: 1, ? }\n", "f:1:13: a key is missing before this ':'; write 'name: value'"),
        ("a: b: c\n", "f:1:5: a ':' cannot stand here; put text that holds ': ' in quotes"),
        ("a:\n\tb: 1\n", "f:2:1: a tab stands where only spaces may stand; indent with spaces"),
        ("a: @x\n", "f:1:4: this character cannot begin a value; put the text in quotes"),
        ("a: 'x\nb: 2\n", "f:1:4: a quote is opened and never closed; close it with the same quote"),
        ("a: [1, 2\nb: 3\n", "f:2:2: a list in [ ] is not closed, or a comma is missing"),
        ("a: {x: 1\nb: 3\n", "f:2:2: a mapping in { } is not closed, or a comma is missing"),
        ('a: "\\q"\n', "f:1:4: this backslash means nothing; use single quotes, or two backslashes"),
        ("a:\n  - 1\n b: 2\n", "f:3:2: this line is not indented like the lines around it"),
        ("a: - 1\n", "f:1:4: a '- ' cannot stand here; begin the list on a line of its own"),
        ("a: 1\nb: \x00\n", "f:2:4: this is not a text file: it holds the character U+0000"),
        ("a: \ud800\n", "f:1:4: this is not a text file: it holds the character U+D800"),
        ("a: " + "[" * 90, "f:1:43: this is nested more than 40 deep"),
        ("a: " + "[" * 5000, "f:1:1003: this is nested too deeply"),
        ("a: 1\n" + "# x\n" * 250_000, "f: this file is larger than 1 MB; divide it into smaller files"),
    ],
)
def test_refused(text: str, told: str) -> None:
    """One clear sentence with its place."""
    with pytest.raises(KnowledgeError) as caught:
        read_document("f", text)
    assert str(caught.value).startswith(told)
    assert len(caught.value.problems) == 1


def test_all_equal_keys_are_told_at_once() -> None:
    """Nobody mends a file one error at a time."""
    with pytest.raises(CaseError) as caught:
        read_document("f", "a: 1\na: 2\nb: {c: 1, c: 2}\na: 3\n", error=CaseError)
    assert [(problem.line, problem.column) for problem in caught.value.problems] == [(2, 1), (3, 11), (4, 1)]


def test_an_alias_bomb_is_refused_before_it_goes_off() -> None:
    """Nine levels of nine aliases would be four hundred million values."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 10)]
    start = time.perf_counter()
    with pytest.raises(KnowledgeError, match=r"f:1:5: an anchor \(&a0\) is not allowed"):
        read_document("f", "\n".join(lines))
    assert time.perf_counter() - start < 2


def _file(folder: Path, raw: bytes) -> Path:
    path = folder / "f.yaml"
    path.write_bytes(raw)
    return path


def test_files_that_are_not_text(tmp_path: Path) -> None:
    """Bytes that are no UTF-8, with their place; noise; and too much of it."""
    with pytest.raises(KnowledgeError, match=r"f.yaml:2:4: this is not a text file in UTF-8: it holds the byte 0xFF"):
        read_document(_file(tmp_path, b"a: 1\nb: \xff\n"))
    noise = bytes((i * 7919 + i // 256) % 256 for i in range(1_000_000))
    with pytest.raises(KnowledgeError) as caught:
        read_document(_file(tmp_path, noise))
    assert len(caught.value.problems) == 1 and "not a text file" in str(caught.value)
    with pytest.raises(KnowledgeError, match="larger than 1 MB"):
        read_document(_file(tmp_path, b"x" * (MOST_BYTES + 1)))


def test_a_byte_order_mark_is_no_part_of_the_first_key(tmp_path: Path) -> None:
    """As some editors write it."""
    assert read_document(_file(tmp_path, b"\xef\xbb\xbfa: 1\n")).data == {"a": 1}


def test_files_that_are_not_there(tmp_path: Path) -> None:
    """No such file, with the nearest name; a folder."""
    (tmp_path / "prices.yaml").write_text("a: 1")
    with pytest.raises(KnowledgeError, match=r"there is no such file; did you mean 'prices.yaml'\?"):
        read_document(tmp_path / "price.yaml")
    with pytest.raises(KnowledgeError, match="this is a folder, not a file"):
        read_document(tmp_path)
    with pytest.raises(KnowledgeError, match="cannot be read"):
        read_document("nul\0name")


def test_places_of_values_keys_and_what_is_missing() -> None:
    """The place of a value, of its key, and for what is not there the nearest thing around it."""
    document = read_document("f", "findings:\n  chuff: {2: present, 3: absent}\n  list:\n  - x\n  - y\n")
    assert document.place(("findings", "chuff", 3)) == (2, 26)
    assert document.place(("findings", "chuff", 3), of_key=True) == (2, 23)
    assert document.place(("findings", "list", 1)) == (5, 5)
    assert document.place(("findings", "chuff", 9, "deeper")) == (2, 10)
    assert str(document.problem(("findings", "chuff"), "no", "yes", of_key=True)) == "f:2:3: no; yes"


@settings(deadline=None)
@given(st.text(max_size=200))
def test_no_text_crashes_the_reader(text: str) -> None:
    """Either data, or one of diag's own errors with problems in that file."""
    try:
        document = read_document("f", text)
    except KnowledgeError as error:
        assert error.problems and all(problem.file == "f" for problem in error.problems)
    else:
        assert isinstance(document.data, dict)


@settings(deadline=None)
@given(st.text(alphabet="ab:,[]{}-'\"#&*!|>%@? \n\t0.", max_size=60))
def test_no_punctuation_crashes_the_reader(text: str) -> None:
    """The same with the characters that mean something to YAML."""
    try:
        read_document("f", text)
    except DiagError as error:
        assert str(error)


_WORDS = st.text(alphabet="abcdefgh", min_size=1, max_size=5)
_TREES = st.recursive(
    _WORDS,
    lambda inside: st.lists(inside, max_size=4) | st.dictionaries(_WORDS, inside, max_size=4),
    max_leaves=20,
)


@settings(deadline=None)
@given(st.dictionaries(_WORDS, _TREES, min_size=1, max_size=5), st.booleans())
def test_data_and_places_agree_with_pyyaml(tree: dict[str, Tree], flow: bool) -> None:
    """Against PyYAML's own loader for the data and its node marks for the places."""
    text = yaml.safe_dump(tree, default_flow_style=flow, sort_keys=False)
    document = read_document("f", text)
    assert document.data == yaml.load(text, Loader=yaml.BaseLoader)

    def compare(node: yaml.Node, path: tuple[int | str, ...]) -> None:
        assert document.place(path) == (node.start_mark.line + 1, node.start_mark.column + 1)
        if isinstance(node, yaml.MappingNode):
            for key, value in node.value:
                at = (key.start_mark.line + 1, key.start_mark.column + 1)
                assert document.place((*path, key.value), of_key=True) == at
                compare(value, (*path, key.value))
        elif isinstance(node, yaml.SequenceNode):
            for index, value in enumerate(node.value):
                compare(value, (*path, index))

    root = yaml.compose(text, Loader=yaml.BaseLoader)
    assert root is not None
    compare(root, ())


@pytest.mark.parametrize(
    "text", ["a: {b: [1, no, {c: ~}]}\nd: 'x'\n", "a: |\n  two\n  lines\nb: >-\n  folded\n  text\n"]
)
def test_the_parser_without_c_reads_the_same(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where libyaml is missing the slower parser gives the same data and places."""
    fast = read_document("f", text)
    monkeypatch.setattr(reader_module, "_LOADER", yaml.BaseLoader)
    slow = read_document("f", text)
    assert (slow.data, slow.place(("a", "b", 1))) == (fast.data, fast.place(("a", "b", 1)))


@pytest.mark.parametrize("odd", ["\u2028", "\u2029", "\x85"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_sign_that_no_editor_takes_for_the_end_of_a_line_shifts_no_place(odd: str, end: str) -> None:
    """Such signs come along where text is pasted from a page; the parser counts them as lines."""
    text = f"a: {{note: 'one{odd}two', b: 1}}{end}c: 1{end}c: 2{end}"
    with pytest.raises(KnowledgeError) as raised:
        read_document("pasted.yaml", text)
    problem = raised.value.problems[0]
    assert (problem.line, problem.column) == (3, 1)
    assert "line 2, column 1" in problem.message
    spot = read_document("pasted.yaml", text.replace("c: 2", "d: 2")).place(("a", "b"))
    assert spot == (1, text.index("b: 1") + 4)
    with pytest.raises(KnowledgeError) as raised:
        read_document("pasted.yaml", f"a: 'one{odd}two'{end}\tb: 1{end}")
    assert (raised.value.problems[0].line, raised.value.problems[0].column) == (2, 1)
