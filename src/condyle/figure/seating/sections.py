"""Cross-sections of limbs, read from the cells: how large, where their middle is, how wide each way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from condyle.figure.seating.flesh import resampled, smooth
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.voxels import Voxels


@dataclass(frozen=True, eq=False)
class Profile:
    """Sections square to a way, station by station (n of them).

    points (n, 3) middles of the sections, mm; along (n, 3) unit directions; s (n,) length from the first station, mm
    area   (n,) mm²; radius (n,) of the circle of that area, mm
    narrow, wide (n,) extents of the section along its own short and long axis, mm (four standard deviations)
    """

    points: FloatArray
    along: FloatArray
    s: FloatArray
    area: FloatArray
    narrow: FloatArray
    wide: FloatArray

    @property
    def radius(self) -> FloatArray:
        return np.sqrt(self.area / np.pi)

    def at(self, s_mm: float) -> FloatArray:
        """The middle at a length along the way; the ends are drawn out straight."""
        out = np.array([np.interp(s_mm, self.s, self.points[:, i]) for i in range(3)])
        if s_mm < self.s[0]:
            out = self.points[0] + self.along[0] * (s_mm - self.s[0])
        elif s_mm > self.s[-1]:
            out = self.points[-1] + self.along[-1] * (s_mm - self.s[-1])
        return out

    def direction(self, s0_mm: float, s1_mm: float) -> FloatArray:
        """Unit direction of the straight line fitted to the middles between two lengths, pointing to greater s."""
        inside = (self.s >= s0_mm) & (self.s <= s1_mm)
        if inside.sum() < 3:
            gap = self.at(s1_mm) - self.at(s0_mm)
            return gap / max(float(np.linalg.norm(gap)), 1e-9)
        middle = self.points[inside] - self.points[inside].mean(axis=0)
        _, _, rows = np.linalg.svd(middle, full_matrices=False)
        sense = np.sign(float(rows[0] @ (self.points[inside][-1] - self.points[inside][0]))) or 1.0
        return np.asarray(rows[0] * sense)

    def part(self, first: int, last: int) -> Profile:
        """Stations first to last - 1, s counted on."""
        pick = slice(first, last)
        return Profile(
            self.points[pick], self.along[pick], self.s[pick], self.area[pick], self.narrow[pick], self.wide[pick]
        )


def sideways(direction: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors square to a unit direction and to each other."""
    d = np.asarray(direction, dtype=np.float64)
    hint = np.zeros(3)
    hint[int(np.argmin(np.abs(d)))] = 1.0
    u = np.cross(d, hint)
    u /= np.linalg.norm(u)
    return u, np.cross(d, u)


def section(grid: Voxels, point: FloatArray, direction: FloatArray, reach_mm: float) -> tuple[float, FloatArray, float, float]:
    """Area mm², middle (3,), short and long extent mm of the piece of the plane's section nearest to ``point``.

    The plane goes through the point, square to the direction; the section is followed at most ``reach_mm`` out.
    """
    u, v = sideways(direction)
    start = grid.to_grid(point)
    count = int(np.ceil(reach_mm / grid.pitch_mm))
    n, su, sv, suu, svv, suv = _flood(grid.inside, start, u, v, count)
    if n == 0:
        return 0.0, np.asarray(point, dtype=np.float64), 0.0, 0.0
    mu, mv = su / n, sv / n
    cov = np.array([[suu / n - mu * mu, suv / n - mu * mv], [suv / n - mu * mv, svv / n - mv * mv]])
    spread = np.sqrt(np.maximum(np.linalg.eigvalsh(cov), 0.0) + 1.0 / 12.0) * 4.0 * grid.pitch_mm
    middle = np.asarray(point) + (mu * u + mv * v) * grid.pitch_mm
    return n * grid.pitch_mm**2, middle, float(spread[0]), float(spread[1])


