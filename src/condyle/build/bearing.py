"""Which faces of a joint really bear: the band that a ball and its socket rub over, the cheeks and the pin's bore of a hinge.

A joint's enclosing solids hold more than that: the clear bottom of a socket, the lip's chamfer, slits, a slot's floor, a neck,
a stud's end. What of them never touches may carry supports, a first layer or a seam. A socket bears from its lip up to the
top of its band. A ball bears wherever that band passes over the range that the joint is wanted to move in, and no
further than its neck lets it tilt: what stays free is a cap about its pole and, on the sides to which it does not tilt, a ring
above the neck. A play of 2° is added to each end of a ball's band.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from condyle.build.directions import square_to
from condyle.figure.kit import BuiltJoint, Part
from condyle.figure.pose.forward import joint_turn
from condyle.figure.skeleton import Motion, SeatedJoint
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_about
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.joints.ball import BAND_TOP_DEG, NECK_RATIO, WIDEST_NECK_RATIO

_ON_MM = 0.04
_PLAY_DEG = 2.0
_STEP_DEG = 12.0
_SAME = math.cos(math.radians(3.0))
_AROUND, _ALONG, _OFF = 24, 6, (1.02, 1.25)


class Clear(Protocol):
    """What of a joint's enclosing solids never touches."""

    def holds(self, points: FloatArray) -> BoolArray:
        """Which points (n, 3) lie there; points that are none of this joint's business do not."""
        ...


@dataclass(frozen=True, eq=False)
class Band:
    """All of a ball joint but its band: what lies off the sphere about ``centre``, or over or under the band.

    axes        (k, 3) unit ways from the centre to the socket's bottom, as seen from this part over the joint's range
    radius_mm   of the sphere on which faces bear; ``reach_mm`` how far from the centre this holds
    low, high   sines of the band's latitudes over the socket's equator
    """

    centre: Point
    axes: FloatArray
    radius_mm: float
    reach_mm: float
    low: float
    high: float

    def holds(self, points: FloatArray) -> BoolArray:
        arm = points - np.asarray(self.centre)
        length = np.linalg.norm(arm, axis=1)
        near = length < self.reach_mm
        out = near & (length > self.radius_mm + _ON_MM)
        asked = np.flatnonzero(near & ~out & (length > 1e-9))
        if len(asked):
            sine = (arm[asked] / length[asked, None]) @ self.axes.T
            out[asked] = ~((sine >= self.low) & (sine <= self.high)).any(axis=1)
        return np.asarray(out)


@dataclass(frozen=True, eq=False)
class Cheeks:
    """All of a hinge but its cheeks and the pin's bore: the slot's floor and the eye's rim, which run free.

    axis        unit vector; cheeks lie ``half_mm`` from ``centre`` along it, out to ``eye_mm`` from it; the bore reaches
                out to ``bore_mm``
    """

    centre: Point
    axis: Point
    half_mm: float
    eye_mm: float
    bore_mm: float
    reach_mm: float

    def holds(self, points: FloatArray) -> BoolArray:
        arm = points - np.asarray(self.centre)
        along = np.abs(arm @ np.asarray(self.axis))
        off = np.sqrt(np.maximum((arm**2).sum(axis=1) - along**2, 0.0))
        near = (off < self.reach_mm) & (along < self.half_mm + 0.35)
        cheek = (np.abs(along - self.half_mm) < 0.12) & (off <= self.eye_mm)
        return np.asarray(near & ~cheek & (off > self.bore_mm))


@dataclass(frozen=True)
class Shank:
    """The end of a swivel's stud and of its bore, beyond the ridge that holds it."""

    foot: Point
    axis: Point
    to_mm: float
    reach_mm: float

    def holds(self, points: FloatArray) -> BoolArray:
        arm = points - np.asarray(self.foot)
        along = arm @ np.asarray(self.axis)
        off = np.sqrt(np.maximum((arm**2).sum(axis=1) - along**2, 0.0))
        return np.asarray((along > self.to_mm) & (along < self.to_mm + 3.0) & (off < self.reach_mm))


def clear_of(part: Part, joint: BuiltJoint, whole: Bvh) -> list[Clear]:
    """What never touches of a joint's hardware in one part (``whole`` its hierarchy). Families without an entry here bear
    on all that their enclosing solids hold."""
    kind, size = joint.seated.spec.kind, joint.size_mm
    if size is None or joint.seated.spec.custom is not None:
        return []
    out: list[Clear] = []
    for n, (axle, home) in enumerate(zip(joint.axles, joint.insertion, strict=False)):
        if part.name not in (axle.moves, axle.stays):
            continue
        centre, way = np.asarray(axle.centre, dtype=np.float64), np.asarray(home, dtype=np.float64)
        if kind == "ball":
            # Home is how the moving side goes in: into the bottom where the ball moves, away from it where the socket does.
            is_ball = bool(whole.inside(centre[None] + 0.01)[0])
            bottom = way if is_ball == (part.name == axle.moves) else -way
            moves = part.name == axle.moves
            neck = _neck_ratio(whole, centre, -bottom, 0.5 * size) if is_ball else NECK_RATIO
            out.append(_band(joint, axle.centre, bottom, neck, ball=is_ball, moves=moves))
        elif kind in ("hinge", "double_hinge") and n < len(joint.bearing):
            x, y, z = joint.seated.axes["flex"]
            along = (joint.bearing[n].mesh.vertices - centre) @ np.array([x, y, z])
            bore = 0.5 * joint.pin_mm[0] + 0.15 if joint.pin_mm is not None else 0.3 * size
            # The enclosing solid reaches 0.3 mm beyond each cheek.
            half = float(along.max()) - 0.3
            out.append(Cheeks(axle.centre, (x, y, z), half, 0.5 * size - 0.03, bore, 0.5 * size + 0.4))
        elif kind == "swivel" and joint.bearing:
            x, y, z = (float(v) for v in way)
            # The stud is its travel less half a millimetre long, and ends 0.9 mm beyond its ridge.
            ends = (joint.bearing[0].mesh.vertices - centre) @ way
            sense = 1.0 if abs(float(ends.max())) > abs(float(ends.min())) else -1.0
            ridge = joint.travel_mm - 0.5 - 0.6
            out.append(Shank(axle.centre, (sense * x, sense * y, sense * z), ridge, 0.5 * size + 1.0))
    return out


