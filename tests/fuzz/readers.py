"""Every reader of what comes from outside, with good inputs of its kind and the words that it knows.

A reader takes bytes and says whether they were 'read' or 'refused'; refused is one of the errors that are meant for
people (`DiagError`), or an answer below 500 of the page. Anything else that comes out is a fault of diag.
May import: `diag`, starlette's test client, `tests.support` and the helpers of other rooms' tests.
"""

from __future__ import annotations

import io
import re
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.basics import DiagError
from diag.batch import TableMap, read_table_mapping
from diag.batch.columns import columns_of
from diag.batch.running import Run, _packed
from diag.batch.sources import open_table
from diag.batch.working import ReadChunk, read_chunk
from diag.casebook import CONDITIONS, demo_studies, dump_case, load_study, read_case
from diag.knowledge_base import Knowledge, load_knowledge, load_language, read_engine, shipped_folder
from diag.logs import mapping_text, read_log, read_mapping
from diag.store import (
    Closed,
    Customer,
    Draft,
    Fitted,
    Found,
    Likeness,
    Outcome,
    Remark,
    append,
    attach,
    back_up,
    export_book,
    import_book,
    keep,
    open_book,
    opening,
    restore,
)
from diag.training import Journal, load_journal, save_journal, start, studies, study_named
from tests.batch.tables import HEADS, invented
from tests.knowledge_base.conftest import SMALL, write_small
from tests.logs.simulated import State, simulate, written
from tests.support.cases import every_case
from tests.web.served import HOST, Browser, served

__all__ = ["READERS", "Reader", "reader_named"]

READ, REFUSED = "read", "refused"
LONGEST_ADDRESS = 60_000  # characters; the client that asks refuses to send more than 65,536


@dataclass(frozen=True)
class Reader:
    """A reader at work: good inputs, words it knows, and what becomes of an input."""

    corpus: tuple[bytes, ...]
    words: tuple[bytes, ...]
    take: Callable[[bytes], str]


def _told(call: Callable[[], object]) -> str:
    try:
        call()
    except DiagError as error:
        if not str(error).strip():
            raise AssertionError(f"{type(error).__name__} says nothing") from error
        return REFUSED
    return READ


def _words(*names: object) -> tuple[bytes, ...]:
    return tuple(str(name).encode() for name in names)


def _knowledge_words(known: Knowledge) -> tuple[bytes, ...]:
    return _words(*known.findings, *known.readings, *known.repairs, *known.components, *CONDITIONS, *known.engines)


def _of_text(content: bytes) -> str:
    """What a person would hand over as text: undecodable bytes come through as surrogates, as from a command line."""
    return content.decode("utf-8", "surrogateescape")


def _from_file(folder: Path, name: str, read: Callable[[Path], object]) -> Callable[[bytes], str]:
    path = folder / name

    def take(content: bytes) -> str:
        path.write_bytes(content)
        return _told(lambda: read(path))

    return take


@contextmanager
def _knowledge(folder: Path) -> Iterator[Reader]:
    """A whole small knowledge of which one file is spoilt; which one, the input says in its first line."""
    small = write_small(folder / "small")
    corpus = tuple(f"{name}\n{text}".encode() for name, text in SMALL.items())

    def take(content: bytes) -> str:
        name, _, text = content.partition(b"\n")
        file = name.decode("utf-8", "replace")
        file = file if file in SMALL else "components.yaml"
        (small / file).write_bytes(text)
        try:
            return _told(lambda: load_knowledge(small))
        finally:
            (small / file).write_text(SMALL[file], encoding="utf-8")

    yield Reader(
        corpus,
        _words(*SMALL, *["components", "severities", "states", "chance", "per", "basis", "source", "given", "life"]),
        take,
    )


@contextmanager
def _overlay(folder: Path) -> Iterator[Reader]:
    small = write_small(folder / "small")
    head = "basis: {source: learned, strength: 20}\n"
    more = "prices: {currency: CZK, exchange: 25}\n", "engines: {toy_4: {limits: {correction: {value: 4}}}}\n"
    corpus = tuple((head + text).encode() for text in (*SMALL.values(), *more) if "\nengine:" not in f"\n{text}")
    words = _words("basis", "source", "strength", "prices", "currency", "exchange", "value", "also", "learned")
    yield Reader(corpus, words, _from_file(folder, "o.yaml", lambda path: load_knowledge(small, [path])))


