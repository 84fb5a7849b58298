"""Films beside hardware: taken off where they are, the hardware spared, and nothing done where there are none."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.figure.relief.films import film_tool
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, remainder, union


def with_film(thick_mm: float) -> Solid:
    """A block of 4 mm with a sheet standing up 1 mm from it, 3 mm wide."""
    half = thick_mm / 2
    return union([box((-2.0, -2.0, -4.0), (2.0, 2.0, 0.0)), box((-half, -1.5, -0.5), (half, 1.5, 1.0))], "block")


def test_a_film_goes_and_the_block_stays() -> None:
    block = with_film(0.05)
    tool = film_tool(block, [np.zeros(3)], 3.0, [])
    assert tool is not None
    rest = remainder(block, [tool])
    assert rest is not None
    left, *_ = rest.components()
    assert left.bounds[1, 2] == pytest.approx(0.0, abs=0.31)
    # The block's own 64 mm3, less what balls of 0.3 mm strung on 3 mm can scratch.
    assert 64.0 - 3.6 * np.pi * 0.3**2 < left.volume_mm3 < 64.1


def test_a_wall_that_prints_is_no_film() -> None:
    assert film_tool(with_film(0.5), [np.zeros(3)], 3.0, []) is None


def test_films_out_of_reach_stay() -> None:
    assert film_tool(with_film(0.05), [np.array([0.0, 0.0, -9.0])], 3.0, []) is None


def test_hardware_is_spared() -> None:
    block, stud = with_film(0.05), box((-2.0, -2.0, -4.0), (2.0, 2.0, 0.0))
    tool = film_tool(block, [np.zeros(3)], 3.0, [stud])
    assert tool is not None
    rest = remainder(block, [tool])
    assert rest is not None
    assert rest.components()[0].volume_mm3 == pytest.approx(64.0, abs=0.1)


def test_a_large_thin_wall_is_no_film() -> None:
    """Thousands of balls would take it away: it is left, and the proof of walls tells of it."""
    sheet = union([box((-9.0, -9.0, -2.0), (9.0, 9.0, 0.0)), box((-0.1, -9.0, -0.5), (0.1, 9.0, 9.0))], "sheet")
    assert film_tool(sheet, [np.zeros(3)], 12.0, []) is None
