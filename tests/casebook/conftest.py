"""What the tests of this room share."""

from __future__ import annotations

import pytest

from diag.knowledge_base import Knowledge, load_knowledge


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """The knowledge that ships."""
    return load_knowledge()
