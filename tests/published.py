"""Published answers, asked for by tests: each is compared where it is computed, and kept for docs/validation.md.

A test takes the fixture ``published`` and calls it once for each printed number. The page is made of all such calls by
``docs/make_validation.py``, so that what stands there is what the tests compute.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest


@dataclass(frozen=True)
class Row:
    """One number: what it is, the answer that the source gives, the one computed here, and how far they may differ.

    ``place`` is the test that computed it, as pytest names it.
    """

    what: str
    source: str
    unit: str
    printed: float
    computed: float
    tolerance: float
    place: str


class Published:
    """Compares and keeps. AssertionError where a number is further off than its tolerance."""

    def __init__(self, place: str, kept: list[Row]) -> None:
        self._place = place
        self._kept = kept

    def __call__(
        self, what: str, computed: float, printed: float, *, source: str, tolerance: float, unit: str = ""
    ) -> None:
        """``tolerance`` is absolute, in ``unit``: half of the last printed digit where the source prints one."""
        computed = float(computed)
        assert math.isfinite(computed), what
        off = abs(computed - printed)
        assert off <= tolerance, f"{what}: {computed!r} {unit}, printed {printed!r} ({source})"
        self._kept.append(Row(what, source, unit, printed, computed, tolerance, self._place))


KEPT = pytest.StashKey[list[Row]]()
"""Where a run of pytest keeps the rows."""
