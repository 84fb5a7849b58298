"""Coverage-guided fuzzing of every reader, the TOML files and the page's server, as much of it as a test run has time for.

The fuzzer is libFuzzer through atheris (Linux, Python 3.11 to 3.13); longer runs: ``python -m tests.fuzz``.
"""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("atheris")

from tests.fuzz.run import fuzz
from tests.fuzz.targets import TARGETS

pytestmark = pytest.mark.slow

CASES = dict.fromkeys(TARGETS, 1000) | {"sculpt": 120}
MOST_SECONDS = 30


def test_thousands_of_changed_files_are_answered(tmp_path: Path) -> None:
    told = fuzz(CASES, tmp_path / "kept", tmp_path / "failed", seconds=MOST_SECONDS, seed=7)
    failed = {name: one.said[-2500:] for name, one in told.items() if not one.answered}
    assert not failed
    assert set(told) == set(TARGETS)
    assert sum(one.cases for one in told.values()) >= 1000
