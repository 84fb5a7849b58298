"""Lumps of clay: signed distances of simple solids on plain floats (mm), soft joins, and noise. Negative is inside.

The distance formulas are the elementary ones of analytic geometry; those marked "about" are bounds that are right to
first order at the surface, which is where they are used.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np
from numba import njit

from condyle.geometry.fields import Field
from condyle.geometry.mesh import FloatArray


@njit(cache=True, inline="always")
def soft_min(a, b, k):
    """The smaller of two, rounded within k mm of equality; never more than k / 4 below."""
    h = max(k - abs(a - b), 0.0) / k
    return min(a, b) - h * h * k * 0.25


@njit(cache=True, inline="always")
def soft_max(a, b, k):
    return -soft_min(-a, -b, k)


@njit(cache=True)
def round_cone(x, y, z, ax, ay, az, ra, bx, by, bz, rb):
    """Two balls and the cone that wraps them; exact while neither ball swallows the other."""
    ux, uy, uz = bx - ax, by - ay, bz - az
    px, py, pz = x - ax, y - ay, z - az
    length2 = ux * ux + uy * uy + uz * uz
    length = math.sqrt(length2)
    along = (px * ux + py * uy + pz * uz) / length
    off = math.sqrt(max(px * px + py * py + pz * pz - along * along, 0.0))
    slope = (ra - rb) / length
    cosine = math.sqrt(max(1.0 - slope * slope, 1e-12))
    # Foot of the perpendicular to the cone's side, measured along the axis.
    foot = along - off * slope / cosine
    if foot <= 0.0:
        return math.sqrt(along * along + off * off) - ra
    if foot >= length:
        return math.sqrt((along - length) ** 2 + off * off) - rb
    return off * cosine + along * slope - ra


@njit(cache=True)
def ellipsoid(x, y, z, rx, ry, rz):
    """About the distance to an ellipsoid at the origin."""
    k0 = math.sqrt((x / rx) ** 2 + (y / ry) ** 2 + (z / rz) ** 2)
    k1 = math.sqrt((x / (rx * rx)) ** 2 + (y / (ry * ry)) ** 2 + (z / (rz * rz)) ** 2)
    if k1 < 1e-9:
        return -min(rx, ry, rz)
    return k0 * (k0 - 1.0) / k1


@njit(cache=True, inline="always")
def box(x, y, z, hx, hy, hz, r):
    """A box of half sizes hx, hy, hz with edges rounded by r."""
    qx, qy, qz = abs(x) - hx + r, abs(y) - hy + r, abs(z) - hz + r
    out = math.sqrt(max(qx, 0.0) ** 2 + max(qy, 0.0) ** 2 + max(qz, 0.0) ** 2)
    return out + min(max(qx, max(qy, qz)), 0.0) - r


@njit(cache=True, inline="always")
def drum(radial, height, r, h, rounding):
    """A cylinder of radius r and half height h with rounded edges, from a point's distances to axis and middle plane."""
    qx, qy = radial - r + rounding, abs(height) - h + rounding
    out = math.sqrt(max(qx, 0.0) ** 2 + max(qy, 0.0) ** 2)
    return out + min(max(qx, qy), 0.0) - rounding


@njit(cache=True, inline="always")
def ring(radial, height, major, minor):
    """A torus, from a point's distances to axis and middle plane."""
    return math.sqrt((radial - major) ** 2 + height * height) - minor


@njit(cache=True, inline="always")
def bell(t, width):
    """1 at t = 0, falling to nothing beyond about two widths."""
    return math.exp(-(t / width) * (t / width))


@njit(cache=True, inline="always")
def ramp(t, low, high):
    """0 below low, 1 above high, smooth between."""
    s = min(max((t - low) / (high - low), 0.0), 1.0)
    return s * s * (3.0 - 2.0 * s)


@njit(cache=True, inline="always")
def rivet(off, radius, height):
    """Height of a domed rivet at distance ``off`` from its middle."""
    if off >= radius:
        return 0.0
    s = 1.0 - (off / radius) ** 2
    return height * s * s * (3.0 - 2.0 * s) if s < 1.0 else height


@njit(cache=True, inline="always")
def _scatter(i, j, k):
    """A number from -1 to 1 for a grid point: the bits of its indices stirred."""
    n = (i * np.int64(374761393) + j * np.int64(668265263) + k * np.int64(1274126177)) & np.int64(0xFFFFFFFF)
    n = ((n ^ (n >> np.int64(13))) * np.int64(1103515245)) & np.int64(0xFFFFFFFF)
    n = ((n ^ (n >> np.int64(15))) * np.int64(0x2C1B3C6D)) & np.int64(0xFFFFFFFF)
    n = n ^ (n >> np.int64(12))
    return (n & np.int64(0xFFFF)) / 32767.5 - 1.0


@njit(cache=True)
def noise(x, y, z):
    """Smooth noise between -1 and 1 with a grain of one: values at grid points, blended with a cubic ease."""
    fx, fy, fz = math.floor(x), math.floor(y), math.floor(z)
    i, j, k = np.int64(fx), np.int64(fy), np.int64(fz)
    u, v, w = x - fx, y - fy, z - fz
    u, v, w = u * u * (3.0 - 2.0 * u), v * v * (3.0 - 2.0 * v), w * w * (3.0 - 2.0 * w)
    a = _scatter(i, j, k) * (1.0 - u) + _scatter(i + 1, j, k) * u
    b = _scatter(i, j + 1, k) * (1.0 - u) + _scatter(i + 1, j + 1, k) * u
    c = _scatter(i, j, k + 1) * (1.0 - u) + _scatter(i + 1, j, k + 1) * u
    d = _scatter(i, j + 1, k + 1) * (1.0 - u) + _scatter(i + 1, j + 1, k + 1) * u
    a = a * (1.0 - v) + b * v
    c = c * (1.0 - v) + d * v
    return a * (1.0 - w) + c * w


def lumps(pieces: FloatArray) -> Field:
    """A field of round cones softly joined in the order given.

    Rows of ``pieces`` (n, 9): first end x, y, z, its radius, second end x, y, z, its radius, width of the soft join; mm.
    """
    table = np.ascontiguousarray(pieces, dtype=np.float64).reshape(-1, 9)

    def field(points: FloatArray) -> FloatArray:
        return np.asarray(_lumps(np.ascontiguousarray(points, dtype=np.float64), table))

    return field


@njit(cache=True)
def _lumps(points, pieces):
    out = np.empty(len(points))
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        d = 1e9
        for p in pieces:
            d = soft_min(d, round_cone(x, y, z, p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7]), p[8])
        out[i] = d
    return out
