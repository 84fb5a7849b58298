"""Arms of a split ring against closed forms: thin rings, and the stress factors of curved bars."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.joints.mechanics.clip import clip_arm
from tests.published import Published

E = 2000.0


def arm(inner: float, thick: float, sweep: float, width: float = 3.0, slices: int = 3):  # type: ignore[no-untyped-def]
    angles = np.linspace(0.0, sweep, 721)
    return clip_arm(inner, angles, np.full((721, slices), thick), width / slices, E)


@pytest.mark.parametrize(("sweep", "factor"), [(90.0, math.pi / 4.0), (180.0, 1.5 * math.pi)])
def test_a_thin_arm_gives_as_a_thin_ring(sweep: float, factor: float) -> None:
    """A quarter ring bent by a force along its root's tangent gives π/4·P·R³/(E·I); a slit ring opens 3π·P·R³/(E·I), half
    of it on either side (Timoshenko, Strength of Materials, part I, thin curved bars; from memory)."""
    inner, thick = 50.0, 0.5
    middle = inner + thick / 2.0
    expected = factor * middle**3 / (E * 3.0 * thick**3 / 12.0)
    assert arm(inner, thick, sweep).mm_per_n == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(
    ("ratio", "factor"), [(1.4, 2.13), (1.6, 1.79), (1.8, 1.63), (2.0, 1.52), (3.0, 1.30), (4.0, 1.20)]
)
def test_the_inner_fibre_is_strained_as_the_table_of_curved_bars_says(
    published: Published, ratio: float, factor: float
) -> None:
    """Rectangular section, R/c against the inner fibre's stress over M·c/I: Seely and Smith, Advanced Mechanics of
    Materials, table of curved-beam factors (as in Roark; from memory). A half ring: M = 2·F·R at the back for thin tips;
    the pull F/A comes on top."""
    thick = 1.0
    middle = 0.5 * ratio * thick
    inner = middle - 0.5 * thick
    moment = middle + inner  # 180 degrees: R + r per newton
    straight = moment * 6.0 / (3.0 * thick**2) / E
    told = arm(inner, thick, 180.0).strain_per_n - 1.0 / (E * 3.0 * thick)
    what = f"stress factor at the inside of a curved bar, R/c {ratio:g}"
    source = "Seely and Smith, Advanced Mechanics of Materials, table (from memory)"
    published(what, told / straight, factor, tolerance=0.015 * factor, source=source)


def test_slices_side_by_side_are_as_stiff_as_one_and_a_missing_one_carries_nothing() -> None:
    one, many = arm(2.0, 1.0, 150.0, slices=1), arm(2.0, 1.0, 150.0, slices=6)
    assert many.mm_per_n == pytest.approx(one.mm_per_n, rel=1e-9)
    angles = np.linspace(0.0, 150.0, 61)
    thick = np.full((61, 2), 1.0)
    thick[:, 1] = 0.0
    half = clip_arm(2.0, angles, thick, 1.5, E)
    assert half.mm_per_n == pytest.approx(2.0 * one.mm_per_n, rel=5e-3)
    thick[30] = 0.0
    assert math.isinf(clip_arm(2.0, angles, thick, 1.5, E).mm_per_n)


def test_a_long_slit_makes_the_arm_a_straight_cantilever() -> None:
    """y = F·l³/(3·E·I) and ε = F·l·c/(E·I) (Timoshenko, part I; from memory): a small ring at the end of a slit 40 times as
    long adds a few parts in a hundred."""
    angles = np.linspace(0.0, 150.0, 181)
    back = np.linspace(0.0, 40.0, 401)
    told = clip_arm(1.0, angles, np.full((181, 1), 1.0), 3.0, E, back, np.full((401, 1), 1.0))
    length, second = 40.0 + 1.0 + np.cos(np.radians(30.0)), 3.0 * 1.0**3 / 12.0
    assert told.mm_per_n == pytest.approx(length**3 / (3.0 * E * second), rel=0.01)
    assert told.strain_per_n == pytest.approx(length * 0.5 / (E * second), rel=1e-6)
