"""The distance between two triangles, exact but for rounding, degenerate ones included.

Two triangles that do not cross are nearest at a vertex and a face or at two edges: all six and nine cases are looked
at, and no case is left out on the strength of an earlier one, which is where quicker methods go wrong. Segment pairs:
Ericson, Real-Time Collision Detection (2005), section 5.1.9. A triangle without area is only its edges. What a query asks for is mostly whether two come
within a limit: pairs that their boxes, or the plane of either, hold further apart than that are told at once.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.geometry.mesh import FloatArray

_ROUNDING = 1e-6  # of a squared limit: by how much more two must be held apart to be told without being measured


@njit(cache=True, inline="always")
def _edges(
    px: float, py: float, pz: float, ux: float, uy: float, uz: float,
    qx: float, qy: float, qz: float, vx: float, vy: float, vz: float,
) -> tuple[float, float, float]:  # pragma: no cover  # fmt: skip
    """Squared distance of the segments p + s·u and q + t·v (s and t within 0..1), with s and t."""
    rx, ry, rz = px - qx, py - qy, pz - qz
    a = ux * ux + uy * uy + uz * uz
    e = vx * vx + vy * vy + vz * vz
    f = vx * rx + vy * ry + vz * rz
    s, t = 0.0, 0.0
    if a > 0.0 and e > 0.0:
        c = ux * rx + uy * ry + uz * rz
        b = ux * vx + uy * vy + uz * vz
        denominator = a * e - b * b
        # Nearly parallel: any s will do, the clamping below finds the rest.
        if denominator > 1e-14 * a * e:
            s = min(max((b * f - c * e) / denominator, 0.0), 1.0)
        t = (b * s + f) / e
        if t < 0.0:
            t = 0.0
            s = min(max(-c / a, 0.0), 1.0)
        elif t > 1.0:
            t = 1.0
            s = min(max((b - c) / a, 0.0), 1.0)
    elif e > 0.0:
        t = min(max(f / e, 0.0), 1.0)
    elif a > 0.0:
        s = min(max(-(ux * rx + uy * ry + uz * rz) / a, 0.0), 1.0)
    dx = rx + s * ux - t * vx
    dy = ry + s * uy - t * vy
    dz = rz + s * uz - t * vz
    return dx * dx + dy * dy + dz * dz, s, t


@njit(cache=True)
def _over_face(a: FloatArray, b: FloatArray, best: float, swap: int, out: FloatArray) -> float:  # pragma: no cover
    """Corners of ``a`` over the face of ``b``, and edges of ``a`` through it (0)."""
    bx, by, bz = b[0, 0], b[0, 1], b[0, 2]
    ux, uy, uz = b[1, 0] - bx, b[1, 1] - by, b[1, 2] - bz
    vx, vy, vz = b[2, 0] - bx, b[2, 1] - by, b[2, 2] - bz
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    nn = nx * nx + ny * ny + nz * nz
    uu = ux * ux + uy * uy + uz * uz
    vv = vx * vx + vy * vy + vz * vz
    if nn <= 1e-24 * uu * vv or nn == 0.0:
        return best
    uv = ux * vx + uy * vy + uz * vz
    h0 = nx * (a[0, 0] - bx) + ny * (a[0, 1] - by) + nz * (a[0, 2] - bz)
    h1 = nx * (a[1, 0] - bx) + ny * (a[1, 1] - by) + nz * (a[1, 2] - bz)
    h2 = nx * (a[2, 0] - bx) + ny * (a[2, 1] - by) + nz * (a[2, 2] - bz)
    for i in range(6):
        if i < 3:
            h = h0 if i == 0 else (h1 if i == 1 else h2)
            d2 = h * h / nn
            if d2 >= best:
                continue
            x, y, z = a[i, 0], a[i, 1], a[i, 2]
        else:
            j, k = i - 3, (i - 2) % 3
            hj = h0 if j == 0 else (h1 if j == 1 else h2)
            hk = h0 if k == 0 else (h1 if k == 1 else h2)
            if hj * hk >= 0.0:
                continue
            t = hj / (hj - hk)
            x = a[j, 0] + t * (a[k, 0] - a[j, 0])
            y = a[j, 1] + t * (a[k, 1] - a[j, 1])
            z = a[j, 2] + t * (a[k, 2] - a[j, 2])
            h, d2 = 0.0, 0.0
        wx, wy, wz = x - bx, y - by, z - bz
        wu = wx * ux + wy * uy + wz * uz
        wv = wx * vx + wy * vy + wz * vz
        s = vv * wu - uv * wv
        r = uu * wv - uv * wu
        if s >= 0.0 and r >= 0.0 and s + r <= nn:
            best = d2
            first, second = (3, 0) if swap else (0, 3)
            out[first], out[first + 1], out[first + 2] = x, y, z
            out[second] = x - h * nx / nn
            out[second + 1] = y - h * ny / nn
            out[second + 2] = z - h * nz / nn
            if best == 0.0:
                return best
    return best


@njit(cache=True)
def _boxes_apart2(a: FloatArray, b: FloatArray) -> float:  # pragma: no cover
    """Squared distance between the upright boxes about two triangles: never more than theirs."""
    total = 0.0
    for k in range(3):
        low = min(b[0, k], b[1, k], b[2, k]) - max(a[0, k], a[1, k], a[2, k])
        high = min(a[0, k], a[1, k], a[2, k]) - max(b[0, k], b[1, k], b[2, k])
        gap = max(low, high, 0.0)
        total += gap * gap
    return total


@njit(cache=True)
def _held_apart(a: FloatArray, b: FloatArray, far2: float) -> bool:  # pragma: no cover
    """Whether all of ``a`` lies beyond the plane of ``b``, on one side of it, by more than the root of ``far2``."""
    bx, by, bz = b[0, 0], b[0, 1], b[0, 2]
    ux, uy, uz = b[1, 0] - bx, b[1, 1] - by, b[1, 2] - bz
    vx, vy, vz = b[2, 0] - bx, b[2, 1] - by, b[2, 2] - bz
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    nn = nx * nx + ny * ny + nz * nz
    # A sliver's normal is all rounding: it holds nothing apart.
    if nn <= 1e-12 * (ux * ux + uy * uy + uz * uz) * (vx * vx + vy * vy + vz * vz):
        return False
    h0 = nx * (a[0, 0] - bx) + ny * (a[0, 1] - by) + nz * (a[0, 2] - bz)
    h1 = nx * (a[1, 0] - bx) + ny * (a[1, 1] - by) + nz * (a[1, 2] - bz)
    h2 = nx * (a[2, 0] - bx) + ny * (a[2, 1] - by) + nz * (a[2, 2] - bz)
    h = max(min(h0, h1, h2), min(-h0, -h1, -h2), 0.0)
    return h * h > far2 * nn


@njit(cache=True)
def pair_distance2(a: FloatArray, b: FloatArray, limit2: float, out: FloatArray) -> float:  # pragma: no cover
    """Squared distance of triangles a and b (3, 3) if below ``limit2``, else ``limit2``.

    ``out`` (6,) takes the nearest points, of a and then of b; untouched when nothing is below the limit. Triangles that
    cross give 0 and one common point.
    """
    best = limit2
    if limit2 < np.inf:
        far2 = limit2 * (1.0 + _ROUNDING)
        if _boxes_apart2(a, b) > far2 or _held_apart(a, b, far2) or _held_apart(b, a, far2):
            return best
    for i in range(3):
        k = (i + 1) % 3
        ux, uy, uz = a[k, 0] - a[i, 0], a[k, 1] - a[i, 1], a[k, 2] - a[i, 2]
        for j in range(3):
            m = (j + 1) % 3
            vx, vy, vz = b[m, 0] - b[j, 0], b[m, 1] - b[j, 1], b[m, 2] - b[j, 2]
            d2, s, t = _edges(
                a[i, 0], a[i, 1], a[i, 2], ux, uy, uz, b[j, 0], b[j, 1], b[j, 2], vx, vy, vz
            )  # fmt: skip
            if d2 < best:
                best = d2
                out[0], out[1], out[2] = a[i, 0] + s * ux, a[i, 1] + s * uy, a[i, 2] + s * uz
                out[3], out[4], out[5] = b[j, 0] + t * vx, b[j, 1] + t * vy, b[j, 2] + t * vz
    if best > 0.0:
        best = _over_face(a, b, best, 0, out)
    if best > 0.0:
        best = _over_face(b, a, best, 1, out)
    return best


def triangle_distance(a: FloatArray, b: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """Distance (mm) of two triangles (3, 3) and the nearest point of each; 0 and one point where they cross."""
    out = np.empty(6)
    first, second = (np.ascontiguousarray(t, dtype=np.float64).reshape(3, 3) for t in (a, b))
    d2 = pair_distance2(first, second, np.inf, out)
    return float(np.sqrt(d2)), out[:3].copy(), out[3:].copy()
