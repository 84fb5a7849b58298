"""Feet made to stand: cut by closed-form amounts, each foot still one closed body by an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from condyle.errors import UsageError
from condyle.figure.soles import SoleWishes, feet_of, make_soles
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, overlap, union
from condyle.joints.stock import stock_of
from condyle.workshop.bench import load_workshop
from tests.proof.limbkits import kit_of, walker

STOCK = stock_of(load_workshop())
CENTRE = np.array([1.0, 0.0, 45.0])


def _is_one_body(solid: Solid) -> bool:
    body = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=True)
    return bool(body.is_watertight) and body.body_count == 1


def test_feet_are_what_the_sculpt_stands_on() -> None:
    assert feet_of(walker()) == ("foot_left", "foot_right")


def test_round_soles_are_flattened_within_the_budget() -> None:
    """A ball of 8 mm cut at a depth t has a flat of π·t·(2R − t) and loses π·t²·(3R − t)/3 (derived)."""
    kit = kit_of({"foot": union([sphere(8.0).translated((0, 0, 8)), box((-2, -2, 8), (2, 2, 30))])}, [])
    made = make_soles(kit, SoleWishes(flatten_mm=1.0), STOCK, 40.0, CENTRE, 0.08)
    cut = made.findings[0].measured
    assert cut is not None and 0.5 < cut <= 1.0
    foot = made.kit.part("foot").solid
    assert foot.bounds[0, 2] == pytest.approx(cut, abs=1e-3)
    lost = kit.part("foot").solid.volume_mm3 - foot.volume_mm3
    assert lost == pytest.approx(math.pi * cut**2 * (24.0 - cut) / 3.0, rel=0.03)
    assert _is_one_body(foot)
    assert made.kit.balance.residual_mm3 == pytest.approx(kit.balance.residual_mm3, abs=1e-6)


def test_magnet_is_held_by_the_foot_itself() -> None:
    made = make_soles(walker(), SoleWishes(magnet_mm=(5.0, 2.0)), STOCK, 40.0, CENTRE, 0.08)
    assert [f.verdict for f in made.findings] == ["caution", "caution"]
    assert all("swallowed" in f.advice for f in made.findings)
    for lump in made.lumps:
        foot = made.kit.part(lump.part).solid
        assert _is_one_body(foot)
        x, y, z = lump.middle
        # The magnet lies free in its room, and does not come out by any way that is wide enough: moved a tenth of a
        # millimetre beyond its play, it meets the foot on every side.
        magnet = trimesh.creation.cylinder(2.5, 2.0, sections=96)
        loose = cylinder(2.5, -1.0, 1.0).translated((x, y, z + 0.02))
        assert overlap(foot, loose) is None
        for way in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)):
            moved = loose.translated(tuple(0.35 * w for w in way))
            assert overlap(foot, moved) is not None
        assert lump.mass_g == pytest.approx(magnet.volume * 7.5e-3, rel=0.01)


def test_a_pocket_that_leaves_no_wall_is_refused_and_the_foot_left_alone() -> None:
    kit = walker()
    made = make_soles(kit, SoleWishes(ballast_mm=(9.5, 3.0)), STOCK, 40.0, CENTRE, 0.08)
    assert [f.verdict for f in made.findings] == ["fail", "fail"]
    assert made.lumps == ()
    assert made.kit.part("foot_left").solid.volume_mm3 == kit.part("foot_left").solid.volume_mm3


def test_no_magnet_and_no_ballast_for_a_child() -> None:
    for wishes in (SoleWishes(magnet_mm=(3.0, 1.0), child=True), SoleWishes(ballast_mm=(3.0, 1.0), child=True)):
        with pytest.raises(UsageError, match="child"):
            make_soles(walker(), wishes, STOCK, 40.0, CENTRE, 0.08)


def test_resin_feet_take_no_closed_pocket() -> None:
    resin = stock_of(load_workshop("resin-150", "resin-stiff"))
    made = make_soles(walker(), SoleWishes(magnet_mm=(4.0, 2.0)), resin, 40.0, CENTRE, 0.08)
    assert {f.verdict for f in made.findings} == {"fail"}
    assert "traps resin" in made.findings[0].advice


def test_base_reaches_so_far_that_the_figure_tips_at_fifteen_degrees() -> None:
    kit = walker()
    made = make_soles(kit, SoleWishes(base=True), STOCK, 40.0, CENTRE, 0.08)
    assert made.base is not None and _is_one_body(made.base)
    low, high = made.base.bounds
    radius = 0.5 * float(high[0] - low[0])
    reach = max(math.dist((x, y), CENTRE[:2]) for x in (-8, 16) for y in (-15, 15)) + 2.0
    tall = 45.0 - float(low[2])
    assert radius == pytest.approx(max(reach, tall * math.tan(math.radians(15.0))), rel=0.02)
    assert [f.check for f in made.findings] == ["stand.base", "stand.base", "stand.base_plate"]
    assert made.findings[-1].measured == pytest.approx(2.0 * radius, abs=0.1)
    for name in ("foot_left", "foot_right"):
        foot = made.kit.part(name).solid
        assert _is_one_body(foot)
        # The peg stands in its hole with a gap all around, and the plate lies under the sole.
        meeting = overlap(foot, made.base)
        assert meeting is None or meeting.volume_mm3 < 1e-3


def test_peg_bears_twice_the_tip_moment() -> None:
    """σ = 32·M/(π·d³), across layers half of the yield (doi 10.1089/3dp.2020.0109)."""
    made = make_soles(walker(), SoleWishes(base=True), STOCK, 40.0, CENTRE, 0.08)
    weight = 40.0 * 9.80665e-3
    moment = (weight * 45.0 * math.tan(math.radians(15.0)) + 1.0 * 80.0) / 2.0
    for finding in made.findings[:2]:
        size = float(finding.unit.split("peg ")[1].split(" mm")[0])
        bears = 0.5 * STOCK.yield_mpa * math.pi * size**3 / 32.0
        assert finding.measured == pytest.approx(bears / moment, rel=0.01)
        assert (finding.verdict == "pass") == (bears >= 2.0 * moment)


def test_nothing_asked_changes_nothing() -> None:
    kit = walker()
    made = make_soles(kit, SoleWishes(), STOCK, 40.0, CENTRE, 0.08)
    assert made.base is None and not made.findings and not made.lumps
    assert all(a.solid is b.solid for a, b in zip(kit.parts, made.kit.parts, strict=True))
