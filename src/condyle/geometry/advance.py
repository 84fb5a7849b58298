"""How far a surface can move before it may come nearer than a clearance to another: conservative advancement.

A step is free for certain: each pair of triangles allows at least (distance − clearance) / lever, the lever being the
speed of its fastest point per unit of motion; and, where the motion is a single turn or shift, as much as keeps the
pair parted across a slab between them, solved in closed form. The smallest over all pairs is the
step; nothing is sampled in between. The idea: Mirtich, Impulse-based Dynamic Simulation of Rigid Body Systems, PhD
thesis, UC Berkeley (1996), chapter 2 (from memory); the slab's closed form is derived here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numba import njit

from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.gap import (
    EVERY_PAIR,
    Marks,
    Rule,
    Surface,
    boxes_apart2,
    counts,
    place_box,
    place_triangle,
    wider,
)
from condyle.geometry.mesh import FloatArray, IntArray
from condyle.geometry.trianglepair import pair_distance2

_STACK = 2048
_TURN, _SHIFT, _BOUND = 0, 1, 2


class Motion(Protocol):
    """A rigid motion with one parameter: degrees for turns, mm for shifts."""

    def matrix(self, at: float) -> FloatArray:
        """(4, 4) at a value of the parameter; the identity at 0."""

    def local(self, at: float, sense: float) -> tuple[int, FloatArray, FloatArray, float, float]:
        """For the kernel: kind, a point of the axis now, its direction, units per parameter, and extra lever in mm."""


@dataclass(frozen=True, eq=False)
class Turn:
    """A right-handed turn about a line, ``share`` degrees for each degree of the parameter."""

    centre: FloatArray
    axis: FloatArray
    share: float = 1.0

    def matrix(self, at: float) -> FloatArray:
        return rotation_matrix_about(self.centre, self.axis, at * self.share)

    def local(self, at: float, sense: float) -> tuple[int, FloatArray, FloatArray, float, float]:
        return _TURN, np.asarray(self.centre, float), unit(self.axis) * sense, math.radians(self.share), 0.0


@dataclass(frozen=True, eq=False)
class TwoTurns:
    """A turn about a far line, carried by a turn about a near one, parallel to it, each by half the parameter.

    What a double hinge does to its child: the link turns half about ``near``, the child as much again about ``far``.
    """

    near: FloatArray
    far: FloatArray
    axis: FloatArray

    def matrix(self, at: float) -> FloatArray:
        return rotation_matrix_about(self.near, self.axis, at / 2) @ rotation_matrix_about(self.far, self.axis, at / 2)

    def local(self, at: float, sense: float) -> tuple[int, FloatArray, FloatArray, float, float]:
        m = rotation_matrix_about(self.near, self.axis, at / 2)
        far = np.asarray(self.far, float)
        carried = m[:3, :3] @ far + m[:3, 3]
        # |q - near| <= |q - far now| + |far - near|, so the speed is at most rho + |far - near| / 2.
        return _BOUND, carried, unit(self.axis) * sense, math.radians(1.0), float(np.linalg.norm(far - self.near)) / 2


@dataclass(frozen=True, eq=False)
class Shift:
    """A straight move along a direction, 1 mm for each unit of the parameter."""

    direction: FloatArray

    def matrix(self, at: float) -> FloatArray:
        m = np.eye(4)
        m[:3, 3] = unit(self.direction) * at
        return m

    def local(self, at: float, sense: float) -> tuple[int, FloatArray, FloatArray, float, float]:
        return _SHIFT, np.zeros(3), unit(self.direction) * sense, 1.0, 0.0


@dataclass(frozen=True, eq=False)
class Stop:
    """Where an advance ended: the last value known to be free, whether something stopped it, and which triangles.

    ``place`` lies between the two surfaces, in the still one's coordinates; NaN when the limit was reached.
    """

    reached: float
    blocked: bool
    moved_triangle: int
    still_triangle: int
    place: FloatArray
    steps: int


def advance(
    moved: Surface,
    still: Surface,
    motion: Motion,
    limit: float,
    *,
    clearance_mm: float,
    smallest_step: float,
    first_step: float = 4.0,
    rule: Rule = EVERY_PAIR,
) -> Stop:
    """Move from 0 towards ``limit`` (its sign is the direction) as far as the surfaces stay ``clearance_mm`` apart.

    Every value from 0 to ``reached`` is free. It stops where a step that is free for certain falls below
    ``smallest_step``: there the gap exceeds the clearance by no more than smallest_step times the lever.
    """
    sense = 1.0 if limit >= 0 else -1.0
    far = abs(limit)
    at = 0.0
    steps = 0
    window = first_step
    out = np.full(6, np.nan)
    pair = np.full(2, -1, dtype=np.int64)
    a, b = moved.bvh, still.bvh
    while at < far:
        kind, centre, axis, per, extra = motion.local(sense * at, sense)
        m = motion.matrix(sense * at)
        ask = min(window, far - at)
        pair[0] = -1
        free = _free(
            a.triangles, a.boxes, a.nodes, moved.placed, moved.some, moved.every,
            b.triangles, b.boxes, b.nodes, still.placed, still.some, still.every,
            m, kind, centre, axis, extra, clearance_mm, ask * per,
            rule.skip_any, rule.skip_both, rule.need_both, out, pair,
        ) / per  # fmt: skip
        steps += 1
        # Nothing in the way is nothing in the way, though the quotient may round to just below what was asked.
        if pair[0] < 0 or free >= ask:
            at += ask
            window = 2.0 * window
            continue
        if free < smallest_step:
            place = (out[:3] + out[3:]) / 2
            return Stop(sense * at, True, int(a.order[pair[0]]), int(b.order[pair[1]]), place, steps)
        # A rounding short of the step, so that the next one starts on the free side.
        at += free * (1.0 - 1e-9)
        window = 2.0 * free
    return Stop(limit, False, -1, -1, np.full(3, np.nan), steps)


@njit(cache=True)
def _lever(x: float, y: float, z: float, centre: FloatArray, axis: FloatArray) -> float:  # pragma: no cover
    """Distance from a line."""
    dx, dy, dz = x - centre[0], y - centre[1], z - centre[2]
    cx = axis[1] * dz - axis[2] * dy
    cy = axis[2] * dx - axis[0] * dz
    cz = axis[0] * dy - axis[1] * dx
    return float(np.sqrt(cx * cx + cy * cy + cz * cz))


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
    if kind == _SHIFT:
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
def _boxes_meet(placed: FloatArray, box: FloatArray, along: FloatArray, clearance: float) -> float:  # pragma: no cover
    """How far a placed box (middle, half sides) shifts before it comes within the clearance of a box; inf for never."""
    enter, leave = 0.0, np.inf
    for k in range(3):
        low = box[0, k] - clearance - placed[0, k] - placed[1, k]
        high = box[1, k] + clearance - placed[0, k] + placed[1, k]
        if abs(along[k]) < 1e-12:
            if low > 0.0 or high < 0.0:
                return np.inf
            continue
        a, b = low / along[k], high / along[k]
        enter = max(enter, min(a, b))
        leave = min(leave, max(a, b))
    return enter if enter <= leave else np.inf


@njit(cache=True)
def _ring(
    box: FloatArray, centre: FloatArray, axis: FloatArray
) -> tuple[float, float, float, float]:  # pragma: no cover
    """Radius about a line and height along it of a box's middle, and how far the box reaches from there in either."""
    half2, tall, rise = 0.0, 0.0, 0.0
    for k in range(3):
        half = 0.5 * (box[1, k] - box[0, k])
        half2 += half * half
        tall += half * abs(axis[k])
        rise += (0.5 * (box[1, k] + box[0, k]) - centre[k]) * axis[k]
    radius = _lever(
        0.5 * (box[0, 0] + box[1, 0]), 0.5 * (box[0, 1] + box[1, 1]), 0.5 * (box[0, 2] + box[1, 2]), centre, axis
    )
    return radius, rise, np.sqrt(half2), tall


