"""What condyle selfcheck computes on every installation, asked for one by one."""

from __future__ import annotations

import pytest

from condyle.cli.selfcheck import EXAMPLES, Example
from tests.published import Published


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: e.what.replace(" ", "-"))
def test_example(published: Published, example: Example) -> None:
    published(
        example.what,
        example.compute(),
        example.printed,
        unit=example.unit,
        tolerance=example.tolerance,
        source=example.source,
    )
