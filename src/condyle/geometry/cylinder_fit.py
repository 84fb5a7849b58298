"""Whether a body can lie wholly inside a short cylinder with a sloped floor: a true search over all its turns.

The cylinder's rim is the plane z = 0; its floor falls with the slope of its two depths over its width. For one turn the
test is exact: moved along the floor's slope as little as its width allows, does the body stay below the rim? The body
is moved to where the slack is largest; the search over turns climbs that slack. A body is only its convex hull here,
since floor, wall and rim together are convex.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from condyle.geometry.mesh import FloatArray

_STARTS = 600
_CLIMBED = 8
_FEW = 160


@dataclass(frozen=True)
class Cylinder:
    """Width (diameter), and the depths of the floor at its shallow and at its deep side, mm."""

    width_mm: float
    shallow_mm: float
    deep_mm: float


@dataclass(frozen=True)
class CylinderFit:
    """The best slack found, mm: by how much the body lies below the rim (negative: it sticks out), and the turn (3, 3).

    A slack at or above 0 proves that the body fits. One below 0 says that no turn was found: the search covers the
    turns at 600 places and climbs from the best, so a narrow way in that such a climb misses would be missed.
    """

    slack_mm: float
    turn: FloatArray

    @property
    def fits(self) -> bool:
        return self.slack_mm >= 0.0


def fit_in_cylinder(vertices: FloatArray, cylinder: Cylinder) -> CylinderFit:
    """Search the turns of a body (n, 3), mm. ValueError for fewer than four points or flat ones.

    What is longer than the longest line inside the cylinder is answered at once with the slack of one turn.
    """
    points = np.asarray(vertices, dtype=np.float64)
    hull = points[ConvexHull(points).vertices]
    hull = hull - hull.mean(axis=0)
    slope = (cylinder.deep_mm - cylinder.shallow_mm) / cylinder.width_mm
    middle = 0.5 * (cylinder.deep_mm + cylinder.shallow_mm)

    def slack_of(body: FloatArray) -> Callable[[FloatArray], float]:
        return lambda turn: float(_slack(np.ascontiguousarray(body @ turn.T), 0.5 * cylinder.width_mm, middle, slope))

    whole = slack_of(hull)
    longest = math.hypot(cylinder.width_mm, cylinder.deep_mm)
    over = _diameter(hull) - longest
    if over > 0.0:
        return CylinderFit(min(whole(np.eye(3)), -over), np.eye(3))
    # The search asks a few of the corners, which can only flatter; what it finds is then judged by all of them.
    few = slack_of(_fewer(hull))
    axes = np.linalg.svd(hull, full_matrices=False)[2]
    axes = axes if np.linalg.det(axes) > 0 else -axes
    turns = np.concatenate(
        [
            [axes, axes[[1, 2, 0]], axes[[2, 0, 1]]],
            Rotation.random(_STARTS, random_state=np.random.RandomState(7)).as_matrix(),
        ]
    )
    worth = np.array([few(t) for t in turns])
    best = CylinderFit(-math.inf, np.eye(3))
    for k in np.argsort(-worth, kind="stable")[:_CLIMBED]:
        turn = _climb(turns[k], float(worth[k]), few).turn
        best = max(best, CylinderFit(whole(turn), turn), key=lambda c: c.slack_mm)
        if best.fits:
            return best
    return _climb(best.turn, best.slack_mm, whole)


def _fewer(hull: FloatArray) -> FloatArray:
    """The corners that stand out most in directions spread evenly over the sphere (a Fibonacci lattice)."""
    if len(hull) <= _FEW:
        return hull
    k = np.arange(_FEW) + 0.5
    z = 1.0 - 2.0 * k / _FEW
    turn = k * math.pi * (3.0 - math.sqrt(5.0))
    around = np.sqrt(1.0 - z * z)
    ways = np.stack([around * np.cos(turn), around * np.sin(turn), z], axis=1)
    return hull[np.unique((hull @ ways.T).argmax(axis=0))]


def _climb(turn: FloatArray, at: float, slack: Callable[[FloatArray], float]) -> CylinderFit:
    """Small turns about six axes, halved when none helps, down to a hundredth of a degree."""
    step = math.radians(8.0)
    while step > math.radians(0.01):
        tries = [Rotation.from_rotvec(step * s * axis).as_matrix() @ turn for axis in np.eye(3) for s in (1.0, -1.0)]
        worth = [slack(t) for t in tries]
        k = int(np.argmax(worth))
        if worth[k] > at + 1e-9:
            turn, at = tries[k], worth[k]
        else:
            step *= 0.5
    return CylinderFit(at, turn)


def _diameter(hull: FloatArray) -> float:
    spread = hull[:, None, :] - hull[None, :, :] if len(hull) <= 1500 else hull[:1500, None, :] - hull[None, ::7, :]
    return float(np.sqrt((spread**2).sum(axis=2).max()))


@njit(cache=True)
def _slack(points: FloatArray, radius: float, middle: float, slope: float) -> float:
    """How far below the rim the highest point comes, for one turn, the body moved to where that is most.

    With the move (a, b, c): the wall asks |(x, y) + (a, b)| <= radius; the floor z + c >= slope (x + a) - middle. So the
    highest point comes to max z + max(slope x - z) + slope a - middle: the smallest a that the wall allows is best.
    """
    top, lift = -np.inf, -np.inf
    for i in range(len(points)):
        top = max(top, points[i, 2])
        lift = max(lift, slope * points[i, 0] - points[i, 2])
    a, over = _least_a(points, radius)
    return middle - top - lift - slope * a - 1e3 * over


@njit(cache=True)
def _least_a(points: FloatArray, radius: float) -> tuple[float, float]:
    """The smallest a for which some b keeps all points within the circle; and by how much they are too wide for it."""
    # The centre of the smallest circle about the points, by the method of successive farthest points (Badoiu, Clarkson).
    cx, cy = points[0, 0], points[0, 1]
    for k in range(1, 400):
        far, worst = 0, -1.0
        for i in range(len(points)):
            d = (points[i, 0] - cx) ** 2 + (points[i, 1] - cy) ** 2
            if d > worst:
                far, worst = i, d
        cx += (points[far, 0] - cx) / (k + 1)
        cy += (points[far, 1] - cy) / (k + 1)
    worst = 0.0
    for i in range(len(points)):
        worst = max(worst, math.sqrt((points[i, 0] - cx) ** 2 + (points[i, 1] - cy) ** 2))
    if worst > radius:
        return -cx, worst - radius
    high = -cx
    low = -np.inf
    for i in range(len(points)):
        low = max(low, -points[i, 0] - radius)
    for _ in range(40):
        a = 0.5 * (low + high)
        down, up = -np.inf, np.inf
        for i in range(len(points)):
            reach = radius * radius - (points[i, 0] + a) ** 2
            if reach < 0.0:
                down, up = 1.0, 0.0
                break
            reach = math.sqrt(reach)
            down, up = max(down, -points[i, 1] - reach), min(up, -points[i, 1] + reach)
        if down <= up:
            high = a
        else:
            low = a
    return high, 0.0
