"""A table from end to end: its rows are read, distinct cases worked out, and both joined to the output.

Each step is done by many hands and kept in the journal, so that a run that was stopped goes on where it was; what comes
out depends on table, mapping, knowledge and program alone. May import: crew, knowledge_base, basics, and this room.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from glob import escape
from hashlib import sha256
from pathlib import Path

import diag
from diag.basics import UsageError, fingerprint
from diag.batch.columns import Column, columns_of
from diag.batch.joining import join
from diag.batch.journal import Journal, open_journal
from diag.batch.lots import Lots
from diag.batch.mapping import TableMap
from diag.batch.results import output_schema
from diag.batch.sources import Chunk, digest_of, open_table
from diag.batch.working import Lot, ReadChunk, Setting, read_chunk, work_lot
from diag.crew import Crew, crew_of, default_processes
from diag.knowledge_base import Knowledge

__all__ = ["Progress", "Run", "TableResult", "run_table"]

CHUNK = 8192  # rows read at a time
Progress = Callable[[str, int, "int | None"], None]


@dataclass(frozen=True)
class Run:
    """What to do: `only_weigh`: no decision. `processes` (0: all cores), or a Dask `cluster` by its address.
    `anew`: forget a run that was stopped, and write over an output that is there."""

    table: Path
    out: Path
    knowledge: Knowledge
    mapping: TableMap = field(default_factory=TableMap)
    csv: Path | None = None
    only_weigh: bool = False
    processes: int = 0
    cluster: str = ""
    anew: bool = False
    chunk: int = CHUNK

    @property
    def side(self) -> Path:
        """The file of rows that were left out."""
        return self.out.with_name(f"{self.out.stem}.left_out.csv")


@dataclass(frozen=True)
class TableResult:
    """`rows` came out, `left_out` are in the `side` file; `distinct` cases were worked out for them; `contradicting`
    rows have findings that contradict each other; `encoding` in which the text was read (empty: it is none)."""

    rows: int
    left_out: int
    distinct: int
    contradicting: int
    outs: tuple[Path, ...]
    side: Path
    encoding: str


def run_table(run: Run, told: Progress = lambda step, done, of: None) -> TableResult:
    """Do it. `told(step, done, of)` is called as work comes in, the steps being 'read', 'work' and 'join'.

    Raises CaseError for a table or mapping that cannot be used, UsageError for files that are in the way.
    """
    outs = (run.out, *([run.csv] if run.csv is not None else []))
    _check(run, outs)
    with open_table(run.table, run.mapping.delimiter, run.mapping.encoding) as table:
        columns = columns_of(table.heads, str(run.table), run.knowledge, run.mapping)
        count, encoding = table.count, table.encoding
    setting = _packed(run, columns)
    with open_journal((*outs, run.side), _plan(run, setting), run.anew) as journal:
        _sweep((*outs, run.side))
        lots = Lots()
        with crew_of(setting, run.processes or default_processes(), run.cluster) as crew:
            chunks = _read(run, journal, crew, count, told)
            _work(journal, crew, chunks, lots, told)
        schema = output_schema(run.knowledge, run.only_weigh)
        rows = _counted("join", None, told)
        joined = join(journal, _chunks(journal, chunks), lots, schema, outs, run.side, rows)
        journal.remove()
    return TableResult(joined.rows, joined.left_out, len(lots.where), joined.contradicting, outs, run.side, encoding)


def _check(run: Run, outs: tuple[Path, ...]) -> None:
    for out in outs:
        if out.suffix.lower() not in (".parquet", ".csv"):
            raise UsageError(f"the output is a table, and {out.name} does not end in .parquet or .csv")
        if out.resolve() == run.table.resolve():
            raise UsageError(f"{out} is the table itself; choose another name for the output")
    if len({out.resolve() for out in outs}) < len(outs):
        raise UsageError(f"{outs[0]} is named twice; choose another name for one of them")


def _sweep(outs: tuple[Path, ...]) -> None:
    """Remove what a run that was killed while it joined left half-written."""
    for out in outs:
        for left in out.parent.glob(f".{escape(out.name)}.*.part"):
            left.unlink(missing_ok=True)


def _packed(run: Run, columns: tuple[Column, ...]) -> bytes:
    mapping = run.mapping
    setting = Setting(run.knowledge, columns, mapping.engine, mapping.decimal, dict(mapping.answers), run.only_weigh)
    return pickle.dumps(setting, pickle.HIGHEST_PROTOCOL)


def _plan(run: Run, setting: bytes) -> dict[str, str]:
    """What a run that goes on must agree in with the one that was stopped."""
    home = Path(diag.__file__).parent
    rooms = sorted(folder for folder in home.iterdir() if folder.is_dir())
    mapping = run.mapping
    text = (mapping.encoding, mapping.delimiter, mapping.decimal)
    said = repr((pickle.loads(setting).columns, mapping.engine, text, mapping.answers))
    return {
        "the table": digest_of(run.table),
        "the mapping": sha256(said.encode()).hexdigest(),
        "the knowledge": sha256(run.knowledge.model_dump_json().encode()).hexdigest(),
        "the program": sha256("".join(fingerprint((), room) for room in rooms).encode()).hexdigest(),
        "what was asked": repr((run.only_weigh, run.chunk)),
    }


def _read(run: Run, journal: Journal, crew: Crew, count: int | None, told: Progress) -> int:
    """Read all chunks that are not read yet; how many there are."""
    number = 0
    rows = _counted("read", count, told)

    def unread(chunks: Iterator[Chunk]) -> Iterator[Chunk]:
        nonlocal number
        for chunk in chunks:
            number = chunk.number + 1
            if journal.has("read", chunk.number):
                rows(len(chunk.rows))
            else:
                yield chunk

    with open_table(run.table, run.mapping.delimiter, run.mapping.encoding) as table:
        for chunk, result in crew.each(read_chunk, unread(table.chunks(run.chunk))):
            journal.keep("read", chunk.number, result)
            rows(len(chunk.rows))
    return number


def _chunks(journal: Journal, count: int) -> Iterator[ReadChunk]:
    return (ReadChunk.unpacked(journal.read("read", number)) for number in range(count))


def _work(journal: Journal, crew: Crew, chunks: int, lots: Lots, told: Progress) -> None:
    """Work out all lots that are not worked out yet."""
    distinct = len({digest for chunk in _chunks(journal, chunks) for digest in chunk.cases})
    cases = _counted("work", distinct, told)

    def undone() -> Iterator[Lot]:
        for lot in lots.of(_chunks(journal, chunks)):
            if journal.has("lot", lot.number):
                cases(len(lot.cases))
            else:
                yield lot

    for lot, result in crew.each(work_lot, undone()):
        journal.keep("lot", lot.number, result)
        cases(len(lot.cases))


def _counted(step: str, of: int | None, told: Progress) -> Callable[[int], None]:
    """Counts what is done of a step."""
    done = 0

    def more(some: int) -> None:
        nonlocal done
        done += some
        told(step, done, of)

    told(step, 0, of)
    return more
