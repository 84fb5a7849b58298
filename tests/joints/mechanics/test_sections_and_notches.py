"""What a section bears, across and along layers and at notches."""

from __future__ import annotations

import math

import pytest

from condyle.errors import UsageError
from condyle.joints.mechanics.section import (
    bending_nmm,
    felt_notch,
    hole_notch,
    layered_shear_mpa,
    layered_strength_mpa,
    rectangular_bar,
    round_bar,
    shear_n,
    shoulder_notch,
    tension_n,
    twist_nmm,
)
from tests.published import Published


def test_round_bar_closed_forms() -> None:
    """Shigley, Mechanical Engineering Design (from memory): σ = 32M/πd³, τ = 16T/πd³, F = σπd²/4."""
    bar = round_bar(4.0)
    assert bending_nmm(bar, 40.0) == pytest.approx(40 * math.pi * 64 / 32)
    assert twist_nmm(bar, 20.0) == pytest.approx(20 * math.pi * 64 / 16)
    assert tension_n(bar, 40.0, notch=2.0) == pytest.approx(40 * math.pi * 4 / 2)
    assert shear_n(bar, 20.0) == pytest.approx(20 * math.pi * 4 / 1.5)


def test_rectangular_bar_closed_forms(published: Published) -> None:
    """W = b·t²/6; a square twists at 0.208·a³ exactly (de Saint-Venant, from memory), the formula used gives 4.8."""
    assert rectangular_bar(6.0, 2.0).bending_mm3 == pytest.approx(6 * 4 / 6)
    source = "de Saint-Venant (from memory)"
    square = rectangular_bar(1.0, 1.0).twist_mm3
    published("twist of a square bar over a³", square, 0.208, tolerance=0.002, source=source)
    assert rectangular_bar(100.0, 1.0).twist_mm3 == pytest.approx(100 / 3, rel=0.01)


def test_strength_across_layers_is_the_published_share_and_along_them_the_whole() -> None:
    """PLA: 22.8 MPa across layers against 43.7 MPa of the filament (doi 10.1089/3dp.2020.0109, abstract)."""
    share = 22.8 / 43.7
    assert layered_strength_mpa(43.7, share, 0.0) == pytest.approx(22.8)
    assert layered_strength_mpa(43.7, share, 90.0) == pytest.approx(43.7)
    falling = [layered_strength_mpa(43.7, share, a) for a in (90, 80, 70, 60)]
    assert falling == sorted(falling, reverse=True)
    assert all(layered_strength_mpa(43.7, share, a) >= 0.9 * 22.8 for a in range(0, 91, 5))
    assert layered_shear_mpa(43.7, share, 0.0) < layered_shear_mpa(43.7, share, 90.0) <= 22.8


def test_shoulder_notch_against_the_charts(published: Published) -> None:
    """Peterson's chart for a stepped round bar in bending, D/d = 2: K_t 1.9 at r/d 0.075, 1.5 at 0.17 (from memory, ±6 %)."""
    for ratio, chart in ((0.075, 1.9), (0.17, 1.5)):
        what = f"stress factor of a stepped bar in bending, D/d 2, r/d {ratio:g}"
        found = shoulder_notch(2.0, 1.0, ratio)
        published(what, found, chart, tolerance=0.06 * chart, source="Peterson's chart (from memory)")
    assert shoulder_notch(2.0, 1.0, 0.05, "torsion") < shoulder_notch(2.0, 1.0, 0.05)
    assert shoulder_notch(1.0, 1.0, 0.1) == 1.0
    with pytest.raises(UsageError):
        shoulder_notch(2.0, 1.0, 0.1, "pressure")


def test_hole_notch_limits(published: Published) -> None:
    """A small hole in a wide plate: 3, exactly (Kirsch); a hole as wide as the strip: 2 on the net section (Heywood)."""
    small, wide = hole_notch(1e6, 1.0), hole_notch(1.001, 1.0)
    published("stress factor of a small hole in a wide plate", small, 3.0, tolerance=1e-5, source="Kirsch, exact")
    published("the same of a hole as wide as the strip", wide, 2.0, tolerance=1e-5, source="Heywood, net section")


def test_a_notch_is_felt_by_brittle_plastic_only() -> None:
    assert felt_notch(2.5, 0.0) == 1.0
    assert felt_notch(2.5, 1.0) == 2.5
    assert felt_notch(2.5, 0.5) == pytest.approx(1.75)
