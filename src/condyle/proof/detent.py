"""Does a detented hinge click, and does its ear stand it? A proof that follows the ear as it gives.

The proofs of motion leave the ring of bumps and hollows alone, since it presses on itself by design. Here it is measured:
at every half degree of each axle the ear is moved straight outward, along the axis, just as far as it takes to be free of
the tongue there (rays from the ear's ring to the tongue's skin, on the parts as written). Nothing of the drawing is asked
but where the ring lies and what the leaf may give.

move.detent_give   the furthest that an ear has to give, and what is between two angles looked at (arm × half a step × the
                   steepest that a cap is, 44°), against what its leaf takes within the material's strain
move.detent_rests  degrees from rest to rest of the joint, the mean over its range, against what was asked, within a tenth
move.detent_climb  from a rest to the top between two, against 0.1 mm; what is less is lost in a printer's ripple (common
                   practice, no source)

Simplified: an ear gives as a whole and stays parallel, which holds for leaves long beside their bumps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion, Range
from condyle.finding import Finding, Point
from condyle.geometry.frame import frame_from_zx, rotation_about, unit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.spread import samples
from condyle.joints.detent import Detent
from condyle.proof.bodies import RING_MM, PartBody

_STEP_DEG = 0.5
_SPREAD_MM = 0.08
_SQUARE_MM = 0.06
_SLOPE = math.tan(math.radians(44.0))
_CLICK_MM = 0.1
_FACETS_MM = 0.02
_SHARE = 0.1


@dataclass(frozen=True, eq=False)
class Clicks:
    """One axle's detent as measured: at each angle of the axle (n,), degrees, how far its ears have to give (n,), mm.

    rests  the angles of its rests, those at the ends of the range left out
    """

    angles: FloatArray
    give: FloatArray
    rests: FloatArray

    @property
    def climb_mm(self) -> float:
        """From the lowest to the highest place."""
        return float(self.give.max() - self.give.min())


def detents(kit: Kit, bodies: Mapping[str, PartBody], reached: Mapping[str, Mapping[Motion, Range]]) -> list[Finding]:
    """Findings about every detented hinge over the range that it reaches, degrees from the sculpt's pose."""
    out = []
    for joint in kit.joints:
        span = reached.get(joint.name, {}).get("flex")
        parts = {n for a in joint.axles for n in (a.moves, a.stays)}
        if joint.built and joint.detents and span is not None and parts <= bodies.keys():
            found = [clicks(joint, k, bodies, span) for k in range(len(joint.axles))]
            out += _told(joint, [(d, c) for d, c in zip(joint.detents, found, strict=True) if c is not None])
    return out


def clicks(joint: BuiltJoint, k: int, bodies: Mapping[str, PartBody], span: Range) -> Clicks | None:
    """What one axle measures over the joint's range; None where its ring has no bump or no hollow left."""
    axle, detent = joint.axles[k], joint.detents[k]
    axis = unit(np.asarray(joint.seated.axes["flex"], dtype=np.float64))
    centre = np.asarray(axle.centre, dtype=np.float64)
    moves, stays = bodies[axle.moves], bodies[axle.stays]
    rings = [_ring(b, centre, axis, detent) for b in (moves, stays)]
    if not all(len(points) for points, _ in rings):
        return None
    # A tongue's faces look outward along the axis, an ear's inward.
    outward = [float((np.sign((p - centre) @ axis) * (n @ axis)).sum()) for p, n in rings]
    tongue_moves = outward[0] > outward[1]
    tongue, ear = (moves, rings[1][0]) if tongue_moves else (stays, rings[0][0])
    ear = _proudest(ear - centre, axis) + centre
    share = 1.0 / len(joint.axles)
    low, high = span[0] * share, span[1] * share
    angles = np.linspace(low, high, max(2, math.ceil((high - low) / _STEP_DEG) + 1))
    sense = -1.0 if tongue_moves else 1.0
    give = np.array([_needed(tongue, ear, centre, axis, sense * float(a)) for a in angles])
    return Clicks(angles, give, _rests(angles, give))


def _ring(body: PartBody, centre: FloatArray, axis: FloatArray, detent: Detent) -> tuple[FloatArray, FloatArray]:
    """Points and normals, (n, 3) each, spread over the faces of a part in the detent's ring that look along the axis."""
    mesh = body.written
    arm = mesh.corners.mean(axis=1) - centre
    along = arm @ axis
    away = np.linalg.norm(arm - np.outer(along, axis), axis=1)
    reach = detent.arm_mm + detent.rim_mm + RING_MM
    # Triangles of a flat face may be long: those that come near are spread over, and the points chosen.
    size = np.linalg.norm(mesh.corners - mesh.corners.mean(axis=1, keepdims=True), axis=2).max(axis=1)
    near = np.flatnonzero((away - size <= reach) & (np.abs(along) - size <= 2.0 * detent.arm_mm))
    points, normals, _ = samples(mesh.vertices, mesh.faces[near], _SPREAD_MM)
    arm = points - centre
    away = np.linalg.norm(arm - np.outer(arm @ axis, axis), axis=1)
    kept = (np.abs(away - detent.arm_mm) <= detent.rim_mm + RING_MM) & (np.abs(normals @ axis) > 0.5)
    return points[kept], normals[kept]


