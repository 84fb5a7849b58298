"""Fixed pegs: one way in, tapered, with the gap that was asked for."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from condyle.geometry.frame import rotation_about
from condyle.geometry.solid import overlap
from condyle.joints import peg
from condyle.joints.design import Cut
from tests.joints.blocks import Pair, finished, judged, level, pieces, stock

PLA = stock()
KERF = 0.35
CHORD = 0.01
CASES = [pytest.param(2.5, 0.08), pytest.param(4.0, 0.05), pytest.param(8.0, 0.08)]


@cache
def joint(size: float, clearance: float) -> Pair:
    shape = peg.shape(size)
    return finished(peg.design(shape, Cut("plane", 0.0, KERF), clearance), size / 2 + 2.5)


@pytest.mark.parametrize(("size", "clearance"), CASES)
def test_a_peg_goes_in_one_way_only(size: float, clearance: float) -> None:
    pair = joint(size, clearance)
    judged(pair.cup)
    judged(pair.knuckle)
    for angle in range(0, 360, 30):
        turned = np.eye(4)
        turned[:3, :3] = rotation_about(np.array([0.0, 0.0, 1.0]), float(angle))
        shared = overlap(pair.cup.transformed(turned), pair.knuckle)
        if angle == 0:
            assert shared is None
        else:
            assert shared is not None, f"the peg also goes in turned by {angle}°"
            assert shared.volume_mm3 > 0.1
            assert shared.bounds[1, 2] - shared.bounds[0, 2] > 0.5 * size


@pytest.mark.parametrize(("size", "clearance"), CASES)
def test_hole_follows_the_peg_at_the_clearance(size: float, clearance: float) -> None:
    pair = joint(size, clearance)
    back = np.arange(190.0, 351.0, 7.0)  # away from the flat
    for z in np.linspace(0.3, 1.1 * size, 4):
        (own,) = pieces(pair.cup, float(z))
        radius = float(np.hypot(own[:, 0], own[:, 1]).max())
        hole = level(pair.knuckle, float(z), back)
        # The taper: 0.02 mm a millimetre, common practice for draft (about 1°).
        assert radius == pytest.approx(size / 2 - 0.02 * z, abs=0.01)
        assert hole.min() >= radius + clearance - 1e-6
        assert hole.max() <= radius + clearance + 2 * CHORD
        flat = float(own[:, 1].max())
        assert float(level(pair.knuckle, float(z), np.array([90.0]))[0]) - flat == pytest.approx(clearance, abs=1e-6)


@pytest.mark.parametrize(("size", "clearance"), CASES)
def test_peg_is_pushed_home_without_meeting_anything_and_not_to_the_bottom(size: float, clearance: float) -> None:
    pair = joint(size, clearance)
    for back_mm in np.linspace(0.0, pair.design.travel_mm, 9):
        assert overlap(pair.cup.translated((0, 0, -float(back_mm))), pair.knuckle) is None
    tip = max(v for v in pair.cup.mesh.vertices[:, 2])
    assert tip == pytest.approx(1.2 * size)
    bottom = float(min(v[2] for v in pair.knuckle.mesh.vertices if math.hypot(v[0], v[1]) < size / 2 and v[2] > tip))
    assert bottom - tip == pytest.approx(0.3, abs=1e-6)


@pytest.mark.parametrize(("size", "clearance"), CASES)
def test_travel_takes_the_peg_wholly_out(size: float, clearance: float) -> None:
    pair = joint(size, clearance)
    out = pair.cup.translated((0, 0, -pair.design.travel_mm))
    assert out.bounds[1, 2] <= 0.0


def test_larger_pegs_and_gaps_make_larger_solids() -> None:
    cut = Cut("plane", 0.0, KERF)
    volumes = [peg.design(peg.shape(s), cut, 0.08).cup.add for s in peg.SIZES_MM]
    assert all(a is not None and b is not None and a.volume_mm3 < b.volume_mm3 for a, b in pairwise(volumes))
    holes = [peg.design(peg.shape(4.0), cut, c).knuckle.take for c in (-0.02, 0.0, 0.05, 0.1)]
    assert all(a is not None and b is not None and a.volume_mm3 < b.volume_mm3 for a, b in pairwise(holes))
