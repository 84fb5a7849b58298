"""What every folder of tests may ask for."""

from __future__ import annotations

import pytest

from tests.published import KEPT, Published


@pytest.fixture
def published(request: pytest.FixtureRequest) -> Published:
    """Compares a computed number with the one that a source prints, and keeps both for docs/validation.md."""
    return Published(request.node.nodeid, request.config.stash.setdefault(KEPT, []))
