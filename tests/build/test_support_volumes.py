"""Support volumes against closed forms, by columns (the search) and by layers (the proof).

Overhang 45°, as Mazlan et al., J. Adv. Ind. Technol. Appl. (2020) 38-47, abstract; the integrals are written beside each
form. Ledges and bridges are switched off: the closed forms know none.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from forms import part_of, rules, standing

from condyle.build.supports import supports
from condyle.build.weigh import COLUMN, scales_of, upright, weigh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, union

BARE = rules(ledge_mm=0.0, bridge_mm=0.0, layer_mm=0.05, overhang_deg=45.0)
LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)

R, LENGTH = 6.0, 20.0


def lying_cylinder() -> tuple[Solid, float]:
    """Below the 45° lines, |x| < r/√2: ∫ (r - √(r² - x²)) dx · L = r² (√2 - π/4 - 1/2) L."""
    solid = cylinder(R, 0.0, LENGTH).transformed(LYING)
    return solid, R**2 * (math.sqrt(2.0) - math.pi / 4.0 - 0.5) * LENGTH


def ball() -> tuple[Solid, float]:
    """ρ < r/√2: ∫ (r - √(r² - ρ²)) 2πρ dρ = π r³ (1/(3√2) - 1/6)."""
    return sphere(R), math.pi * R**3 * (1.0 / (3.0 * math.sqrt(2.0)) - 1.0 / 6.0)


def letter_t() -> tuple[Solid, float]:
    """A bar 24 × 6 on a stem 4 × 6, 10 high: (24 - 4) · 6 · 10."""
    return union([box((-2, -3, 0), (2, 3, 11)), box((-12, -3, 10), (12, 3, 13))]), 20.0 * 6.0 * 10.0


def mushroom() -> tuple[Solid, float]:
    """A cap of radius 8 over a stem of radius 3, 12 high: π (8² - 3²) · 12."""
    return union([cylinder(3.0, 0.0, 13.0), cylinder(8.0, 12.0, 15.0)]), math.pi * (64.0 - 9.0) * 12.0


FORMS = [lying_cylinder, ball, letter_t, mushroom]


@pytest.mark.parametrize("form", FORMS)
def test_layers_give_the_closed_form(form):
    solid, volume = form()
    held = supports(part_of(solid), standing(solid), BARE, pitch_mm=0.2)
    assert held.volume_mm3 == pytest.approx(volume, rel=0.03)


@pytest.mark.parametrize("form", FORMS)
def test_columns_give_the_closed_form(form):
    solid, volume = form()
    found = weigh(scales_of(part_of(solid), 0.5, 40.0), np.array([[0.0, 0.0, 1.0]]), BARE, workers=1)
    # A cell is up to 0.3 mm wide, and the lowest layer of a round form counts as lying on the plate.
    assert found[0, COLUMN["support_mm3"]] == pytest.approx(volume, rel=0.04)


def test_a_form_stands_on_itself_where_it_is_in_the_way():
    # A table top over a wide foot: all of the support stands on the foot, none on the plate.
    solid = union([box((-10, -10, 0), (10, 10, 2)), box((-2, -2, 0), (2, 2, 9)), box((-8, -8, 8), (8, 8, 10))])
    held = supports(part_of(solid), standing(solid), BARE)
    assert held.footprint_mm2 == 0.0
    assert held.volume_mm3 == pytest.approx((16.0**2 - 4.0**2) * 6.0, rel=0.02)
    assert held.feet_show_mm2 == pytest.approx(16.0**2 - 4.0**2, rel=0.03)
    assert {c.foot for c in held.columns} == {"part"}
    assert all(c.height_mm == pytest.approx(6.0, abs=1e-6) for c in held.columns)


def test_measures_turn_with_the_part():
    solid, _ = letter_t()
    turn = np.eye(4)
    turn[:3, :3] = upright(np.array([0.6, -0.48, 0.64])).T
    upright_part, turned = part_of(solid), part_of(solid.transformed(turn))
    way = turn[:3, :3] @ np.array([0.0, 0.0, 1.0])
    a = weigh(scales_of(upright_part, 0.5, 40.0), np.array([[0.0, 0.0, 1.0]]), BARE, workers=1)[0]
    b = weigh(scales_of(turned, 0.5, 40.0), way[None], BARE, workers=1)[0]
    for name in ("support_mm3", "show_mm2", "contact_mm2", "peel_mm2"):
        assert b[COLUMN[name]] == pytest.approx(a[COLUMN[name]], rel=0.08), name
    assert b[COLUMN["height_mm"]] == pytest.approx(13.0, abs=1e-6)


def test_roughness_of_steps_is_a_quarter_of_their_height():
    # Ra = t · cos α / 4 of a face at α from the horizontal, t = 0.2 at 45°: 35.36 µm (sawtooth with sharp steps).
    ramp = np.array([[0, 0, 0], [10, 0, 0], [10, 0, 10], [0, 8, 0], [10, 8, 0], [10, 8, 10]], dtype=np.float64)
    from condyle.geometry.solid import hull

    part = part_of(hull(ramp))
    slope = part.mesh.normals @ np.array([-1.0, 0.0, 1.0]) / math.sqrt(2.0) > 0.999
    kinds = part.light_kinds.copy()
    kinds[~slope] = 0
    from dataclasses import replace

    only = replace(part, light_kinds=kinds)
    found = weigh(scales_of(only, 0.5, 40.0), np.array([[0.0, 0.0, 1.0]]), rules(layer_mm=0.2), workers=1)
    assert found[0, COLUMN["rough_um"]] == pytest.approx(35.36, abs=0.01)
