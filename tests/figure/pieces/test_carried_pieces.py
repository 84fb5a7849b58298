"""A shoulder plate on a small ball and on a strap: proved as any kit is, and its play walked by the collision library."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.figure.kit import Balance, Kit, Part
from condyle.figure.pieces import Piece, with_pieces
from condyle.figure.skeleton import Bone, Skeleton
from condyle.finding import worst
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, intersect, subtract, union
from condyle.joints import strap, sunk_ball
from condyle.joints.design import Cut
from condyle.joints.mechanics import snap
from condyle.joints.stock import stock_of
from condyle.proof import Proof, prove
from condyle.workshop.bench import load_workshop
from tests.collision import Body, touching

SHOP = load_workshop()
STOCK = stock_of(SHOP)
BODY = cylinder(15.0, 0.0, 40.0)
MIRROR = np.diag([1.0, -1.0, 1.0, 1.0])


def plate() -> Solid:
    """A curved plate 2.4 mm thick that lies a little in the body, off its middle."""
    shell = subtract(cylinder(17.2, 12.0, 28.0), [cylinder(14.8, 11.0, 29.0)])
    return intersect(shell, box((10.0, -7.0, 11.0), (30.0, 9.0, 29.0)))


def carried(on: str, solid: Solid | None = None, **more: object) -> Kit:
    kit = Kit((Part("chest", "chest", BODY),), (), Balance(BODY.volume_mm3, BODY.volume_mm3, 0.0, 0.0, 0.0))
    how = "pegged" if on == "peg" else "carried"
    asked = more if on == "peg" else {"on": on, **more}
    piece = Piece("plate", "chest", solid or plate(), how, way=(1.0, 0.0, 0.0), **asked)  # type: ignore[arg-type]
    return with_pieces(kit, [piece], SHOP.fits, STOCK, SHOP.kerf_mm)


@pytest.fixture(scope="module")
def kits() -> dict[str, Kit]:
    return {on: carried(on) for on in ("peg", "ball", "strap")}


def proved(kit: Kit) -> Proof:
    bones = (Bone("chest", None), Bone("plate", "chest"))
    skeleton = Skeleton("test", bones, (kit.joints[0].seated.spec,))
    return prove(kit, union([BODY, plate()]), skeleton, SHOP, workers=1)


@pytest.mark.parametrize("on", ["peg", "ball", "strap"])
def test_a_seated_plate_passes_every_proof_of_a_kit(on: str, kits: dict[str, Kit]) -> None:
    kit = kits[on]
    proof = proved(kit)
    assert worst((*kit.findings, *proof.findings)) == "pass", [f for f in proof.findings if f.verdict != "pass"]
    checks = {f.check for f in proof.findings}
    assert checks >= {"fit.bearing_gap", "fit.free_gap", "fit.insertion", "fit.retention", "wall.hardware"}
    (joint,) = kit.joints
    assert joint.seated.spec.kind == {"peg": "peg", "ball": "ball", "strap": "peg"}[on]
    if on != "peg":
        assert proof.joints["plate_seat"].lip_mm == pytest.approx(joint.undercut_mm, abs=0.02)
        assert joint.snap_strain is not None and joint.snap_strain <= STOCK.strain


@pytest.mark.parametrize("on", ["peg", "ball", "strap"])
def test_parts_stay_whole_and_no_volume_is_lost(on: str, kits: dict[str, Kit]) -> None:
    kit = kits[on]
    for part in kit.parts:
        assert len(part.solid.components()) == 1 and part.solid.volume_mm3 > 0.0
        edges = np.sort(
            np.concatenate([part.mesh.faces[:, [0, 1]], part.mesh.faces[:, [1, 2]], part.mesh.faces[:, [2, 0]]])
        )
        assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()  # closed: two triangles at every edge
    # The tongue's square corners meet the boolean library's own rounding of 1e-6 mm.
    assert kit.balance.residual_mm3 == pytest.approx(0.0, abs=1e-3)


def test_the_ball_tilts_to_every_side_as_asked(kits: dict[str, Kit]) -> None:
    kit = kits["ball"]
    (joint,) = kit.joints
    middle = np.array(joint.axles[0].centre)
    # The ball bears on its seat by design: all but a sphere about it must be free at 9.5 of 10 degrees.
    around = sphere(joint.size_mm / 2.0 + 0.7, "outside").translated(tuple(middle))  # type: ignore[operator]
    moving, still = (Body(subtract(kit.part(n).solid, [around]).mesh) for n in ("plate", "chest"))
    for side in np.arange(12) * np.pi / 6.0:
        about = np.array([0.0, np.cos(side), np.sin(side)])
        assert not touching(moving, still, rotation_matrix_about(middle, about, 9.5))
    assert touching(moving, still, rotation_matrix_about(middle, np.array([0.0, 1.0, 0.0]), 25.0))


def test_the_strap_slides_by_its_slack_and_no_further(kits: dict[str, Kit]) -> None:
    kit = kits["strap"]
    moving, still = (Body(kit.part(n).solid.mesh) for n in ("plate", "chest"))
    out = np.eye(4)
    for slid, meets in ((0.9 * strap.SLACK_MM, False), (2.5 * strap.SLACK_MM, True)):
        out[0, 3] = slid
        assert touching(moving, still, out) == meets
    for y, z in ((0.2, 0.0), (-0.2, 0.0), (0.0, 0.2), (0.0, -0.2)):  # loose in its slot once it is off its seat
        out[:3, 3] = (0.35, y, z)
        assert not touching(moving, still, out)


def test_a_plate_on_the_other_side_is_the_mirror_image(kits: dict[str, Kit]) -> None:
    other = carried("strap", plate().transformed(MIRROR))
    here = kits["strap"]
    for name in ("chest", "plate"):
        assert other.part(name).solid.volume_mm3 == pytest.approx(here.part(name).solid.volume_mm3, rel=1e-4)
    (a,), (b,) = here.joints, other.joints
    assert a.size_mm == b.size_mm and a.axles[0].centre[1] == pytest.approx(-b.axles[0].centre[1], abs=0.6)


def test_the_prongs_of_a_strap_are_the_beam_of_the_guide() -> None:
    """Guide A, cantilever of one section: ε = 1.5·h·y/l² (synectic.net prints the same), P = (b h²/6)·E·ε/l; and the force
    along the push W = P·tan(α + ρ) at 30 degrees (Guide A p. 14). Arm: four times the prong, at least 3.6 mm."""
    for size in strap.SIZES_MM:
        s = strap.shape(size, STOCK)
        assert s is not None
        arm = max(4.0 * s.prong, 3.6)
        strain = 1.5 * s.prong * s.undercut / arm**2
        assert s.strain == pytest.approx(strain, rel=1e-9) and strain <= STOCK.strain
        push = 2.0 * s.thick * s.prong**2 / 6.0 * STOCK.modulus_mpa * strain / arm
        rho = np.degrees(np.arctan(STOCK.friction))
        made = strap.design(s, Cut("plane", 0.0, 0.15), STOCK)
        assert made.insertion_n == pytest.approx(push * np.tan(np.radians(30.0 + rho)), rel=1e-6)
        assert made.retention_n is not None and made.retention_n > made.insertion_n  # type: ignore[operator]


def test_a_sunk_balls_fingers_bend_as_one_section_would_at_most() -> None:
    """A finger of constant section, as thick as ours is at its root: ε = 3·c·y/l² and k = 3·E·I/l³ (Timoshenko, from
    memory). Ours is that section over nearly all its length, and thinner only around the seat, next to its tip."""
    for size in sunk_ball.SIZES_MM:
        s = sunk_ball.shape(size, -0.02, 10.0, 1.6, STOCK)
        assert s is not None
        mean = 0.5 * (0.82 * s.seat + s.finger_outer)
        half = 45.0 - np.degrees(np.arcsin(0.5 * s.slit / mean))
        section = snap.sector_finger(0.82 * s.seat, s.finger_outer, half)
        length = s.root_z - s.lip_z
        assert s.strain == pytest.approx(3.0 * section.fibre_mm * s.undercut / length**2, rel=0.06)
        assert s.spring.n_per_mm == pytest.approx(
            3.0 * STOCK.modulus_mpa * section.second_moment_mm4 / length**3, rel=0.1
        )


def test_no_room_for_a_ball_is_told_and_the_plate_is_glued() -> None:
    thin = subtract(cylinder(15.9, 12.0, 28.0), [cylinder(14.9, 11.0, 29.0)])
    kit = carried("ball", intersect(thin, box((10.0, -7.0, 11.0), (30.0, 9.0, 29.0))))
    told = next(f for f in kit.findings if f.check == "piece.ball")
    assert told.verdict == "caution" and "glue" in told.advice
    assert kit.joints[0].seated.spec.kind == "peg" and kit.joints[0].size_mm is None
