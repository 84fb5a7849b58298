"""Build directions to try: even over the sphere, flat sides down, necks lying, and closer around the best."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from condyle.geometry.mesh import FloatArray

EVEN = 400


def even(count: int = EVEN) -> FloatArray:
    """Directions (count, 3) spread evenly over the sphere by the golden angle, some 10° apart for 400.

    A spiral lattice: Swinbank & Purser, Q. J. R. Meteorol. Soc. 132 (2006) 1769-1793, from memory.
    """
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * k
    r = np.sqrt(np.maximum(1.0 - z * z, 0.0))
    return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)


def flats(points: FloatArray, most: int = 40) -> FloatArray:
    """Directions that lay the largest flats of the convex hull of points on the plate, largest first."""
    try:
        hull = ConvexHull(points)
    except QhullError:
        return np.zeros((0, 3))
    corners = hull.points[hull.simplices]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    normal = hull.equations[:, :3]
    found: list[FloatArray] = []
    heaps: list[float] = []
    # Facets within half a degree of each other make one flat.
    for k in np.argsort(-area, kind="stable"):
        for n, known in enumerate(found):
            if float(known @ normal[k]) > 0.99996:
                heaps[n] += float(area[k])
                break
        else:
            if len(found) < 4 * most:
                found.append(normal[k])
                heaps.append(float(area[k]))
    order = np.argsort(-np.array(heaps), kind="stable")[:most]
    return -np.array([found[n] for n in order]).reshape(-1, 3)


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