def _neck_ratio(whole: Bvh, centre: FloatArray, way: FloatArray, radius: float) -> float:
    """A ball's neck over its diameter where the neck is thinnest, measured square to it just off the ball; no less than the
    thinnest and no more than the widest that balls are given."""
    side = square_to(way, _AROUND)
    at = centre + np.linspace(*_OFF, _ALONG)[:, None] * radius * way
    rays = whole.rays(np.repeat(at, _AROUND, axis=0), np.tile(side, (_ALONG, 1))).reshape(_ALONG, _AROUND)
    thinnest = float(np.median(rays, axis=1).min())
    return float(np.clip(thinnest / radius, NECK_RATIO, WIDEST_NECK_RATIO))


def _band(joint: BuiltJoint, centre: Point, bottom: FloatArray, neck: float, *, ball: bool, moves: bool) -> Band:
    radius = 0.5 * (joint.size_mm or 0.0)
    seat = radius + (joint.clearance_mm or 0.0)
    lip = math.degrees(math.acos(min(1.0, max(0.0, (radius - joint.undercut_mm) / seat))))
    tilt = 90.0 - lip - math.degrees(math.asin(neck))
    axes = socket_ways(joint.seated, bottom, tilt, len(joint.axles), moves=moves) if ball else bottom[None]
    play = _PLAY_DEG if ball else 0.0
    low, high = math.sin(math.radians(-lip - play)), math.sin(math.radians(BAND_TOP_DEG + play))
    return Band(centre, axes, max(radius, seat), radius + 1.5, low, high)


def socket_ways(seated: SeatedJoint, bottom: FloatArray, tilt_deg: float, axles: int, *, moves: bool) -> FloatArray:
    """Ways (k, 3) to the socket's bottom as the ball's own part sees them over the wanted range.

    ``bottom`` is the way in the sculpt's pose; swings are cut at ``tilt_deg``, and a joint that states no range is taken to
    tilt that far to every side. Of several axles each turns by its share. ``moves``: the ball is on the moving side.
    """
    spans: list[tuple[Motion, Sequence[float]]] = []
    for motion in seated.axes:
        low, high = seated.spec.wanted.get(motion, (-180.0, 180.0) if not seated.spec.wanted else (0.0, 0.0))
        rest = seated.rest.get(motion, 0.0)
        most = 180.0 if motion == "twist" else tilt_deg * axles
        low, high = max(low, rest - most), min(high, rest + most)
        low, high = min(low, rest), max(high, rest)
        spans.append((motion, np.linspace(low, high, max(2, math.ceil((high - low) / _STEP_DEG) + 1)).tolist()))
    # A turn is a swing, then a twist: every swing is worked out once, and every twist.
    swung = [(m, s) for m, s in spans if m != "twist"]
    swings = np.stack(
        [
            joint_turn(seated, dict(zip((m for m, _ in swung), angles, strict=True)))
            for angles in itertools.product(*(s for _, s in swung))
        ]
    )
    twists = np.stack(
        [rotation_about(np.asarray(seated.axes[m]), t) for m, s in spans if m == "twist" for t in s] or [np.eye(3)]
    )
    if moves:
        ways = np.einsum("tji,sj->sti", twists, np.einsum("sji,j->si", swings, bottom))
    else:
        ways = np.einsum("sij,tj->sti", swings, np.einsum("tij,j->ti", twists, bottom))
    found = np.concatenate([bottom[None], _no_further(bottom, ways.reshape(-1, 3), tilt_deg, axles)])
    kept: list[FloatArray] = []
    while len(found):
        kept.append(found[0])
        found = found[found @ found[0] < _SAME]
    return np.array(kept)


def _no_further(bottom: FloatArray, ways: FloatArray, tilt_deg: float, axles: int) -> FloatArray:
    """Ways (n, 3) turned back towards the bottom until they are no further off than the neck lets it tilt."""
    cosine = np.clip(ways @ bottom, -1.0, 1.0)
    most = np.minimum(np.arccos(cosine) / axles, math.radians(tilt_deg))[:, None]
    side = ways - cosine[:, None] * bottom
    size = np.linalg.norm(side, axis=1, keepdims=True)
    turned = np.cos(most) * bottom + np.sin(most) * side / np.maximum(size, 1e-9)
    return np.where(size < 1e-9, bottom, turned)
