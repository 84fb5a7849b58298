"""Build directions to try: even over the sphere, flat sides down, necks lying, and closer around the best."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from condyle.geometry.mesh import FloatArray

EVEN = 320

_ONE_FLAT = np.cos(np.radians(0.5))


def even(count: int = EVEN) -> FloatArray:
    """Directions (count, 3) spread evenly over the sphere by the golden angle, some 11° apart for 320.

    A spiral lattice: Swinbank & Purser, Q. J. R. Meteorol. Soc. 132 (2006) 1769-1793, from memory.
    """
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * k
    r = np.sqrt(np.maximum(1.0 - z * z, 0.0))
    return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)


def outermost(points: FloatArray) -> FloatArray:
    """Those of points (n, 3) that span their convex hull; all of them where they have none."""
    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except QhullError:
        return points


def flats(points: FloatArray, most: int = 40) -> FloatArray:
    """Directions that lay the largest flats of the convex hull of points on the plate, largest first."""
    try:
        hull = ConvexHull(points)
    except QhullError:
        return np.zeros((0, 3))
    corners = hull.points[hull.simplices]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    normal = hull.equations[:, :3]
    # Facets within half a degree of each other make one flat; of thousands of facets, only the largest can start one.
    seeds: list[int] = []
    order = np.argsort(-area, kind="stable")[: 6 * most]
    while len(order):
        seeds.append(int(order[0]))
        order = order[normal[order] @ normal[order[0]] <= _ONE_FLAT]
    share = np.where(normal[seeds] @ normal.T > _ONE_FLAT, area, 0.0)
    heap = share.sum(axis=1)
    mean = share @ normal
    best = np.argsort(-heap, kind="stable")[:most]
    return np.asarray(-mean[best] / np.linalg.norm(mean[best], axis=1, keepdims=True))


def square_to(axis: FloatArray, count: int = 24) -> FloatArray:
    """Directions square to an axis: it lies flat in the layers."""
    a = np.asarray(axis, dtype=np.float64)
    x = np.eye(3)[int(np.argmin(np.abs(a)))]
    x = x - a * float(a @ x)
    x /= np.linalg.norm(x)
    t = 2.0 * np.pi * np.arange(count) / count
    return np.asarray(np.cos(t)[:, None] * x + np.sin(t)[:, None] * np.cross(a, x))


def around(direction: FloatArray, angle_deg: float, count: int = 6) -> FloatArray:
    """A ring of directions at an angle about one."""
    t = np.radians(angle_deg)
    return np.asarray(np.cos(t) * direction + np.sin(t) * square_to(direction, count))


def apart_deg(a: FloatArray, b: FloatArray) -> FloatArray:
    """Angle between directions, degrees."""
    return np.asarray(np.degrees(np.arccos(np.clip(np.asarray(a) @ np.asarray(b).T, -1.0, 1.0))))
