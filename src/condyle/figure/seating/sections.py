"""Cross-sections of limbs, read from the cells: how large, where their middle is, how wide each way."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from condyle.figure.seating.flesh import resampled, smooth
from condyle.geometry.cellwalk import flood_plane
from condyle.geometry.mesh import FloatArray
from condyle.geometry.voxels import Voxels

_MOST_SHIFT = 0.35  # of a section's radius: how far a station may be drawn to the section's middle in one round


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


def section(
    grid: Voxels, point: FloatArray, direction: FloatArray, reach_mm: float
) -> tuple[float, FloatArray, float, float]:
    """Area mm², middle (3,), short and long extent mm of the piece of the plane's section nearest to ``point``.

    The plane goes through the point, square to the direction; the section is followed at most ``reach_mm`` out.
    """
    u, v = sideways(direction)
    start = grid.to_grid(point)
    count = int(np.ceil(reach_mm / grid.pitch_mm))
    n, su, sv, suu, svv, suv = flood_plane(grid.inside, start, u, v, count)
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
        drawn = _drawn(points, out, smooth_mm, pitch)
        points = smooth(resampled(_onward(drawn, out.along, pitch), pitch), smooth_mm / pitch)
        out = _sections(grid, points, reach_mm)
    return replace(out, points=_drawn(points, out, smooth_mm, pitch))


def _drawn(points: FloatArray, found: Profile, smooth_mm: float, pitch: float) -> FloatArray:
    """Stations drawn to their sections' middles; not where a section has met something larger."""
    shift = found.points - points
    far = np.linalg.norm(shift, axis=1)
    big = found.area > 2.5 * ndimage.minimum_filter1d(found.area, max(3, round(4 * smooth_mm / pitch)))
    share = np.minimum(1.0, _MOST_SHIFT * found.radius / np.maximum(far, 1e-9))
    return np.asarray(points + shift * (share * (~big & (far < 0.8 * found.radius + pitch)))[:, None])


def _onward(points: FloatArray, along: FloatArray, pitch: float) -> FloatArray:
    """Only the stations that go on: at sharp corners sections cross, and their middles would run back."""
    keep = [0]
    for i in range(1, len(points)):
        if float((points[i] - points[keep[-1]]) @ along[i]) > 0.3 * pitch:
            keep.append(i)
    if keep[-1] != len(points) - 1:
        keep[-1] = len(points) - 1
    return points[keep] if len(keep) > 1 else points


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
