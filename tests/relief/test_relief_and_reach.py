"""What relief must never do, measured on the finished parts: shorten a reach, touch hardware, leave a rough face."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from condyle.figure.kit import Kit
from condyle.figure.relief import ReliefWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import overlap
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import Reach, ranges
from tests.relief.test_relief_of_limbs import BODY, made

pytestmark = pytest.mark.slow

CENTRE = np.array([0.0, 0.0, 40.0])


def reach_of(kit: Kit) -> dict[str, Reach]:
    bodies = make_bodies(kit)
    found = ranges(kit, bodies, make_meetings(kit, bodies), Bvh(BODY.mesh), 0.35, workers=2)
    return {str(motion): reach for motion, reach in found["joint"].items()}


def test_relief_never_shortens_a_reach_and_more_budget_never_gives_less() -> None:
    plain, little, much = (reach_of(made(w)) for w in (None, ReliefWish(volume_mm3=60.0), ReliefWish()))
    gained = 0.0
    for motion, before in plain.items():
        for less, more in ((before, little[motion]), (before, much[motion])):
            assert more.low.deg <= less.low.deg + 0.3
            assert more.high.deg >= less.high.deg - 0.3
        gained += sum(abs(x) for x in much[motion].reached) - sum(abs(x) for x in before.reached)
    assert gained > 15.0


def test_relief_never_touches_hardware() -> None:
    # Ball, neck's root and the socket with its lip lie within a wall of the bearing.
    plain, kit = made(None), made(ReliefWish())
    near = sphere(0.5 * (kit.joints[0].size_mm or 0.0) + 0.4).translated((0.0, 0.0, 40.0))
    for zone in (near, *kit.joints[0].bearing):
        for before, after in zip(plain.parts, kit.parts, strict=True):
            there, still = overlap(before.solid, zone), overlap(after.solid, zone)
            assert there is not None
            assert still is not None
            assert still.volume_mm3 == pytest.approx(there.volume_mm3, abs=0.02)


def test_faces_that_relief_leaves_are_smooth_to_a_twentieth_of_a_millimetre() -> None:
    # Each place of a new face against a curved sheet (quadric) laid through what lies within 0.7 mm of it; edges, where
    # normals turn by more than 20°, are not faces. Points lie at the middles of triangles.
    kit, plain = made(ReliefWish()), made(None)
    off: list[float] = []
    for before, after in zip(plain.parts, kit.parts, strict=True):
        mesh = after.solid.mesh
        middles, normals = mesh.corners.mean(axis=1), mesh.normals
        new = (Bvh(before.solid.mesh).closest(middles)[0] > 0.08) & (np.linalg.norm(middles - CENTRE, axis=1) < 16.0)
        points, facing = middles[new], normals[new]
        if len(points) < 50:
            continue
        tree = cKDTree(points)
        rng = np.random.default_rng(2)
        for k in rng.choice(len(points), min(1500, len(points)), replace=False):
            near = np.array(tree.query_ball_point(points[k], 0.7))
            if len(near) < 20 or (facing[near] @ facing[k]).min() < np.cos(np.radians(20.0)):
                continue
            off.append(_off_sheet(points[near], points[k], facing[k]))
    assert len(off) > 200
    assert float(np.quantile(np.abs(off), 0.99)) <= 0.05


def _off_sheet(points: FloatArray, at: FloatArray, normal: FloatArray) -> float:
    """How far ``at`` lies off the best quadric through the points, along the normal."""
    u = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    d = points - at
    x, y, z = d @ u, d @ v, d @ normal
    a = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    return float(-np.linalg.lstsq(a, z, rcond=None)[0][0])