@njit(cache=True)
def _profiles_apart(
    box_a: FloatArray, box_b: FloatArray, centre: FloatArray, axis: FloatArray, clearance: float
) -> bool:  # pragma: no cover
    """Whether two boxes stay clear of each other in every turn about the line: neither leaves its ring."""
    ra, ha, wide_a, tall_a = _ring(box_a, centre, axis)
    rb, hb, wide_b, tall_b = _ring(box_b, centre, axis)
    dr = max(abs(ra - rb) - wide_a - wide_b, 0.0)
    dh = max(abs(ha - hb) - tall_a - tall_b, 0.0)
    return dr * dr + dh * dh > clearance * clearance


@njit(cache=True, nogil=True)
def _free(
    tri_a: FloatArray, box_a: FloatArray, node_a: IntArray, mark_a: Marks, some_a: Marks, every_a: Marks,
    tri_b: FloatArray, box_b: FloatArray, node_b: IntArray, mark_b: Marks, some_b: Marks, every_b: Marks,
    m: FloatArray, kind: int, centre: FloatArray, axis: FloatArray, extra: float, clearance: float, limit: float,
    skip_any: int, skip_both: int, need_both: int, out: FloatArray, pair: IntArray,
) -> float:  # pragma: no cover  # fmt: skip
    best = limit
    stack = np.empty((_STACK, 2), dtype=np.int32)
    keys = np.empty(_STACK)
    placed = np.empty((2, 3))
    corners = np.empty((3, 3))
    points = np.empty(6)
    child = np.empty((2, 2), dtype=np.int32)
    key = np.empty(2)
    stack[0, 0], stack[0, 1] = 0, 0
    keys[0] = 0.0
    if not counts(some_a[0], every_a[0], some_b[0], every_b[0], skip_any, skip_both, need_both):
        return best
    top = 1
    while top > 0:
        top -= 1
        if keys[top] >= best:
            continue
        i, j = stack[top, 0], stack[top, 1]
        leaf_a, leaf_b = node_a[i, 1] > 0, node_b[j, 1] > 0
        if leaf_a and leaf_b:
            for p in range(node_a[i, 0], node_a[i, 0] + node_a[i, 1]):
                place_triangle(tri_a[p], m, corners)
                lever = 1.0
                if kind != _SHIFT:
                    lever = 1e-9
                    for c in range(3):
                        lever = max(lever, _lever(corners[c, 0], corners[c, 1], corners[c, 2], centre, axis))
                    lever += extra
                for q in range(node_b[j, 0], node_b[j, 0] + node_b[j, 1]):
                    if not counts(mark_a[p], mark_a[p], mark_b[q], mark_b[q], skip_any, skip_both, need_both):
                        continue
                    near = clearance + lever * best
                    d2 = pair_distance2(corners, tri_b[q], near * near, points)
                    if d2 >= near * near:
                        continue
                    d = np.sqrt(d2)
                    free = max((d - clearance) / lever, 0.0)
                    if kind != _BOUND and d > clearance and d > 1e-9:
                        free = max(free, _any_slab(corners, tri_b[q], points, d, kind, centre, axis, clearance, best))
                    if free < best:
                        best = free
                        pair[0], pair[1] = p, q
                        out[:] = points
            continue
        if leaf_b or (not leaf_a and wider(box_a[i], box_b[j])):
            child[0, 0], child[0, 1] = i + 1, j
            child[1, 0], child[1, 1] = node_a[i, 2], j
        else:
            child[0, 0], child[0, 1] = i, j + 1
            child[1, 0], child[1, 1] = i, node_b[j, 2]
        for c in range(2):
            ci, cj = child[c, 0], child[c, 1]
            key[c] = np.inf
            if counts(some_a[ci], every_a[ci], some_b[cj], every_b[cj], skip_any, skip_both, need_both):
                place_box(box_a[ci], m, placed)
                apart = np.sqrt(boxes_apart2(placed, box_b[cj])) - clearance
                lever = 1.0
                if kind != _SHIFT:
                    half = box_a[ci]
                    sx, sy, sz = half[1, 0] - half[0, 0], half[1, 1] - half[0, 1], half[1, 2] - half[0, 2]
                    lever = _lever(placed[0, 0], placed[0, 1], placed[0, 2], centre, axis) + extra + 1e-9
                    lever += 0.5 * np.sqrt(sx * sx + sy * sy + sz * sz)
                key[c] = max(apart, 0.0) / lever
                if kind == _SHIFT:
                    key[c] = max(key[c], _boxes_meet(placed, box_b[cj], axis, clearance))
                elif kind == _TURN and key[c] < best and _profiles_apart(box_a[ci], box_b[cj], centre, axis, clearance):
                    key[c] = np.inf
        first = 1 if key[0] <= key[1] else 0
        for c in (first, 1 - first):
            if key[c] < best:
                stack[top, 0], stack[top, 1] = child[c, 0], child[c, 1]
                keys[top] = key[c]
                top += 1
    return best
