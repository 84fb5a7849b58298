"""Does a hand grip its handle? Measured on the finished part, by other code than that which cut it.

grip.gap    the gap between handle and bore: within 0.05 mm of what is drawn (an interference may overlap by no more)
grip.ring   the thinnest place of the ring around the bore, from the back to either side of the mouth: at each angle the
            thickest finger counts; two printed lines pass
grip.mouth  the mouth's narrowest width, by rays across it: within 0.05 mm of what strain and force were computed with
grip.way    a bar as thin as the mouth comes home straight through it (for a closed bore: the handle itself, along the bore)
"""

from __future__ import annotations

import numpy as np

from condyle.figure.kit import Part
from condyle.figure.pieces.grip import CutGrip
from condyle.finding import Finding, Point
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.geometry.formats import as_written
from condyle.geometry.frame import Frame
from condyle.geometry.gap import Surface
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder

TOLERANCE_MM = 0.05
_ANGLES = 48
_HEIGHTS = 40
_SLIT_RAD = 0.4


def grips(part: Part, cut: CutGrip, wall_mm: float) -> list[Finding]:
    """The four measures of one hand."""
    bvh = Bvh(as_written(part.mesh))
    hand = _Hand(bvh, cut.frame, cut)
    out = [hand.gap(), hand.ring(wall_mm)]
    if cut.mouth_mm > 0.0:
        out.append(hand.mouth())
    return [*out, hand.way()]


class _Hand:
    def __init__(self, bvh: Bvh, frame: Frame, cut: CutGrip) -> None:
        self.bvh, self.frame, self.cut = bvh, frame, cut
        self.radius = cut.grip.handle_mm / 2.0
        local = frame.to_local(bvh.mesh.vertices)
        self.reach = float(np.linalg.norm(local, axis=1).max()) + 1.0
        beside = local[np.abs(np.linalg.norm(local[:, :2], axis=1) - self.radius - cut.clearance_mm) < 0.05, 2]
        self.low, self.high = (float(beside.min()), float(beside.max())) if len(beside) else (-1.0, 1.0)

    def finding(self, what: str, passes: bool, measured: float, target: float, unit: str, advice: str) -> Finding:
        verdict = "pass" if passes else "fail"
        told = "" if passes else advice
        return Finding(f"grip.{what}", self.cut.grip.part, verdict, measured, target, unit, self.cut.grip.point, told)  # type: ignore[arg-type]

    def gap(self) -> Finding:
        """Signed: how far the handle's skin stands off the nearest flesh, or how deep it lies in it."""
        angles = np.linspace(0.0, 2.0 * np.pi, 4 * _ANGLES, endpoint=False)
        z = np.linspace(self.low, self.high, _HEIGHTS)
        rim = np.stack([np.cos(angles), np.sin(angles)], axis=1) * self.radius
        points = np.concatenate([np.repeat(rim, _HEIGHTS, axis=0), np.tile(z, len(rim))[:, None]], axis=1)
        least = float(self.bvh.signed_distance(self.frame.to_outer(points)).min())
        wanted = self.cut.clearance_mm
        passes = abs(least - wanted) <= TOLERANCE_MM
        advice = "the bore is not as wide as drawn: look at what else was joined to this part there"
        return self.finding("gap", passes, least, wanted, "mm", advice)

    def ring(self, wall_mm: float) -> Finding:
        cut = self.cut
        half = (
            np.arcsin(min(1.0, 0.5 * cut.mouth_mm / (self.radius + cut.clearance_mm))) + 0.12 if cut.mouth_mm else 0.0
        )
        angles = np.linspace(half, 2.0 * np.pi - half, _ANGLES, endpoint=bool(cut.mouth_mm))
        if cut.grip.slit_mm > 0.0:  # what lies beside a slit is judged as any wall is
            angles = angles[np.abs(angles - np.pi) > _SLIT_RAD]
        z = np.linspace(self.low, self.high, _HEIGHTS + 2)[1:-1]
        directions = np.repeat(np.stack([np.cos(angles), np.sin(angles), 0.0 * angles], axis=1), _HEIGHTS, axis=0)
        starts = np.zeros_like(directions)
        starts[:, 2] = np.tile(z, len(angles))
        ray, far, _ = self.bvh.all_hits(self.frame.to_outer(starts), directions @ self.frame.rotation.T)
        thick = np.zeros(len(starts))
        for k in range(len(starts)):
            hits = np.sort(far[ray == k])
            beyond = hits[hits > hits[0] + 1e-6] if len(hits) else hits
            if len(beyond):
                thick[k] = beyond[0] - hits[0]
        least = float(thick.reshape(len(angles), _HEIGHTS).max(axis=1).min())
        advice = "the bore comes too near to the outside of the hand: a thinner handle, or move point inward"
        return self.finding("ring", least >= wall_mm - 0.02, least, wall_mm, "mm", advice)

    def mouth(self) -> Finding:
        """Across the mouth, at heights along it and distances from the bore outwards."""
        x = np.linspace(0.6 * self.radius, 1.6 * self.radius, 25)
        z = np.linspace(self.low, self.high, _HEIGHTS + 2)[1:-1]
        starts = np.stack(np.meshgrid(x, [0.0], z, indexing="ij"), axis=-1).reshape(-1, 3)
        outer = self.frame.to_outer(starts)
        sides = [
            self.bvh.rays(outer, np.broadcast_to(sense * self.frame.y, outer.shape)) for sense in (1.0, -1.0)
        ]  # fmt: skip
        width = float((sides[0] + sides[1]).min())
        advice = "the mouth is not as wide as computed: strain and push are not as told"
        passes = abs(width - self.cut.mouth_mm) <= TOLERANCE_MM
        return self.finding("mouth", passes, width, self.cut.mouth_mm, "mm", advice)

    def way(self) -> Finding:
        mouth = self.cut.mouth_mm
        bar = 0.5 * mouth - 0.02 if mouth else self.radius + min(self.cut.clearance_mm, 0.0) - 0.02
        ends = (self.low - 1.0, self.high + 1.0)
        ways = [self.frame.x] if mouth else [self.frame.z, -self.frame.z]
        handle = Surface(Bvh(cylinder(bar, *ends).transformed(self.frame.matrix).mesh))
        best, place = 0.0, None
        for way in ways:
            stop = adv.advance(
                handle, Surface(self.bvh), adv.Shift(way), 2.0 * self.reach, clearance_mm=0.005, smallest_step=0.01
            )
            if not stop.blocked:
                return self.finding("way", True, 2.0 * self.reach, 2.0 * self.reach, "mm", "")
            best, place = max(best, float(stop.reached)), _point(stop.place)
        advice = f"the handle cannot be brought in: something of the hand stands in its way near {_words(place)}"
        return self.finding("way", False, best, 2.0 * self.reach, "mm", advice)


def _point(p: FloatArray) -> Point:
    return float(p[0]), float(p[1]), float(p[2])


def _words(place: Point | None) -> str:
    return "it" if place is None else ", ".join(f"{v:.1f}" for v in place)
