"""Two triangles, one of them moving: how far it goes before they come within a clearance. Conservative advancement.

A step is free for certain: (distance − clearance) / lever, the lever being the speed of the fastest point; and, in a single
turn or shift, as much as keeps the two parted across a slab between them, solved in closed form. Nothing is sampled in
between. The idea: Mirtich, Impulse-based Dynamic Simulation of Rigid Body Systems, PhD thesis, UC Berkeley (1996), chapter 2
(from memory); the slab's closed form is derived here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from condyle.geometry.mesh import FloatArray
from condyle.geometry.trianglepair import pair_distance2

TURN, SHIFT, TWO_TURNS = 0, 1, 2


class Path(NamedTuple):
    """A motion for the kernels, from 0 on in its own sense.

    kind    TURN about a line, SHIFT along a direction, or TWO_TURNS: half about a far line carried by half about a near one
    start   (4, 4), where the motion begins
    centre  a point of the line at the start (TWO_TURNS: of the far line)
    axis    unit direction of turn or shift
    near    a point of the near line; for TWO_TURNS alone
    per     radians, or mm of a shift, for each unit of the motion's own parameter
    """

    kind: int
    start: FloatArray
    centre: FloatArray
    axis: FloatArray
    near: FloatArray
    per: float


class Slack(NamedTuple):
    """By how much more than the clearance a point must stay away: lever · (fixed + 4 · asin(rate · sin(turned / 2))).

    levers  mm, of each triangle in the order of the tree, and of each node; the lever of a point is no more than its triangle's
    """

    triangles: FloatArray
    nodes: FloatArray
    fixed: float
    rate: float


NO_SLACK = Slack(np.zeros(0), np.zeros(0), 0.0, 0.0)


@njit(cache=True)
def two_turns(x: float, y: float, near: FloatArray, turned: float) -> tuple[float, float]:  # pragma: no cover
    """A point, in coordinates across the far line, after half the turn about that line and half about the near one."""
    c, s = np.cos(0.5 * turned), np.sin(0.5 * turned)
    x, y = c * x - s * y - near[0], s * x + c * y - near[1]
    return near[0] + c * x - s * y, near[1] + s * x + c * y


@njit(cache=True)
def _across_slab(
    tri: FloatArray, other: FloatArray, nx: float, ny: float, nz: float, kind: int, centre: FloatArray,
    axis: FloatArray, clearance: float, limit: float,
) -> float:  # pragma: no cover  # fmt: skip
    """How far the triangle may move before it comes nearer than ``clearance`` across the slab between the two.

    n is the slab's unit normal, from the moving to the still triangle; 0 where that slab is not as wide as the clearance.
    For a corner with offset r from the axis and height h over the slab, n·(moved corner) = h + A sin t + B (1 − cos t),
    A = n·(axis × r), B = −n·r; the first t at which that reaches the far face less the clearance.
    """
    far = np.inf
    for c in range(3):
        far = min(far, nx * other[c, 0] + ny * other[c, 1] + nz * other[c, 2])
    far -= clearance
    best = limit
    if kind == SHIFT:
        speed = nx * axis[0] + ny * axis[1] + nz * axis[2]
        for c in range(3):
            room = far - (nx * tri[c, 0] + ny * tri[c, 1] + nz * tri[c, 2])
            if room <= 0.0:
                return 0.0
            if speed > 0.0:
                best = min(best, room / speed)
        return best
    for c in range(3):
        rx, ry, rz = tri[c, 0] - centre[0], tri[c, 1] - centre[1], tri[c, 2] - centre[2]
        along = rx * axis[0] + ry * axis[1] + rz * axis[2]
        rx -= along * axis[0]
        ry -= along * axis[1]
        rz -= along * axis[2]
        sx = axis[1] * rz - axis[2] * ry
        sy = axis[2] * rx - axis[0] * rz
        sz = axis[0] * ry - axis[1] * rx
        a = nx * sx + ny * sy + nz * sz
        b = -(nx * rx + ny * ry + nz * rz)
        room = far - (nx * tri[c, 0] + ny * tri[c, 1] + nz * tri[c, 2])
        if room <= 0.0:
            return 0.0
        reach = np.sqrt(a * a + b * b)
        level = room - b
        if level >= reach:
            continue
        t = (np.arctan2(b, a) + np.arcsin(max(level / reach, -1.0))) % (2.0 * np.pi)
        best = min(best, t)
    return best


@njit(cache=True)
def _any_slab(
    tri: FloatArray, other: FloatArray, out: FloatArray, distance: float, kind: int, centre: FloatArray,
    axis: FloatArray, clearance: float, limit: float,
) -> float:  # pragma: no cover  # fmt: skip
    """The best of three slabs: between the nearest points, and along either face: faces that slide part along these."""
    best = _across_slab(
        tri, other, (out[3] - out[0]) / distance, (out[4] - out[1]) / distance, (out[5] - out[2]) / distance,
        kind, centre, axis, clearance, limit,
    )  # fmt: skip
    for side in range(2):
        if best >= limit:
            break
        t = tri if side == 0 else other
        ux, uy, uz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
        vx, vy, vz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(nx * nx + ny * ny + nz * nz)
        if length > 1e-12:
            length = length if side == 0 else -length
            best = max(
                best,
                _across_slab(tri, other, nx / length, ny / length, nz / length, kind, centre, axis, clearance, limit),
            )
    return best


@njit(cache=True)
def grown(rate: float, turned: float) -> float:  # pragma: no cover
    """The part of the slack that grows with the turn: up to half a turn, and no less after."""
    return 4.0 * np.arcsin(rate * np.sin(0.5 * min(turned, np.pi)))


@njit(cache=True)
def follow(
    flat: FloatArray, lever: float, other: FloatArray, line: FloatArray, kind: int, axis: FloatArray, turned: float,
    sense: float, near: FloatArray, clearance: float, slack_lever: float, fixed: float, rate: float, begin: float, end: float,
    smallest: float, corners: FloatArray, points: FloatArray,
) -> float:  # pragma: no cover  # fmt: skip
    """How far a pair of triangles goes from ``begin`` before it comes within the clearance; inf where it is free up to ``end``.

    ``flat`` (3, 3): the moving one's corners across and along the line.
    """
    at = begin
    most = clearance + slack_lever * (fixed + grown(rate, end))
    while at < end:
        if kind == SHIFT:
            for c in range(3):
                for k in range(3):
                    corners[c, k] = (
                        line[0, k]
                        + flat[c, 0] * line[2, k]
                        + flat[c, 1] * line[3, k]
                        + (flat[c, 2] + sense * at) * line[1, k]
                    )
        else:
            cos, sin = np.cos(turned + sense * at), np.sin(turned + sense * at)
            for c in range(3):
                if kind == TURN:
                    x, y = cos * flat[c, 0] - sin * flat[c, 1], sin * flat[c, 0] + cos * flat[c, 1]
                else:
                    x, y = two_turns(flat[c, 0], flat[c, 1], near, sense * at)
                for k in range(3):
                    corners[c, k] = line[0, k] + x * line[2, k] + y * line[3, k] + flat[c, 2] * line[1, k]
        asked = clearance + slack_lever * (fixed + grown(rate, at))
        speed = lever + 2.0 * slack_lever * rate
        wide = asked + speed * (end - at)
        d2 = pair_distance2(corners, other, wide * wide, points)
        if d2 >= wide * wide:
            return np.inf
        d = np.sqrt(d2)
        step = (d - asked) / speed
        if kind != TWO_TURNS and d > most and d > 1e-9:
            step = max(step, _any_slab(corners, other, points, d, kind, line[0], axis, most, end - at))
        if step < smallest and at + step < end:
            return at
        # A rounding short of the step, so that the next one starts on the free side.
        at += step * (1.0 - 1e-9) if step < end - at else end
    return np.inf
