"""What the tests of the command line share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.desk import Desk


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    return Desk(tmp_path, capsys, monkeypatch)