@contextmanager
def _engine(folder: Path) -> Iterator[Reader]:
    known = load_knowledge()
    corpus = tuple(path.read_bytes() for path in sorted((shipped_folder() / "engines").glob("*.yaml")))
    words = _words("name", "banks", "firing_order", "limits", "torques", "trim_code", "layout", "value", "unit", 0, 99)
    yield Reader(corpus, words, _from_file(folder, "e.yaml", lambda path: read_engine(path, known)))


@contextmanager
def _language(folder: Path) -> Iterator[Reader]:
    corpus = tuple(path.read_bytes() for path in sorted((shipped_folder() / "languages").glob("*.yaml")))
    words = _words("language", "phrases", "components", "{sure}", "{0}", "{a.b}", "{x!r}", "{", "}", "{:>9999}")
    yield Reader(corpus, words, _from_file(folder, "xx.yaml", lambda path: load_language(str(path))))


@contextmanager
def _case(folder: Path) -> Iterator[Reader]:
    """What was read is written as a case file again and read to the same case."""
    known = load_knowledge()

    def read(content: bytes) -> None:
        case = read_case(folder / "c.yaml", known, _of_text(content))
        again = read_case(folder / "c.yaml", known, dump_case(case))
        assert dump_case(again) == dump_case(case)

    corpus = tuple(path.read_bytes() for path in every_case().values())
    words = (
        *_knowledge_words(known),
        *_words("under", "did", "but", "helped", "codes", "state", "status", "0xAF", "tried"),
    )
    yield Reader(corpus, words, lambda content: _told(lambda: read(content)))


@contextmanager
def _study(folder: Path) -> Iterator[Reader]:
    known = load_knowledge()
    corpus = tuple(path.read_bytes() for path in demo_studies().values())
    words = (*_knowledge_words(known), *_words("study", "truth", "grade", "answers", "ask", "covers"))
    yield Reader(corpus, words, _from_file(folder, "s.yaml", lambda path: load_study(path, known)))


def _short_logs() -> tuple[bytes, ...]:
    table = simulate(State(warm_up_s=2.0, idle_s=12.0, pull_s=3.0, step_s=0.5))
    plain = "\n".join(written(table))
    comma = "\r\n".join(written(table, delimiter=";", decimal=","))
    bare = "# exported\n" + "\n".join(written(table, delimiter="\t", decimals=1))
    return plain.encode(), comma.encode("utf-16"), comma.encode("cp1252", "replace"), bare.encode("utf-8-sig")


@contextmanager
def _log(folder: Path) -> Iterator[Reader]:
    known = load_knowledge()
    engine = known.engines["ostrel_4"]
    words = _words(
        "rpm", "12:00:00.5", "00:59", "1e5", "Time", "ms", "---", "NaN", "1.234,5", "1'000", ";", "Speed [rpm]"
    )
    yield Reader(_short_logs(), words, _from_file(folder, "l.csv", lambda path: read_log(path, known, engine)))


@contextmanager
def _log_mapping(folder: Path) -> Iterator[Reader]:
    """A mapping that is read is used on a log, and written down again."""
    known = load_knowledge()
    log = folder / "l.csv"
    log.write_bytes(_short_logs()[0])

    def read(content: bytes) -> None:
        mapping = read_mapping("m.yaml", known, _of_text(content))
        read_mapping("m.yaml", known, mapping_text(mapping))
        read_log(log, known, known.engines["ostrel_4"], mapping)

    corpus = (
        b'numbering: firing order\nwarm: yes\ncolumns:\n  "Correction cylinder 1 [mg/stroke]": {is: correction, '
        b'cylinder: 1, unit: mg/stroke, reversed: yes}\n  2: speed\n  "Boost actual [mbar]": unused\n',
        b"delimiter: comma\ndecimal: point\nencoding: utf-8\ncolumns: {1: {is: time, unit: s}, 2: speed}\n",
    )
    words = _words(
        *known.log_columns, "is", "cylinder", "unit", "reversed", "semicolon", "utf-16", "idna", "zlib", "rot13"
    )
    yield Reader(corpus, words, lambda content: _told(lambda: read(content)))