def _proudest(arm: FloatArray, axis: FloatArray) -> FloatArray:
    """Of points (n, 3) of an ear, from the middle, those that stand furthest in over each little square, on either side.

    Triangles of a bump are far smaller than the spread. Its tops are kept as they are; on its slopes, under 45°, a point may
    stand for others up to a square's side away, so there the need is known to within that side.
    """
    across = frame_from_zx(np.zeros(3), axis, np.eye(3)[int(np.abs(axis).argmin())])
    local = across.to_local(arm)
    cells = np.column_stack([np.floor(local[:, :2] / _SQUARE_MM), local[:, 2] > 0.0]).astype(np.int64)
    cells -= cells.min(axis=0)
    keys = np.ravel_multi_index(tuple(cells.T), tuple(cells.max(axis=0) + 1))
    inward = np.argsort(np.abs(local[:, 2]), kind="stable")
    return np.asarray(arm[inward[np.unique(keys[inward], return_index=True)[1]]])


def _needed(tongue: PartBody, ear: FloatArray, centre: FloatArray, axis: FloatArray, turn_deg: float) -> float:
    """How far an ear has to go outward to be free of the tongue, the ear turned about the axle beside it."""
    arm = (ear - centre) @ rotation_about(axis, turn_deg).T
    ways = np.sign(arm @ axis)[:, None] * axis
    away, face = tongue.solid.first_hits(centre + arm, ways)
    met = face >= 0
    # A face seen from behind: the point lies inside, and comes out there.
    inside = np.einsum("ij,ij->i", tongue.solid.mesh.normals[face[met]], ways[met]) > 0.0
    return float(away[met][inside].max(initial=0.0))


def _rests(angles: FloatArray, give: FloatArray) -> FloatArray:
    """Middles of the stretches where the ears give no more than at their easiest, whole ones only."""
    low = give <= give.min() + max(_FACETS_MM, 0.2 * float(np.ptp(give)))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], low.astype(np.int8), [0]])))
    runs = [(a, b - 1) for a, b in edges.reshape(-1, 2) if a > 0 and b < len(low)]
    return np.array([0.5 * (angles[a] + angles[b]) for a, b in runs])


def _told(joint: BuiltJoint, found: list[tuple[Detent, Clicks]]) -> list[Finding]:
    if not found:
        return []
    name, place = joint.name, _point(joint)
    between = {c: 0.5 * math.radians(_step(c)) * d.arm_mm * _SLOPE for d, c in found}
    detent, worst = max(found, key=lambda f: float(f[1].give.max()) + between[f[1]] - f[0].give_mm)
    give = float(worst.give.max()) + between[worst]
    sound = give <= detent.give_mm + _FACETS_MM
    out = [
        Finding(
            "move.detent_give", name, "pass" if sound else "fail", give, detent.give_mm, "mm", place,
            "" if sound else "the ear has to give more than its material takes between two rests: wider steps, a larger "
            "size, or a softer material",
        )
    ]  # fmt: skip
    climb = min(c.climb_mm for _, c in found)
    high = climb >= _CLICK_MM
    out.append(
        Finding(
            "move.detent_climb", name, "pass" if high else "caution", climb, _CLICK_MM, "mm", place,
            "" if high else "its rests are hardly felt: wider steps or a larger size make room for higher bumps",
        )
    )  # fmt: skip
    asked = joint.seated.spec.detent_deg
    steps = [len(joint.axles) * float(np.diff(c.rests).mean()) for _, c in found if len(c.rests) > 1]
    if not steps:
        out.append(
            Finding(
                "move.detent_rests", name, "unknown", None, asked, "°", place, "its range holds fewer than two rests"
            )
        )
        return out
    step = max(steps, key=lambda s: abs(s - asked))
    even = abs(step - asked) <= _SHARE * asked
    out.append(
        Finding(
            "move.detent_rests", name, "pass" if even else "caution", step, asked, "°", place,
            "" if even else "it does not rest in the steps that were asked for: look at its bumps and hollows in the parts",
        )
    )  # fmt: skip
    return out


def _step(c: Clicks) -> float:
    return float(c.angles[1] - c.angles[0])


def _point(joint: BuiltJoint) -> Point:
    x, y, z = (float(v) for v in joint.seated.frame.origin)
    return x, y, z
