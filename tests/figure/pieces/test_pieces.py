"""Pieces on plain bodies: gaps measured by the collision library, ways out walked by it, volumes by closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.figure.kit import Balance, Kit, Part
from condyle.figure.pieces import Piece, with_pieces
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, overlap, subtract, union
from condyle.joints.stock import stock_of
from condyle.workshop.bench import load_workshop
from tests.collision import Body, distance, touching

GAP = 0.15
SHOP = load_workshop()
POUCH = box((13.0, -5.0, 15.0), (20.0, 5.0, 25.0))
RING = subtract(cylinder(17.0, 28.0, 33.0), [cylinder(14.0, 27.0, 34.0)])


def post() -> Kit:
    body = cylinder(15.0, 0.0, 40.0)
    return Kit((Part("pelvis", "pelvis", body),), (), Balance(body.volume_mm3, body.volume_mm3, 0.0, 0.0, 0.0))


def seated(solid: Solid, **asked: object) -> Kit:
    piece = Piece("piece", "pelvis", solid, clearance_mm=GAP, **asked)  # type: ignore[arg-type]
    return with_pieces(post(), [piece], SHOP.fits, stock_of(SHOP), SHOP.kerf_mm)


def verdicts(kit: Kit) -> dict[str, str]:
    return {f.check: f.verdict for f in kit.findings}


@pytest.mark.parametrize(
    ("solid", "yields"), [(POUCH, "carrier"), (POUCH, "piece"), pytest.param(RING, "piece", marks=pytest.mark.slow)]
)
def test_a_seat_keeps_its_clearance_all_round(solid: Solid, yields: str) -> None:
    kit = seated(solid, yields=yields, peg_mm=0.0)
    carrier, piece = (Body(kit.part(n).solid.mesh) for n in ("pelvis", "piece"))
    gap = distance(piece, carrier)[0]
    assert GAP - 0.025 <= gap <= GAP + 0.08
    assert not touching(piece, carrier)


def test_the_pouch_takes_from_its_carrier_what_the_closed_form_says() -> None:
    """Box of 10 x 10 and 2 deep in a cylinder of radius 15, grown by the gap: the segment's area is R² acos(d/R) - d √(R² - d²)
    about chords; here the box's corner lies inside, so the area is that between x = d and the arc over |y| <= w."""
    kit = seated(POUCH, yields="carrier", peg_mm=0.0)
    wide = GAP + 0.06  # faces are cut so much wider for the sake of edges
    r, d, w = 15.0, 13.0 - wide, 5.0 + wide
    area = w * math.sqrt(r * r - w * w) + r * r * math.asin(w / r) - 2.0 * w * d
    taken = post().part("pelvis").solid.volume_mm3 - kit.part("pelvis").solid.volume_mm3
    assert taken == pytest.approx(area * (10.0 + 2.0 * wide), rel=0.03)


@pytest.mark.parametrize("solid", [POUCH, pytest.param(RING, marks=pytest.mark.slow)])
def test_a_piece_comes_off_along_the_way_that_is_told(solid: Solid) -> None:
    kit = seated(solid, peg_mm=0.0)
    assert verdicts(kit)["piece.way_in"] == "pass"
    (joint,) = kit.joints
    away = -np.array(joint.insertion[0])
    carrier, piece = (Body(kit.part(n).solid.mesh) for n in ("pelvis", "piece"))
    for step in np.linspace(0.0, 45.0, 61):
        m = np.eye(4)
        m[:3, 3] = step * away
        assert not touching(piece, carrier, m)


def test_a_peg_goes_into_its_hole_and_only_there() -> None:
    kit = seated(POUCH)
    (joint,) = kit.joints
    assert joint.seated.spec.kind == "peg" and joint.size_mm is not None
    carrier, piece = kit.part("pelvis").solid, kit.part("piece").solid
    shared = overlap(carrier, piece)
    squeeze = 0.0 if shared is None else shared.volume_mm3
    assert squeeze <= 0.05 * piece.volume_mm3
    reach = float(np.min(piece.mesh.vertices @ -np.array(joint.insertion[0])))
    plain = float(np.min(POUCH.mesh.vertices @ -np.array(joint.insertion[0])))
    assert plain - reach == pytest.approx(1.2 * joint.size_mm + GAP, abs=0.1)  # the stud stands out by its length
    assert kit.balance.residual_mm3 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.slow
def test_a_ring_between_two_flanges_does_not_come_off() -> None:
    spool = cylinder(15.0, 0.0, 40.0)
    flanges = [cylinder(19.0, z, z + 4.0) for z in (20.0, 36.0)]
    body = union([spool, *flanges])
    kit = Kit((Part("pelvis", "pelvis", body),), (), Balance(body.volume_mm3, body.volume_mm3, 0.0, 0.0, 0.0))
    piece = Piece("piece", "pelvis", RING, clearance_mm=GAP, yields="piece", way=(0.0, 0.0, 1.0), peg_mm=0.0)
    made = with_pieces(kit, [piece], SHOP.fits, stock_of(SHOP), SHOP.kerf_mm)
    (told,) = [f for f in made.findings if f.check == "piece.way_in"]
    assert told.verdict == "fail" and "fuse" in told.advice


def test_a_piece_far_off_or_on_no_bone_is_told() -> None:
    assert verdicts(seated(sphere(3.0).translated((40.0, 0.0, 0.0)))) == {"piece.seat": "fail"}
    lost = with_pieces(post(), [Piece("piece", "tail", POUCH)], SHOP.fits, stock_of(SHOP), SHOP.kerf_mm)
    assert verdicts(lost) == {"piece.bone": "fail"}