def _csv(rows: list[list[str]], heads: tuple[str, ...] = HEADS) -> bytes:
    return "\n".join(",".join(row) for row in (heads, *rows)).encode()


def _read_table(path: Path, known: Knowledge, mapping: TableMap) -> None:
    """The first two steps of a run: heads, then rows."""
    with open_table(path, mapping.delimiter, mapping.encoding) as table:
        columns = columns_of(table.heads, str(path), known, mapping)
        packed = _packed(Run(path, path.with_suffix(".parquet"), known, mapping, only_weigh=True), columns)
        for chunk in table.chunks(64):
            ReadChunk.unpacked(read_chunk(packed, chunk))


@contextmanager
def _table(folder: Path) -> Iterator[Reader]:
    known = load_knowledge()
    wide = ("case", "engine", "distance", "age", "chuff under cold 2", "correction 1", "other_codes", "open", "cannot")
    more = [["x", "velm_5", "9e4 km", "3 years", "present", "above 3", "none", "covers A", "listen"]]
    corpus = (_csv(invented(8)), _csv(more * 2, wide), _csv(invented(4, seed=3)).replace(b",", b";"))
    words = (
        *_knowledge_words(known),
        *_words("above 3", "below", "3 psi", "P0263 pending", '"', "; ;", "under cold", "Z"),
    )
    read = _from_file(folder, "t.csv", lambda path: _read_table(path, known, TableMap()))
    yield Reader(corpus, words, read)


@contextmanager
def _parquet(folder: Path) -> Iterator[Reader]:
    import pyarrow
    from pyarrow import parquet

    known = load_knowledge()
    columns: dict[str, Any] = {
        "engine": ["ostrel_4", None, "velm_5"],
        "distance_km": [1e5, float("nan"), -1.0],
        "rough_idle": [True, False, None],
        "codes": [["P0263"], [], None],
        "correction 1": [1, 2**40, None],
    }
    found = []
    for compression in ("NONE", "snappy"):
        sink = io.BytesIO()
        parquet.write_table(pyarrow.table(columns), sink, compression=compression)
        found.append(sink.getvalue())
    odd = {"engine": ["ostrel_4"], "codes": [{"a": 1}], "open": [b"\xff"], "age_years": [(1, 2)]}
    sink = io.BytesIO()
    parquet.write_table(pyarrow.table(odd), sink, compression="NONE")
    read = _from_file(folder, "t.parquet", lambda path: _read_table(path, known, TableMap()))
    yield Reader((*found, sink.getvalue()), _words("PAR1", "engine", "codes"), read)


@contextmanager
def _table_mapping(folder: Path) -> Iterator[Reader]:
    """A mapping that is read is used on a table."""
    known = load_knowledge()
    table = folder / "t.csv"
    table.write_bytes(b"No;Miles;Chuff 3;Shop;x\n1;5,5;J;a;3\n2;9;N;b;\n")

    def read(content: bytes) -> None:
        _read_table(table, known, read_table_mapping("m.yaml", known, _of_text(content)))

    corpus = (
        b"engine: ostrel_4\ndelimiter: semicolon\ndecimal: comma\nothers: unused\nanswers: {J: present, N: absent}\n"
        b'columns:\n  "No": case\n  "Miles": {is: distance, unit: miles}\n  "Chuff 3": {is: chuff, '
        b"place: 3, under: cold}\n"
        b'  5: {is: correction, place: 1, unit: mg/stroke}\n  "Shop": unused\n',
    )
    words = (
        *_knowledge_words(known),
        *_words("is", "place", "under", "unit", "A", "utf-16", "idna", "zlib", "punycode"),
    )
    yield Reader(corpus, words, lambda content: _told(lambda: read(content)))


