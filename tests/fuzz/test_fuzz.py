"""Hostile input to every reader: a few seconds here, as long as wanted by `python -m tests.fuzz --executions N`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.readers import READERS, reader_named
from tests.fuzz.running import fuzz, input_of
from tests.support.effort import LONG

SLOW = ("knowledge", "overlay", "export", "log", "web request")
FOUND: tuple[tuple[str, bytes], ...] = (
    ("export", b"customers.csv\nuid,name,plate\nu1,\x8c,x\n"),
    ("export", b"journal.jsonl\n" + b"[" * 100_000),
    ("export", b'likeness.jsonl\n{"case": "u", "chances": {"a": ' + b"9" * 5000 + b"}}\n"),
    ("export", b'likeness.jsonl\n{"case": "u", "chances": {"\\ud800": {"a": 0.5}}}\n'),
    ("backup", b"PK\x03\x04 not a zip"),
    ("practice journal", b'{"form": ' + b"9" * 5000 + b"}"),
    ("practice journal", b"[" * 100_000),
    ("table", b"engine,tar " + b"9" * 5000 + b"\nostrel_4,present\n"),
)
"""What once broke a reader, made short."""


@pytest.mark.parametrize("name", READERS)
def test_spoilt_input_is_read_or_refused_in_plain_words(name: str) -> None:
    executions = 25 if name in SLOW else 60
    found = fuzz(name, executions * 20 if LONG else executions)
    assert sum(found.became.values()) == (executions * 20 if LONG else executions)
    assert not found.crashes, "\n\n".join(crash.trace for crash in found.crashes.values())
    assert found.became["refused"], "nothing was spoilt enough to be refused"


@pytest.mark.parametrize(("name", "content"), FOUND, ids=range(len(FOUND)))
def test_what_once_broke_a_reader_is_refused(name: str, content: bytes, tmp_path: Path) -> None:
    with reader_named(name, tmp_path) as reader:
        assert reader.take(content) == "refused"


def test_an_input_is_known_by_its_number() -> None:
    """So that what broke a reader can be had again; and inputs differ."""
    corpus, words = (b"name: value\nother: 2\n",), (b"word",)
    made = [input_of("case", 1, number, corpus, words) for number in range(40)]
    assert made == [input_of("case", 1, number, corpus, words) for number in range(40)]
    assert len(set(made)) > 30
