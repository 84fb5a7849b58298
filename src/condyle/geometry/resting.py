"""How a body comes to rest on level ground: it rolls over its points until its centre of mass stands over its contacts.

Quasi-static: no speed is gathered, no foot slips. Seen from the centre of mass, the ground is a direction *down*, and the
height over the ground is the support function h(d) = max d·(v − c) of the body's points. Rolling is its steepest descent on
the sphere of directions: along a great circle until a new point touches, and so on; where no direction leads down the
body rests (K. Y. Goldberg et al., Part Pose Statistics, IJRR 18(1) (1999) 57–72, rolls over facets alike; from memory).
Only the convex hull of a body touches level ground, so parts may come as the corners of their hulls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from condyle.errors import UsageError
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray, IntArray

_MOST_ROLLS = 4000
_WINDOW = math.radians(6.0)  # how far it rolls before the points that may come to bear are looked for again


@dataclass(frozen=True, eq=False)
class Rest:
    """Where a body has come to rest.

    down        unit vector (3,) in the body's coordinates that points to the ground
    contacts    indices of the points that touch
    height_mm   of the centre of mass over the ground
    rolled_deg  length of the way that ``down`` has gone
    """

    down: FloatArray
    contacts: IntArray
    height_mm: float
    rolled_deg: float


@dataclass(frozen=True, eq=False)
class Footing:
    """What a body stands on, seen from above.

    polygon     (k, 2) corners of the support polygon, counter-clockwise, mm, the centre of mass's foot at the origin
    margin_mm   distance from the origin to the nearest edge; negative where it lies outside
    height_mm   of the centre of mass
    tips_deg    (72,) tilt of the ground, falling towards 0, 5, 10 … degrees from +x, at which the body tips over
    """

    polygon: FloatArray
    margin_mm: float
    height_mm: float
    tips_deg: FloatArray

    @property
    def tip_deg(self) -> float:
        """The smallest tilt, over all directions, that tips it: atan(margin/height)."""
        return math.degrees(math.atan2(self.margin_mm, self.height_mm))

    @property
    def weakest_deg(self) -> float:
        """The direction, degrees from +x, in which it tips first."""
        edges = _edges(self.polygon)
        return math.degrees(math.atan2(*edges[int(np.argmin(edges[:, 2])), 1::-1])) if len(edges) else 0.0


def hull_corners(points: FloatArray) -> FloatArray:
    """The corners (k, 3) of the convex hull of points; the points themselves where they are flat or few."""
    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except (QhullError, ValueError):
        return np.asarray(points)


def settle(points: FloatArray, centre: FloatArray, down: FloatArray, flush_mm: float = 1e-6) -> Rest:
    """Put a body down with ``down`` below and let it roll until it rests.

    points (n, 3) are the body's corners, centre (3,) its centre of mass, which must lie within their hull. Points within
    ``flush_mm`` of the ground touch. UsageError ``rest.centre`` where the centre lies outside.
    """
    arms = np.asarray(points, dtype=np.float64) - np.asarray(centre, dtype=np.float64)
    d = unit(down)
    rolled, left = 0.0, 0.0
    near, some = np.arange(len(arms)), arms
    for _ in range(_MOST_ROLLS):
        fresh = left <= 0.0
        if fresh:
            near, left = _may_bear(arms, d, flush_mm), _WINDOW
            some = arms[near]
        heights = some @ d
        high = float(heights.max())
        if high <= 0.0:
            raise UsageError("rest.centre", "the centre of mass lies outside of the body's hull")
        touching = np.flatnonzero(heights >= high - flush_mm)
        way = _steepest(some[touching], d)
        if way is None:
            return Rest(d, near[touching].astype(np.int32), high, math.degrees(rolled))
        turn = _until_next(some, heights, touching, way)
        if turn > left:
            # Something that was left out may come first.
            left = 0.0
            if not fresh:
                continue
            turn = _until_next(arms, arms @ d, near[touching], way)
        d = unit(math.cos(turn) * d + math.sin(turn) * way)
        rolled += turn
        left -= turn
    return Rest(d, near[touching].astype(np.int32), high, math.degrees(rolled))


def _may_bear(arms: FloatArray, d: FloatArray, flush_mm: float) -> NDArray[np.int64]:
    """The points that can touch the ground under any direction within ``_WINDOW`` of ``d``.

    Turned by t, a point v comes as low as the lowest one u only if it is no more than tan t · |v - u| above it.
    """
    heights = arms @ d
    lowest = int(np.argmax(heights))
    apart = arms - arms[lowest]
    reach = np.sqrt(np.einsum("ij,ij->i", apart, apart))
    slack = heights[lowest] - heights - 2.0 * flush_mm
    return np.flatnonzero(slack <= math.tan(1.01 * _WINDOW) * reach)


def footing(points: FloatArray, centre: FloatArray, contact_mm: float = 1e-6) -> Footing:
    """The footing of a body that rests with down = -z: all points within ``contact_mm`` of the lowest bear."""
    low = float(points[:, 2].min())
    on = points[points[:, 2] <= low + contact_mm, :2] - np.asarray(centre)[:2]
    polygon = flat_hull(on)
    height = float(centre[2]) - low
    edges = _edges(polygon)
    margin = float(edges[:, 2].min()) if len(polygon) >= 3 else -float(np.linalg.norm(on, axis=1).min())
    angles = np.radians(np.arange(0.0, 360.0, 5.0))
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    reach = np.full(len(ways), margin)
    if margin > 0.0:
        facing = ways @ edges[:, :2].T
        along = np.where(facing > 1e-9, edges[None, :, 2] / np.maximum(facing, 1e-9), np.inf)
        reach = along.min(axis=1)
    return Footing(polygon, margin, height, np.degrees(np.arctan2(reach, height)))


def upright(down: FloatArray) -> FloatArray:
    """The smallest rotation (3, 3) that turns ``down`` to -z."""
    d = unit(down)
    z = np.array([0.0, 0.0, -1.0])
    axis = np.cross(d, z)
    sine, cosine = float(np.linalg.norm(axis)), float(d @ z)
    if sine < 1e-12:
        return np.eye(3) if cosine > 0 else np.diag([1.0, -1.0, -1.0])
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.asarray(np.eye(3) + k + k @ k * ((1.0 - cosine) / sine**2))


def flat_hull(points: FloatArray) -> FloatArray:
    """Convex hull (k, 2) of points in the plane, counter-clockwise: Andrew's monotone chain."""
    # On plain floats: most sets are a handful of contacts.
    ordered: list[tuple[float, float]] = sorted({(float(x), float(y)) for x, y in points.tolist()})
    if len(ordered) < 3:
        return np.array(ordered).reshape(-1, 2)

    def half(run: list[tuple[float, float]]) -> list[tuple[float, float]]:
        chain: list[tuple[float, float]] = []
        for p in run:
            while len(chain) >= 2 and _turns(chain[-2], chain[-1], p) <= 0.0:
                chain.pop()
            chain.append(p)
        return chain[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _turns(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _edges(polygon: FloatArray) -> FloatArray:
    """Outward unit normal and distance of the origin inwards of each edge, (k, 3)."""
    step = np.roll(polygon, -1, axis=0) - polygon
    length = np.linalg.norm(step, axis=1)
    keep = length > 1e-12
    normal = np.stack([step[keep, 1], -step[keep, 0]], axis=1) / length[keep, None]
    return np.column_stack([normal, (normal * polygon[keep]).sum(axis=1)])


def _steepest(arms: FloatArray, d: FloatArray) -> FloatArray | None:
    """The unit direction, square to d, in which the height falls fastest on these contacts; None where it rests.

    It is opposite to the point nearest to the centre's foot in the hull of the contacts, seen along d.
    """
    u, v = _square_to(d)
    flat = flat_hull(np.stack([arms @ u, arms @ v], axis=1))
    size = float(np.abs(flat).max())
    if len(flat) >= 3:
        edges = _edges(flat)
        if edges[:, 2].min() >= -1e-9 * size:
            return None
    after = np.roll(flat, -1, axis=0)
    step = after - flat
    share = np.clip(-(flat * step).sum(1) / np.maximum((step**2).sum(1), 1e-30), 0.0, 1.0)
    near = flat + share[:, None] * step
    best = near[int(np.argmin((near**2).sum(1)))]
    if float(np.linalg.norm(best)) <= 1e-9 * size:
        return None
    return np.asarray(-unit(best[0] * u + best[1] * v))


def _square_to(d: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors square to d and to each other."""
    x, y, z = (float(c) for c in d)
    # d × the axis that it leans to least, on plain floats: a roll is a few dozen of these.
    across = min(((abs(x), (0.0, z, -y)), (abs(y), (-z, 0.0, x)), (abs(z), (y, -x, 0.0))), key=lambda t: t[0])[1]
    length = math.sqrt(across[0] ** 2 + across[1] ** 2 + across[2] ** 2)
    a, b, c = (t / length for t in across)
    return np.array([a, b, c]), np.array([y * c - z * b, z * a - x * c, x * b - y * a])


def _until_next(arms: FloatArray, heights: FloatArray, touching: NDArray[np.int64], way: FloatArray) -> float:
    """The turn, radians, until a point that does not touch comes down to those that stay."""
    slopes = arms @ way
    stays = touching[int(np.argmax(slopes[touching]))]
    drop, gain = heights[stays] - heights, slopes - slopes[stays]
    gain[touching] = -1.0
    coming = gain > 1e-12
    # With nothing in the way the body would turn until it lies on the other side; hulls always have a next point.
    return float(np.arctan2(np.maximum(drop[coming], 0.0), gain[coming]).min()) if coming.any() else math.pi / 2