def _filled_book(folder: Path) -> Path:
    """A book with three cases, one closed with an attachment, one with a customer."""
    place = folder / "book.sqlite3"
    with open_book(str(place)) as book:
        keep(book, opening(Draft("ostrel_4", "Skerry van")), likeness=Likeness({"seal": {"blown": 0.7}}, frozenset()))
        (folder / "photo.jpg").write_bytes(b"\xff\xd8 invented")
        attach(book, 1, folder / "photo.jpg")
        cured = Outcome("yes", (Found("seal", "blown", 2, "seen"),), (Fitted("reseal", 2),), 95.0, 269.5, "EUR")
        append(book, 1, (Closed(cured),))
        keep(book, opening(Draft("ostrel_4", "again")), customer=Customer("Somebody"))
        append(book, 2, (Remark("a remark"),))
    return place


@contextmanager
def _backup(folder: Path) -> Iterator[Reader]:
    """A backup as bytes; or, where the input begins so, the book within it, packed again after it was spoilt."""
    with open_book(str(_filled_book(folder))) as book:
        back_up(book, folder / "b.zip")
    whole = (folder / "b.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        inside = packed.read("book.sqlite3")
    mark, place, target = b"inside\n", folder / "in.zip", folder / "new" / "book.sqlite3"

    def take(content: bytes) -> str:
        shutil.rmtree(target.parent, ignore_errors=True)
        target.parent.mkdir()
        if content.startswith(mark):
            with zipfile.ZipFile(place, "w") as packed:
                packed.writestr("book.sqlite3", content[len(mark) :])
        else:
            place.write_bytes(content)
        became = _told(lambda: restore(str(target), place))
        if became == REFUSED and target.exists():
            with closing(sqlite3.connect(target)) as left:
                assert not left.execute("SELECT name FROM sqlite_master WHERE name = 'cases'").fetchall(), (
                    "half restored"
                )
        return became

    yield Reader((whole, mark + inside), _words("book.sqlite3", "PK", "files/", "CREATE TABLE", "0001", "diag"), take)


@contextmanager
def _export(folder: Path) -> Iterator[Reader]:
    """A folder of an export of which one file is spoilt; which one, the input says in its first line."""
    with open_book(str(_filled_book(folder))) as book:
        export_book(book, folder / "out", customers=True)
    names = ("journal.jsonl", "likeness.jsonl", "customers.csv")
    good = {name: (folder / "out" / name).read_bytes() for name in names}

    def take(content: bytes) -> str:
        name, _, text = content.partition(b"\n")
        file = name.decode("utf-8", "replace")
        file = file if file in good else names[0]
        (folder / "out" / file).write_bytes(text)
        try:
            with open_book(str(folder / "into.sqlite3")) as into:
                return _told(lambda: import_book(into, folder / "out"))
        finally:
            (folder / "out" / file).write_bytes(good[file])
            for left in folder.glob("into*"):
                shutil.rmtree(left) if left.is_dir() else left.unlink()

    words = _words(
        "case", "number", "revision", "kind", "at", "by", "data", "opened", "undo", "closed", "chances", 1e400
    )
    yield Reader(tuple(f"{name}\n".encode() + text for name, text in good.items()), words, take)


@contextmanager
def _practice(folder: Path) -> Iterator[Reader]:
    known = load_knowledge()
    practice, hidden = study_named(known, "smell_under_the_bonnet", studies()["smell_under_the_bonnet"], 5)
    save_journal(folder / "good.json", Journal("Ada", "2026-01-01", start(practice, hidden)))
    words = _words(
        "is", "pairs", "World", "HiddenTruth", "Answer", "Work", "Asked", "events", "hidden", "practice", "start"
    )
    corpus = ((folder / "good.json").read_bytes(),)
    yield Reader(corpus, words, _from_file(folder, "j.json", lambda path: load_journal(path, known)))


REQUESTS = (
    "POST /case/N/tell form\nitem=tar&place=2&under=&answer=present",
    "POST /case/N/tell form\nitem=chuff&place=2&under=cold&answer=not_sure&back=/case/N",
    "POST /case/N/measure form\nitem=correction&place=2&value=3.1&unit=mg%2Fstroke",
    "POST /case/N/codes form\ncodes=P0263+P0087&all=1",
    "POST /case/N/tried form\nrepair=reseal&place=2",
    "POST /case/N/cannot form\ncheck=look_into_wells",
    "POST /case/N/helped form\nhelped=no",
    "POST /case/N/shut form\n",
    "POST /cases/new form\ntitle=Skerry&engine=ostrel_4&distance=90000+km&age=4",
    'POST /api/cases json\n{"title": "x", "engine": "ostrel_4", "distance_km": 90000.0, "age_years": 4}',
    'POST /api/cases/N/findings json\n{"item": "tar", "place": "2", "answer": "present", "on": 0}',
    'POST /api/cases/N/readings json\n{"item": "correction", "place": "2", "value": "3 mg/stroke", "on": 0}',
    'POST /api/cases/N/remarks json\n{"text": "a remark"}',
    "GET /?said=fumes+chuff&open=1 form\n",
    "GET /api/cases?words=x&engine=ostrel_4&state=open&most=5 form\n",
    "GET /api/cases/N?journal=true form\n",
    "GET /case/N/tried form\n",
    "GET /case/N/log form\n",
    "GET /static/style.css form\n",
)


@contextmanager
def _request(folder: Path) -> Iterator[Reader]:
    """Requests at a page: `METHOD PATH KIND`, then the body. N is a case, a new one every ten requests so that it stays
    small; a form bears its token."""
    with served(folder) as browser:
        token, taken, number = browser.token(), 0, 0

        def take(content: bytes) -> str:
            nonlocal taken, number
            if taken % 10 == 0:
                page = browser.send("/cases/new", title="Skerry", engine="ostrel_3", distance="90000 km", age="4")
                number = int(page.url.path.rsplit("/", 1)[1])
            taken += 1
            head, _, body = content.replace(b"/N", f"/{number}".encode()).partition(b"\n")
            method, _, rest = _of_text(head).partition(" ")
            path, _, kind = rest.rpartition(" ")
            return _answered(browser, (method, path, kind), body, token, browser.revision(number))

        words = (
            *_knowledge_words(load_knowledge()),
            *_words("/case/N", "/api/cases", "%2e%2e", "%00", "?", "&", "on=0"),
        )
        yield Reader(tuple(each.encode() for each in REQUESTS), words, take)


def _answered(browser: Browser, line: tuple[str, str, str], body: bytes, token: str, on: int) -> str:
    method, path, kind = line
    method = method if re.fullmatch("[A-Z]{1,10}", method) else "POST"
    path = re.sub("[^!-~]", lambda found: f"%{ord(found[0]) & 0xFF:02x}", path if path.startswith("/") else f"/{path}")
    if kind != "json":
        body = b"token=" + token.encode() + f"&on={on}&".encode() + body
    told = {"content-type": "application/json" if kind == "json" else "application/x-www-form-urlencoded"}
    try:
        url = f"http://{HOST}{path}"[:LONGEST_ADDRESS]
        answer = browser.client.request(method, url, content=body, headers=told, follow_redirects=False)
    except (UnicodeError, ValueError):  # the client itself sends no such address
        return REFUSED
    assert answer.status_code < 500, f"{answer.status_code} of {method} {path}"
    assert "Traceback" not in answer.text
    return READ if answer.status_code < 400 else REFUSED


READERS = {
    "knowledge": _knowledge,
    "overlay": _overlay,
    "engine": _engine,
    "language": _language,
    "case": _case,
    "study": _study,
    "log": _log,
    "log mapping": _log_mapping,
    "table": _table,
    "parquet table": _parquet,
    "table mapping": _table_mapping,
    "backup": _backup,
    "export": _export,
    "practice journal": _practice,
    "web request": _request,
}


@contextmanager
def reader_named(name: str, folder: Path) -> Iterator[Reader]:
    """A reader by its name, with a folder of its own to work in."""
    with READERS[name](folder) as reader:
        for content in reader.corpus:
            assert reader.take(content) == READ, content[:200]
        yield reader
