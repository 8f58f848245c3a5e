"""Opens a table, CSV or Parquet, and hands its rows on a chunk at a time; never more than a chunk is held.

May import: logs, basics, pyarrow.
"""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from io import StringIO
from itertools import chain
from pathlib import Path
from typing import TypeAlias

from diag.basics import CaseError, Problem, counted
from diag.logs import encoding_of

__all__ = ["Cell", "Chunk", "Table", "digest_of", "open_table"]

Cell: TypeAlias = "str | int | float | bool | list[str] | None"
LONGEST_CELL = 1 << 20
csv.field_size_limit(LONGEST_CELL)
DELIMITERS = ",;\t|"
BLOCK = 1 << 20


@dataclass(frozen=True)
class Chunk:
    """Some rows in their order: `first` counts from 1, `rows[row][column]`. A row that could not be divided into cells
    is text: what is wrong with it."""

    number: int
    first: int
    rows: list[list[Cell] | str]


@dataclass(frozen=True)
class Table:
    """An open table: the heads of its columns, how many rows it has where that is known, and the rows; `encoding` of
    its text (empty: it has none)."""

    heads: tuple[str, ...]
    count: int | None
    rows: Iterator[list[Cell] | str]
    encoding: str = ""

    def chunks(self, size: int) -> Iterator[Chunk]:
        """The rows, `size` at a time."""
        number, first, held = 0, 1, []
        for row in self.rows:
            held.append(row)
            if len(held) == size:
                yield Chunk(number, first, held)
                number, first, held = number + 1, first + size, []
        if held:
            yield Chunk(number, first, held)


def digest_of(path: Path) -> str:
    """SHA-256 of the file, by which a run knows that it goes on with the same table."""
    known = sha256()
    with path.open("rb") as stream:
        while block := stream.read(BLOCK):
            known.update(block)
    return known.hexdigest()


@contextmanager
def open_table(path: Path, delimiter: str, encoding: str) -> Iterator[Table]:
    """Open a table by the ending of its name; `delimiter` and `encoding` of a text, where they are named. Raises
    CaseError where it cannot be read."""
    try:
        with _parquet(path) if path.suffix.lower() == ".parquet" else _text(path, delimiter, encoding) as table:
            yield table
    except (OSError, UnicodeError) as cause:
        reason = cause.strerror if isinstance(cause, OSError) and cause.strerror else str(cause)
        raise CaseError([Problem(str(path), 0, 0, f"this table cannot be read: {reason}")]) from None


@contextmanager
def _text(path: Path, delimiter: str, encoding: str) -> Iterator[Table]:
    encoding = encoding or _encoding(path)
    with path.open(encoding=encoding, errors="surrogateescape", newline="") as stream:
        head = stream.readline()
        while head.count('"') % 2 and len(head) < LONGEST_CELL and (more := stream.readline()):
            head += more  # a line break within the quotes of a head
        if not head.strip():
            message, hint = "this table is empty", "its first line holds the heads of the columns"
            raise CaseError([Problem(str(path), 1, 1, message, hint)])
        found = delimiter or max(DELIMITERS, key=head.count)
        rows = _rows(path, chain(StringIO(head, newline=""), stream), found)
        heads = next(rows)
        yield Table(tuple(head.strip() for head in heads), None, _of_width(rows, len(heads)), encoding)


def _encoding(path: Path) -> str:
    """By the mark at the beginning or by zero bytes, else UTF-8; Windows-1252 where the first letter that is not ASCII
    is none of UTF-8. A single damaged letter further on does not make a text another one."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as stream:
        block = stream.read(BLOCK)
        marked = encoding_of(block)
        if marked not in ("utf-8", "cp1252"):
            return marked
        while block:
            try:
                if not decoder.decode(block).isascii():
                    break
            except UnicodeDecodeError as error:
                if error.object[: error.start].isascii():
                    return "cp1252"
                break
            block = stream.read(BLOCK)
    return "utf-8-sig"


def _of_width(rows: Iterator[list[str]], columns: int) -> Iterator[list[Cell] | str]:
    for cells in rows:
        if len(cells) == columns:
            yield [*cells]
        else:
            yield f"the row has {counted(len(cells)):cell|cells}, and the table has {counted(columns):column|columns}"


def _rows(path: Path, lines: Iterable[str], delimiter: str) -> Iterator[list[str]]:
    """The cells of each row that is not empty. Raises CaseError at the line where a row begins that has no end."""
    reader, begins = csv.reader(lines, delimiter=delimiter, strict=True), 1
    try:
        for cells in reader:
            begins = reader.line_num + 1
            if cells:
                yield cells
    except csv.Error as cause:
        message = f"the table cannot be read on from here: {cause}"
        raise CaseError([Problem(str(path), begins, 1, message, "mend the quotes of this row")]) from None


@contextmanager
def _parquet(path: Path) -> Iterator[Table]:
    import pyarrow
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(path)
    except pyarrow.ArrowException as cause:
        raise CaseError([Problem(str(path), 0, 0, f"this is no Parquet file: {cause}")]) from None
    with file:
        yield Table(tuple(file.schema_arrow.names), file.metadata.num_rows, _records(path, file))


def _records(path: Path, file: object) -> Iterator[list[Cell] | str]:
    """Row after row of a Parquet file, a small batch at a time whatever the size of its row groups."""
    import pyarrow

    row = 0
    try:
        for batch in file.iter_batches(batch_size=4096):  # type: ignore[attr-defined]
            columns = [column.to_pylist() for column in batch.columns]
            for cells in zip(*columns, strict=True):
                row += 1
                yield [*cells]
    except (pyarrow.ArrowException, ValueError, OverflowError) as cause:
        reason = " ".join(str(cause).split())[:200]
        message = f"this Parquet file is damaged from row {row + 1} on: {reason}"
        raise CaseError([Problem(str(path), 0, 0, message, "write it again")]) from None
