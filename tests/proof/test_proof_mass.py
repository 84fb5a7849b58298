"""Masses as printed, against closed forms of blocks."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from condyle.errors import UsageError
from condyle.figure.soles import Lump
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, sphere
from condyle.proof.mass import part_masses, posed_mass
from condyle.workshop.bench import load_workshop
from condyle.workshop.recipe import Recipe
from tests.proof.limbkits import joint, kit_of

PLA = 1.24e-3
BARE = Recipe(coat_mm=0.0)


def _block_kit():  # type: ignore[no-untyped-def]
    return kit_of({"trunk": box((0, 0, 0), (20, 24, 30)), "arm": box((0, 0, 31), (2, 8, 60))}, [
        joint("neck", "ball", "trunk", "arm", (10, 12, 30))
    ])  # fmt: skip


def test_block_of_walls_and_a_loose_inside() -> None:
    """Three lines of 0.42… mm all round, 15 % inside: V·ρ − 0.85·(a−2w)(b−2w)(c−2w)·ρ, within 1 %."""
    shop = load_workshop()
    wall = 3 * shop.printer.line_mm.value
    masses = part_masses(_block_kit(), shop, BARE)
    inner = (20 - 2 * wall) * (24 - 2 * wall) * (30 - 2 * wall)
    assert masses["trunk"].full_g == pytest.approx(20 * 24 * 30 * PLA, rel=1e-6)
    assert masses["trunk"].printed.mass_g == pytest.approx((20 * 24 * 30 - 0.85 * inner) * PLA, rel=1e-2)
    # Too thin for an inside: full, and to 1e-6 the closed form.
    assert masses["arm"].printed.mass_g == pytest.approx(2 * 8 * 29 * PLA, rel=1e-6)
    assert masses["arm"].sd_g == pytest.approx(0.08 * masses["arm"].printed.mass_g)


def test_another_fill_is_recomputed_and_a_full_print_is_the_solid() -> None:
    shop = load_workshop()
    masses = part_masses(_block_kit(), shop, BARE)
    light = part_masses(_block_kit(), shop, replace(BARE, fill=0.05))
    assert masses["trunk"].filled(0.05).mass_g == pytest.approx(light["trunk"].printed.mass_g, rel=1e-9)
    assert masses["trunk"].filled(0.05).centre_mm == pytest.approx(light["trunk"].printed.centre_mm, abs=1e-9)
    full = part_masses(_block_kit(), shop, replace(BARE, fill=1.0))
    assert full["trunk"].printed.mass_g == pytest.approx(20 * 24 * 30 * PLA, rel=1e-6)


def test_resin_is_full_unless_hollowed() -> None:
    shop = load_workshop("resin-150", "resin-stiff")
    density = shop.material.density_g_cm3.value * 1e-3
    full = part_masses(_block_kit(), shop, BARE)["trunk"]
    assert full.printed.mass_g == pytest.approx(20 * 24 * 30 * density, rel=1e-6)
    hollow = part_masses(_block_kit(), shop, replace(BARE, hollow_mm=2.0))["trunk"]
    assert hollow.printed.mass_g == pytest.approx((20 * 24 * 30 - 16 * 20 * 26) * density, rel=1e-2)


def test_coats_lie_on_the_skin_only() -> None:
    shop = load_workshop()
    kit = kit_of({"ball": sphere(10.0)}, [])
    bare, coated, elsewhere = (
        part_masses(kit, shop, Recipe(fill=1.0, coat_mm=0.05, coat_g_cm3=1.4), skin)["ball"].printed.mass_g
        for skin in (None, Bvh(sphere(10.0).mesh), Bvh(box((50, 50, 50), (60, 60, 60)).mesh))
    )
    assert coated - bare == pytest.approx(4 * math.pi * 100 * 0.05 * 1.4e-3, rel=1e-2)
    assert elsewhere == bare


def test_metal_pins_weigh_what_steel_weighs() -> None:
    """π/4·d²·L·7.85 g/cm³, half of it in either part."""
    shop = load_workshop()
    parts = {"trunk": box((0, 0, 0), (2, 8, 30)), "arm": box((0, 0, 31), (2, 8, 60))}
    pinned = replace(joint("elbow", "hinge", "trunk", "arm", (1, 4, 30)), pin_mm=(1.5, 8.0))
    bare, heavy = (
        sum(m.printed.mass_g for m in part_masses(kit_of(parts, [j]), shop, BARE).values())
        for j in (replace(pinned, pin_mm=None), pinned)
    )
    assert heavy - bare == pytest.approx(math.pi / 4 * 1.5**2 * 8.0 * 7.85e-3, rel=1e-9)


def test_a_weighed_part_is_what_the_scale_said_and_ballast_comes_on_top() -> None:
    shop = load_workshop()
    masses = part_masses(_block_kit(), shop, BARE, weighed_g={"trunk": 9.0}, lumps=[Lump("trunk", 2.0, (10, 12, 3))])
    assert masses["trunk"].printed.mass_g == pytest.approx(11.0)
    assert masses["trunk"].sd_g == pytest.approx(0.09)
    assert masses["trunk"].printed.centre_mm[2] == pytest.approx((9 * 15 + 2 * 3) / 11, abs=0.01)


def test_posed_mass_moves_with_the_parts() -> None:
    shop = load_workshop()
    masses = part_masses(_block_kit(), shop, BARE)
    lift = np.eye(4)
    lift[2, 3] = 10.0
    still = posed_mass(masses, {"trunk": np.eye(4), "arm": np.eye(4)})
    up = posed_mass(masses, {"trunk": np.eye(4), "arm": lift})
    share = masses["arm"].printed.mass_g / still.mass_g
    assert up.centre_mm - still.centre_mm == pytest.approx([0, 0, 10 * share])


def test_a_recipe_without_lines_is_refused() -> None:
    with pytest.raises(UsageError, match="lines"):
        Recipe(lines=0)