def profile(grid: Voxels, way: FloatArray, *, reach_mm: float, smooth_mm: float, rounds: int = 2) -> Profile:
    """Sections along a way, its stations drawn to the sections' middles as long as these stay near."""
    pitch = grid.pitch_mm
    points = smooth(resampled(way, pitch), smooth_mm / pitch)
    out = _sections(grid, points, reach_mm)
    for _ in range(rounds):
        near = np.linalg.norm(out.points - points, axis=1) < 0.8 * out.radius + pitch
        big = out.area > 2.5 * ndimage.minimum_filter1d(out.area, max(3, round(4 * smooth_mm / pitch)))
        pulled = np.where((near & ~big)[:, None], out.points, points)
        points = smooth(resampled(pulled, pitch), smooth_mm / pitch)
        out = _sections(grid, points, reach_mm)
    return out


def _sections(grid: Voxels, points: FloatArray, reach_mm: float) -> Profile:
    along = np.gradient(points, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-12)
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    rows = [section(grid, p, d, reach_mm) for p, d in zip(points, along, strict=True)]
    return Profile(
        np.array([r[1] for r in rows]),
        along,
        s,
        np.array([r[0] for r in rows]),
        np.array([r[2] for r in rows]),
        np.array([r[3] for r in rows]),
    )


@njit(cache=True)
def _flood(
    inside: BoolArray, start: NDArray[np.float64], u: NDArray[np.float64], v: NDArray[np.float64], count: int
) -> tuple[int, float, float, float, float, float]:
    """Flood a plane's samples (one a cell) from the one nearest to the start that is inside; counts and moments."""
    size = 2 * count + 1
    state = np.zeros((size, size), dtype=np.uint8)  # 0 unseen, 1 inside unvisited, 2 outside, 3 visited
    nx, ny, nz = inside.shape
    found_i, found_j, found = -1, -1, 1 << 30
    for i in range(max(0, count - 6), min(size, count + 7)):
        for j in range(max(0, count - 6), min(size, count + 7)):
            a, b = i - count, j - count
            x = int(np.floor(start[0] + a * u[0] + b * v[0] + 0.5))
            y = int(np.floor(start[1] + a * u[1] + b * v[1] + 0.5))
            z = int(np.floor(start[2] + a * u[2] + b * v[2] + 0.5))
            ok = 0 <= x < nx and 0 <= y < ny and 0 <= z < nz and inside[x, y, z]
            if ok and a * a + b * b < found:
                found = a * a + b * b
                found_i, found_j = i, j
    n = 0
    su, sv, suu, svv, suv = 0.0, 0.0, 0.0, 0.0, 0.0
    if found_i < 0:
        return n, su, sv, suu, svv, suv
    stack_i = np.empty(size * size, dtype=np.int32)
    stack_j = np.empty(size * size, dtype=np.int32)
    stack_i[0], stack_j[0] = found_i, found_j
    state[found_i, found_j] = 3
    top = 1
    while top > 0:
        top -= 1
        i, j = stack_i[top], stack_j[top]
        a, b = float(i - count), float(j - count)
        n += 1
        su += a
        sv += b
        suu += a * a
        svv += b * b
        suv += a * b
        for d in range(4):
            p = i + (1 if d == 0 else -1 if d == 1 else 0)
            q = j + (1 if d == 2 else -1 if d == 3 else 0)
            if p < 0 or q < 0 or p >= size or q >= size or state[p, q] != 0:
                continue
            e, f = p - count, q - count
            x = int(np.floor(start[0] + e * u[0] + f * v[0] + 0.5))
            y = int(np.floor(start[1] + e * u[1] + f * v[1] + 0.5))
            z = int(np.floor(start[2] + e * u[2] + f * v[2] + 0.5))
            if 0 <= x < nx and 0 <= y < ny and 0 <= z < nz and inside[x, y, z]:
                state[p, q] = 3
                stack_i[top], stack_j[top] = p, q
                top += 1
            else:
                state[p, q] = 2
    return n, su, sv, suu, svv, suv
