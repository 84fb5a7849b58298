"""Simple forms filled with points: whether two of them have room in common, told by the points of one in the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray

# What forms hold in their frames: a round or a square pillar between two heights; below z = 0 a ball about the origin or
# a barrel about x. Measures: z0, z1 and radius; z0, z1 and half widths; radius; radius and half length.
_PILLAR, _SQUARE, _BALL, _BARREL = range(4)


@dataclass(frozen=True, eq=False)
class Form:
    """A form in a frame, and the points in figure coordinates that fill it."""

    frame: Frame
    kind: int
    measures: FloatArray
    points: FloatArray
    low: FloatArray
    high: FloatArray

    def meets(self, other: Form) -> bool:
        """Whether a point of one lies in the other. What slips between the points is not noticed."""
        if _apart(self.low, self.high, other.low, other.high):
            return False
        return _has(self, other) or _has(other, self)

    def moved(self, by_mm: FloatArray) -> Form:
        """The same form elsewhere; ``by_mm`` (3,) in figure coordinates."""
        frame = Frame(self.frame.origin + by_mm, self.frame.rotation)
        return Form(frame, self.kind, self.measures, self.points + by_mm, self.low + by_mm, self.high + by_mm)


def pillar(frame: Frame, z0: float, z1: float, radius_mm: float, spacing_mm: float) -> Form:
    """A round pillar about the frame's z."""
    measures = (z0, z1, radius_mm, radius_mm)
    return _filled(frame, (-radius_mm, -radius_mm, z0), (radius_mm, radius_mm, z1), _PILLAR, measures, spacing_mm)


def square_pillar(frame: Frame, z0: float, z1: float, half_x: float, half_y: float, spacing_mm: float) -> Form:
    """A pillar of rectangular section about the frame's z."""
    return _filled(frame, (-half_x, -half_y, z0), (half_x, half_y, z1), _SQUARE, (z0, z1, half_x, half_y), spacing_mm)


def half_ball(frame: Frame, radius_mm: float, spacing_mm: float) -> Form:
    """The half of a ball about the frame's origin that lies below z = 0."""
    r = radius_mm
    return _filled(frame, (-r, -r, -r), (r, r, 0.0), _BALL, (r, 0.0, 0.0, 0.0), spacing_mm)


def half_barrel(frame: Frame, radius_mm: float, half_x: float, spacing_mm: float) -> Form:
    """The half of a cylinder about the frame's x that lies below z = 0."""
    r = radius_mm
    return _filled(frame, (-half_x, -r, -r), (half_x, r, 0.0), _BARREL, (r, half_x, 0.0, 0.0), spacing_mm)


def _has(form: Form, other: Form) -> bool:
    frame = other.frame
    return bool(_any_in(form.points, frame.origin, frame.rotation, other.kind, other.measures))


def _filled(
    frame: Frame,
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    kind: int,
    measures: tuple[float, float, float, float],
    spacing: float,
) -> Form:
    x, y, z = (
        np.linspace(a + 1e-6, b - 1e-6, max(2, int(np.ceil((b - a) / spacing)) + 1))
        for a, b in zip(low, high, strict=True)
    )
    kept = np.array(measures)
    points = _points_of(x, y, z, kind, kept, frame.origin, frame.rotation)
    return Form(frame, kind, kept, points, points.min(axis=0), points.max(axis=0))


@njit(cache=True, inline="always")
def _holds(x: float, y: float, z: float, kind: int, m: FloatArray) -> bool:
    if kind == _PILLAR:
        return m[0] < z < m[1] and x * x + y * y < m[2] * m[2]
    if kind == _SQUARE:
        return m[0] < z < m[1] and abs(x) < m[2] and abs(y) < m[3]
    if kind == _BALL:
        return z < 0.0 and x * x + y * y + z * z < m[0] * m[0]
    return z < 0.0 and y * y + z * z < m[0] * m[0] and abs(x) < m[1]


@njit(cache=True)
def _points_of(
    xs: FloatArray,
    ys: FloatArray,
    zs: FloatArray,
    kind: int,
    measures: FloatArray,
    origin: FloatArray,
    rotation: FloatArray,
) -> FloatArray:
    """The points of a grid that a form holds, in figure coordinates."""
    found = np.empty((len(xs) * len(ys) * len(zs), 3))
    n = 0
    for x in xs:
        for y in ys:
            for z in zs:
                if _holds(x, y, z, kind, measures):
                    for k in range(3):
                        found[n, k] = rotation[k, 0] * x + rotation[k, 1] * y + rotation[k, 2] * z + origin[k]
                    n += 1
    return found[:n].copy()


@njit(cache=True)
def _any_in(points: FloatArray, origin: FloatArray, rotation: FloatArray, kind: int, measures: FloatArray) -> bool:
    """Whether a form holds any of the points."""
    for i in range(len(points)):
        p, q, r = points[i, 0] - origin[0], points[i, 1] - origin[1], points[i, 2] - origin[2]
        x = p * rotation[0, 0] + q * rotation[1, 0] + r * rotation[2, 0]
        y = p * rotation[0, 1] + q * rotation[1, 1] + r * rotation[2, 1]
        z = p * rotation[0, 2] + q * rotation[1, 2] + r * rotation[2, 2]
        if _holds(x, y, z, kind, measures):
            return True
    return False


@njit(cache=True)
def _apart(low: FloatArray, high: FloatArray, other_low: FloatArray, other_high: FloatArray) -> bool:
    """Whether two boxes have no room in common."""
    apart = False
    for k in range(3):
        apart = apart or low[k] > other_high[k] or other_low[k] > high[k]
    return apart
