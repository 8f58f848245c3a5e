"""Joins rows and results to the output, the rows in their order, and writes the side file of what was left out.

May import: basics, pyarrow, and the modules of this room below it.
"""

from __future__ import annotations

import csv
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from diag.basics import written_whole
from diag.batch.journal import Journal
from diag.batch.lots import Lots
from diag.batch.results import REASON
from diag.batch.working import ReadChunk

if TYPE_CHECKING:
    import pyarrow

__all__ = ["Joined", "join"]

LOTS_HELD = 512  # results of lots that stay in memory while rows are joined
SIDE_HEAD = ("row", "case", "column", "reason")


class Joined:
    """How many rows came out and how many were left out."""

    def __init__(self) -> None:
        self.rows = self.left_out = self.contradicting = 0


def join(
    journal: Journal,
    chunks: Iterable[ReadChunk],
    lots: Lots,
    schema: pyarrow.Schema,
    outs: Iterable[Path],
    side: Path,
    told: Callable[[int], None],
) -> Joined:
    """Write the outputs (by the endings of their names) and the side file, each whole or not at all.

    `told(rows)` is called as rows are done."""
    joined = Joined()
    results = _Results(journal)
    with ExitStack() as stack:
        writers = [stack.enter_context(_writer(out, schema)) for out in outs]
        beside = stack.enter_context(_side(side))
        for chunk in chunks:
            table, bad = _rows(chunk, lots, results, schema)
            if table.num_rows:
                for write in writers:
                    write(table)
            beside(bad)
            joined.rows += table.num_rows
            joined.left_out += len(bad)
            joined.contradicting += sum(1 for each in table["contradicts"].to_pylist() if each)
            told(table.num_rows + len(bad))
    return joined


class _Results:
    """The results of lots, read when they are needed, the last ones kept."""

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self.held: OrderedDict[int, pyarrow.Table] = OrderedDict()

    def of(self, lot: int) -> pyarrow.Table:
        import pyarrow

        if lot not in self.held:
            self.held[lot] = pyarrow.ipc.open_file(self.journal.read("lot", lot)).read_all()
            if len(self.held) > LOTS_HELD:
                self.held.popitem(last=False)
        self.held.move_to_end(lot)
        return self.held[lot]


def _rows(
    chunk: ReadChunk, lots: Lots, results: _Results, schema: pyarrow.Schema
) -> tuple[pyarrow.Table, list[tuple[int, str, str, str]]]:
    """The rows of a chunk with their results, and those that were left out."""
    import pyarrow

    by_lot: dict[int, list[int]] = {}
    places = [lots.place(digest) for _, _, digest in chunk.good]
    for number, (lot, _) in enumerate(places):
        by_lot.setdefault(lot, []).append(number)
    order = [number for numbers in by_lot.values() for number in numbers]
    if not order:
        return schema.empty_table(), list(chunk.bad)
    taken = [results.of(lot).take([places[number][1] for number in numbers]) for lot, numbers in by_lot.items()]
    back = sorted(range(len(order)), key=order.__getitem__)
    found = pyarrow.concat_tables(taken).take(back)
    found = found.append_column("row", pyarrow.array([row for row, _, _ in chunk.good], pyarrow.int64()))
    found = found.append_column("case", pyarrow.array([name for _, name, _ in chunk.good], pyarrow.string()))
    reasons = found[REASON].to_pylist()
    bad = [
        (row, name, "", reason)
        for (row, name, _), reason in zip(chunk.good, reasons, strict=True)
        if reason is not None
    ]
    good = found.filter(pyarrow.compute.is_null(found[REASON])).select(schema.names).combine_chunks()
    return good.cast(schema), sorted([*chunk.bad, *bad])


@contextmanager
def _writer(out: Path, schema: pyarrow.Schema) -> Iterator[Callable[[pyarrow.Table], None]]:
    from pyarrow import csv as arrow_csv
    from pyarrow import parquet

    with written_whole(out) as path:
        if out.suffix.lower() == ".parquet":
            with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
                yield writer.write_table
        else:
            with arrow_csv.CSVWriter(path, schema) as writer:
                yield writer.write_table


@contextmanager
def _side(path: Path) -> Iterator[Callable[[Iterable[tuple[int, str, str, str]]], None]]:
    with written_whole(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        lines = csv.writer(stream, lineterminator="\n")
        lines.writerow(SIDE_HEAD)
        yield lines.writerows
