"""What one hand does: read a chunk of rows, or work out a lot of cases. Plain functions of packed data, so that they
can be sent to another process or machine; what they give depends on that data alone.

May import: network, crew, knowledge_base, casebook, basics, pyarrow, and the modules of this room below it.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from diag.batch.columns import Column
from diag.batch.results import Line, decided, result_schema, weighed_alone, weighed_together
from diag.batch.rows import BadRow, RowReader, case_from_text, case_text, evidence_digest
from diag.batch.sources import Cell, Chunk
from diag.casebook import Case
from diag.crew import ONE_AT_A_TIME, unpacked
from diag.knowledge_base import Knowledge
from diag.network import sort_of

__all__ = ["Lot", "ReadChunk", "Setting", "read_chunk", "work_lot"]

ALONE = "alone"
AT_ONCE = 64  # cases of a lot weighed at once: as quick as all of them, in less than half the memory
MOST_REMEMBERED = 20_000  # different rows that a hand remembers


@dataclass(frozen=True)
class Setting:
    """What every hand must know."""

    knowledge: Knowledge
    columns: tuple[Column, ...]
    engine: str
    decimal: str
    answers: dict[str, str]
    only_weigh: bool


@dataclass(frozen=True)
class Lot:
    """Distinct cases to work out together, as text; all of one sort."""

    number: int
    sort: str
    cases: tuple[str, ...]


@dataclass(frozen=True)
class ReadChunk:
    """What became of the rows of a chunk: `good` holds (row, case's name, digest), `bad` (row, name, column, reason),
    `cases[digest]` the sort and the text of each distinct case."""

    good: list[tuple[int, str, str]]
    bad: list[tuple[int, str, str, str]]
    cases: dict[str, tuple[str, str]]

    def packed(self) -> bytes:
        """As bytes for a file."""
        return zlib.compress(json.dumps([self.good, self.bad, self.cases]).encode("utf-8"), 1)

    @staticmethod
    def unpacked(content: bytes) -> ReadChunk:
        """From such bytes."""
        good, bad, cases = json.loads(zlib.decompress(content))
        return ReadChunk([tuple(each) for each in good], [tuple(each) for each in bad], cases)


def _setting(packed: bytes) -> Setting:
    setting = unpacked(packed)
    assert isinstance(setting, Setting)
    return setting


def read_chunk(packed: bytes, chunk: Chunk) -> bytes:
    """Read the rows of a chunk; a `ReadChunk`, packed."""
    with ONE_AT_A_TIME:
        rows = _rows(packed)
        result = ReadChunk([], [], {})
        for row, cells in enumerate(chunk.rows, start=chunk.first):
            read = BadRow("", cells) if isinstance(cells, str) else rows.read(cells)
            name = "" if isinstance(cells, str) else rows.reader.name_of(cells)
            if isinstance(read, BadRow):
                result.bad.append((row, name, read.column, read.reason))
                continue
            result.good.append((row, name, read.digest))
            result.cases.setdefault(read.digest, (read.sort, read.text))
        return result.packed()


@dataclass(frozen=True)
class _Read:
    """A row's case as text, its name among all, and its sort."""

    text: str
    digest: str
    sort: str


class _Rows:
    """Reads rows, each different one once as long as it is remembered."""

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self.reader = RowReader(setting.knowledge, setting.columns, setting.engine, setting.decimal, setting.answers)
        self.known: dict[str, _Read | BadRow] = {}

    def read(self, cells: Sequence[Cell]) -> _Read | BadRow:
        """What a row tells, but for its name."""
        told = repr(self.reader.told(cells))
        if told not in self.known:
            if len(self.known) >= MOST_REMEMBERED:
                self.known.clear()
            self.known[told] = self._made(cells)
        return self.known[told]

    def _made(self, cells: Sequence[Cell]) -> _Read | BadRow:
        case = self.reader.read(cells)
        if isinstance(case, BadRow):
            return case
        text = case_text(case)
        return _Read(text, evidence_digest(text), _sort(self.setting, case))


@lru_cache(maxsize=2)
def _rows(packed: bytes) -> _Rows:
    return _Rows(_setting(packed))


def _sort(setting: Setting, case: Case) -> str:
    sort = sort_of(setting.knowledge, case) if setting.only_weigh else None
    return ALONE if sort is None else repr(sort)


def work_lot(packed: bytes, lot: Lot) -> bytes:
    """Work out a lot; a table of results in the order of its cases, as an Arrow file."""
    with ONE_AT_A_TIME:
        setting = _setting(packed)
        cases = [case_from_text(text, setting.knowledge) for text in lot.cases]
        if not setting.only_weigh:
            lines = [decided(setting.knowledge, case) for case in cases]
        elif lot.sort == ALONE:
            lines = [weighed_alone(setting.knowledge, case) for case in cases]
        else:
            pieces = [cases[first : first + AT_ONCE] for first in range(0, len(cases), AT_ONCE)]
            lines = [line for piece in pieces for line in weighed_together(setting.knowledge, piece)]
        return _as_file(setting, lines)


def _as_file(setting: Setting, lines: Sequence[Line]) -> bytes:
    import pyarrow

    schema = result_schema(setting.knowledge, setting.only_weigh)
    table = pyarrow.Table.from_pylist([*lines], schema=schema)
    sink = pyarrow.BufferOutputStream()
    with pyarrow.ipc.new_file(sink, schema) as writer:
        writer.write_table(table)
    return bytes(sink.getvalue())
