"""What relief leaves alone: hardware with its walls, and the regions that the maker keeps; as signed distances."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from condyle.figure.parting.hardware import Hardware
from condyle.figure.parting.plan import Half
from condyle.figure.relief.wish import KeptBall, KeptBox
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.nearby import near_frame
from condyle.joints import ball
from condyle.joints.stock import Stock

_NECK_FLARE = 1.45
_GROOVE_WALL = 1.15
_FAR_MM = 99.0


def kept_distance(
    points: FloatArray, hardware: Sequence[Hardware], kept: Sequence[KeptBall | KeptBox], stock: Stock
) -> FloatArray:
    """Signed distance (…) of points (…, 3) to everything kept, negative inside; about a true distance near its skin."""
    flat = points.reshape(-1, 3)
    out: FloatArray = np.full(len(flat), _FAR_MM)
    low, high = flat.min(axis=0), flat.max(axis=0)
    for h in hardware:
        for half in (p.half for p in h.placed):
            reach = _reach(half, stock)
            origin = half.frame.origin
            if (origin + reach < low).any() or (origin - reach > high).any():
                continue
            near, local = near_frame(flat, half.frame, reach)
            out[near] = np.minimum(out[near], _hardware(local, half, stock))
    out = out.reshape(points.shape[:-1])
    for region in kept:
        if isinstance(region, KeptBall):
            apart = np.linalg.norm(points - np.asarray(region.centre), axis=-1) - region.radius_mm
        else:
            a, b = np.asarray(region.low), np.asarray(region.high)
            apart = np.maximum(a - points, points - b).max(axis=-1)
        out = np.minimum(out, apart)
    return out


def by_design(points: FloatArray, halves: Sequence[Half]) -> BoolArray:
    """Points (n, 3) so near the joint's own bearing that contact there is by design, or hidden in its socket."""
    out = np.zeros(len(points), dtype=bool)
    for half in halves:
        if isinstance(half.shape, ball.BallShape):
            mouth = math.hypot(max(half.shape.ring_outer, half.shape.opening), half.shape.well_z) + 0.1
            out[near_frame(points, half.frame, mouth)[0]] = True
        elif half.cut.shape == "cylinder":
            every, local = near_frame(points, half.frame, math.inf)
            out[every[local[:, 1] ** 2 + local[:, 2] ** 2 <= (half.cut.cup_mm + 0.3) ** 2]] = True
        else:
            wide = max((n.half_x for n in half.needs), default=half.cut.cup_mm)
            out[near_frame(points, half.frame, wide)[0]] = True
    return out


def lip_tilt_deg(hardware: Hardware) -> tuple[float, FloatArray]:
    """How far a ball's neck may lean until it meets the lip, whatever its mouth, and the stud's direction.

    180 degrees for every other family. For a lip without thickness this is 90° - θ - asin(r_n / R).
    """
    half = hardware.placed[0].half
    if not isinstance(half.shape, ball.BallShape):
        return 180.0, half.frame.z
    s = half.shape
    edge = s.lip_z - (s.lip_z - s.well_z) / 3.0
    best = 0.0
    for tilt in np.arange(1.0, 75.0, 0.5):
        t = math.radians(float(tilt))
        at_edge = -edge * math.tan(t) + s.neck / math.cos(t)
        at_lip = -s.well_z * math.tan(t) + s.neck / math.cos(t)
        if at_edge > s.opening or at_lip > max(s.opening, s.ring_outer):
            break
        best = float(tilt)
    return best, half.frame.z


def _reach(half: Half, stock: Stock) -> float:
    """How far from the joint's centre its hardware and walls reach, and a little more."""
    far = max((math.hypot(max(abs(n.z0), abs(n.z1)), n.half_x, n.half_y) for n in half.needs), default=0.0)
    if isinstance(half.shape, ball.BallShape):
        far = max(
            far, half.cut.cup_mm + ball.root_mm(half.shape) + stock.wall_mm, ball.smallest_cut_mm(half.shape, stock),
            math.hypot(half.shape.ring_outer, half.shape.root_z) + 1.5 * stock.wall_mm,
        )  # fmt: skip
    return far + 1.5


def _hardware(local: FloatArray, half: Half, stock: Stock) -> FloatArray:
    across, z = np.hypot(local[..., 0], local[..., 1]), local[..., 2]
    s = half.shape
    if isinstance(s, ball.BallShape):
        away = np.hypot(across, z)
        wall = ball.smallest_cut_mm(s, stock)
        top = max(s.root_z, s.seat) + 1.2 * stock.wall_mm
        socket = np.maximum(away - max(wall, top), s.well_z - z)
        if s.socket == "slit":
            # The groove behind its fingers is as wide at its root as at its mouth: a wall stays around all of it.
            groove = (
                np.maximum(across - s.ring_outer, np.maximum(z - s.root_z, s.lip_z - z)) - _GROOVE_WALL * stock.wall_mm
            )
            socket = np.minimum(socket, np.maximum(groove, s.well_z - z))
        foot = half.cut.cup_mm + ball.root_mm(s)
        neck = np.maximum(
            across - (_NECK_FLARE * s.neck + 0.3 * stock.wall_mm), np.maximum(-foot - stock.wall_mm - z, z)
        )
        bearing = away - (max(s.ball, s.seat) + 0.3)
        return np.asarray(np.minimum(np.minimum(socket, neck), bearing))
    out = np.full(z.shape, _FAR_MM)
    for need in half.needs:
        if need.rounded:
            side = across - need.half_x
        else:
            side = np.maximum(np.abs(local[..., 0]) - need.half_x, np.abs(local[..., 1]) - need.half_y)
        out = np.minimum(out, np.maximum(side, np.maximum(need.z0 - z, z - need.z1)))
    return out
