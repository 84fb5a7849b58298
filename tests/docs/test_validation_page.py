"""The page of published numbers is what the tests compute."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.published import Published

ROOT = Path(__file__).parents[2]


def test_the_committed_page_is_what_the_tests_compute(tmp_path: Path) -> None:
    """To the digits shown. Where this fails: python docs/make_validation.py, and look at what has changed."""
    made = tmp_path / "validation.md"
    command = [sys.executable, str(ROOT / "docs" / "make_validation.py"), str(made)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    now = made.read_text("utf-8").splitlines()
    assert now == (ROOT / "docs" / "validation.md").read_text("utf-8").splitlines()
    assert sum(line.count("|") == 8 for line in now) > 80


def test_a_number_that_is_off_fails_and_is_not_kept() -> None:
    kept: list = []
    compare = Published("here", kept)
    compare("a dozen", 12.0, 12.0, source="by hand", tolerance=0.0)
    with pytest.raises(AssertionError, match="a score"):
        compare("a score", 20.1, 20.0, source="by hand", tolerance=0.05)
    with pytest.raises(AssertionError, match="nothing"):
        compare("nothing", float("nan"), 0.0, source="by hand", tolerance=1.0)
    assert [row.what for row in kept] == ["a dozen"]
