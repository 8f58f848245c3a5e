"""What the tests of the page share: one page in this process for a module."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.web.served import Browser, served


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A browser at a page with an empty book."""
    with served(tmp_path_factory.mktemp("page")) as made:
        yield made
