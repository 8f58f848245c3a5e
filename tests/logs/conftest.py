"""What the tests of logs share: the knowledge that ships, an invented engine, and reading lines as a file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from diag.knowledge_base import Engine, Knowledge, load_knowledge
from diag.logs import ColumnMap, LogResult, read_log

Reader = Callable[..., LogResult]


@pytest.fixture(scope="session")
def known() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="session")
def engine(known: Knowledge) -> Engine:
    return known.engines["ostrel_4"]


@pytest.fixture
def read(known: Knowledge, engine: Engine, tmp_path: Path) -> Reader:
    """Write lines (or bytes) to a file and read it."""

    def reader(content: Sequence[str] | bytes, mapping: ColumnMap | None = None) -> LogResult:
        path = tmp_path / "log.csv"
        path.write_bytes(content if isinstance(content, bytes) else ("\n".join(content) + "\n").encode())
        return read_log(path, known, engine, mapping)

    return reader
