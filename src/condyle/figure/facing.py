"""How a sculpt lies: which way is up, and which way it faces.

Both are read from a coarse voxel copy. Up: a figure stands on soles, its two sides mirror each other, and there is air
between its legs. Facing: the mirror plane holds the direction; toes, hands and the higher end of the body tell its
sense. Neither looks at names, vertex order or units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.geometry.voxels import Voxels, voxelise

_CELLS = 96
_SNAP_DEG = 12.0
_LATERAL_STEP_DEG = 5.0
_ENOUGH_POINTS = 6000

# Weights of the clues for "up"; found by hand on bodies and a dog, not fitted.
_TALL, _SYMMETRY, _AIR, _SOLES, _SUPPORT, _CUSTOM = 0.5, 1.0, 1.0, 0.3, 0.4, 0.03
_SOLE_AREA = 0.006  # of the height squared: what a figure stands on is at least so large
# Weights of the clues for the sense of "forward", each in fractions of height.
_TOES, _CROWN, _HANDS = 3.0, 0.7, 0.3


def find_up(mesh: Mesh) -> tuple[FloatArray, float]:
    """The direction that is up in the mesh's own coordinates: a signed axis (3,), and a confidence 0 to 1.

    ValueError for a mesh without volume.
    """
    grid = _coarse(mesh)
    scores: list[tuple[float, FloatArray]] = []
    for axis in range(3):
        for sign in (1, -1):
            up = np.zeros(3)
            up[axis] = sign
            scores.append((_standing(grid.inside, axis, sign), up))
    order = sorted(range(6), key=lambda i: -scores[i][0])
    best, second = scores[order[0]], scores[order[1]]
    return best[1], float(1.0 - np.exp(-3.0 * (best[0] - second[0])))


def find_facing(mesh: Mesh) -> tuple[FloatArray, float]:
    """The horizontal direction in which a figure with z up faces: unit vector (3,), and a confidence 0 to 1.

    Snapped to a signed axis when it is nearer than 12 degrees to one. ValueError for a mesh without volume.
    """
    grid = _coarse(mesh)
    points = grid.to_mm(np.argwhere(grid.inside))
    low, height = float(points[:, 2].min()), float(np.ptp(points[:, 2])) + grid.pitch_mm
    lateral, sharpness = _mirror_direction(grid, points)
    forward = np.array([lateral[1], -lateral[0], 0.0])
    middle = points.mean(axis=0)
    along = (points - middle) @ forward / height
    across = np.abs((points - middle) @ lateral) / height
    level = (points[:, 2] - low) / height
    evidence = _TOES * _toes(along, level) + _CROWN * _crown(along, level) + _HANDS * _hands(along, across, level)
    if evidence < 0:
        forward = -forward
    angle = np.degrees(np.arctan2(forward[1], forward[0]))
    snapped = 90.0 * np.round(angle / 90.0)
    if abs(angle - snapped) <= _SNAP_DEG:
        angle = snapped
    out = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle)), 0.0])
    if angle == snapped:
        out = np.round(out) + 0.0
    return out, float(sharpness * (1.0 - np.exp(-abs(evidence) / 0.04)))


def _coarse(mesh: Mesh) -> Voxels:
    span = float(np.ptp(mesh.bounds, axis=0).max())
    if not span > 0:
        raise ValueError("a mesh without extent has no up and no front")
    grid = voxelise(mesh, span / _CELLS)
    if not grid.inside.any():
        raise ValueError("a mesh without volume has no up and no front")
    return grid


def _trim(cells: BoolArray) -> BoolArray:
    full = [np.flatnonzero(cells.any(axis=tuple(a for a in range(3) if a != axis))) for axis in range(3)]
    return cells[tuple(slice(int(f[0]), int(f[-1]) + 1) for f in full)]


def _standing(cells: BoolArray, axis: int, sign: int) -> float:
    """How much the cells look like something standing with the signed axis up."""
    body = np.moveaxis(_trim(cells), axis, 2)
    if sign < 0:
        body = body[:, :, ::-1]
    symmetry = [_overlap(body, a) for a in (0, 1)]
    lateral = int(np.argmax(symmetry))
    if lateral == 0:
        body = np.swapaxes(body, 0, 1)  # now axis 1 is across
    nx, ny, nz = body.shape
    middle = round((ny - 1) / 2)
    slab = np.asarray(body[:, max(middle - 1, 0) : middle + 2, :].any(axis=(0, 1)))
    legs = slice(round(0.03 * nz), max(round(0.25 * nz), 1))
    beside = body[:, :, legs].any(axis=(0, 1))
    air = float(np.mean(~slab[legs] & beside)) if beside.size else 0.0
    thick = max(1, round(0.02 * nz))
    soles, top = float(body[:, :, :thick].sum()), float(body[:, :, -thick:].sum())
    support = min(1.0, soles / thick / (_SOLE_AREA * nz * nz))
    tall = np.log2(nz / max(nx, ny, nz))
    return float(
        _SYMMETRY * max(symmetry)
        + _AIR * air
        + _TALL * tall
        + _SOLES * (soles - top) / max(soles + top, 1.0)
        + _SUPPORT * support
        + (_CUSTOM if sign > 0 and axis > 0 else 0.0)
    )


def _overlap(body: BoolArray, axis: int) -> float:
    """Shared over joined volume of the body and its mirror image across the middle of an axis, 0 to 1."""
    image = np.flip(body, axis)
    return float((body & image).sum() / max(int((body | image).sum()), 1))


def _mirror_direction(grid: Voxels, points: FloatArray) -> tuple[FloatArray, float]:
    """The horizontal normal of the best mirror plane, and how far it beats the direction square to it, 0 to 1."""
    step = max(1, len(points) // _ENOUGH_POINTS)
    sample = points[::step]
    middle = points.mean(axis=0)
    angles = np.arange(0.0, 180.0, _LATERAL_STEP_DEG)
    best = float(angles[int(np.argmax([_mirror_score(grid, sample, middle, a) for a in angles]))])
    near = best + np.arange(-4.0, 5.0)
    fine = [_mirror_score(grid, sample, middle, a) for a in near]
    found = float(near[int(np.argmax(fine))])
    rival = _mirror_score(grid, sample, middle, found + 90.0)
    angle = np.radians(found)
    sharp = float(np.clip((max(fine) - rival) / 0.15, 0.0, 1.0))
    return np.array([np.cos(angle), np.sin(angle), 0.0]), sharp


def _mirror_score(grid: Voxels, points: FloatArray, middle: FloatArray, angle_deg: float) -> float:
    normal = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg)), 0.0])
    image = points - 2.0 * ((points - middle) @ normal)[:, None] * normal
    cells = np.round(grid.to_grid(image)).astype(np.int64)
    inside = np.all((cells >= 0) & (cells < grid.inside.shape), axis=1)
    hit = np.zeros(len(points), dtype=bool)
    hit[inside] = grid.inside[tuple(cells[inside].T)]
    return float(hit.mean())


def _mean(values: FloatArray, where: NDArray[np.bool_]) -> float:
    return float(values[where].mean()) if where.any() else 0.0


def _toes(along: FloatArray, level: FloatArray) -> float:
    """The soles' middle and reach ahead of the shins'."""
    soles, shins = level < 0.025, (level > 0.07) & (level < 0.14)
    if not soles.any() or not shins.any():
        return 0.0
    middle = _mean(along, shins)
    ahead, behind = np.percentile(along[soles], 98) - middle, middle - np.percentile(along[soles], 2)
    return float(0.5 * (_mean(along, soles) - middle) + 0.25 * (ahead - behind))


def _crown(along: FloatArray, level: FloatArray) -> float:
    """The head's end of a four-footed body: the top of it ahead of the whole."""
    return _mean(along, level > 0.8)


def _hands(along: FloatArray, across: FloatArray, level: FloatArray) -> float:
    """What reaches farthest to the sides, above the feet: hands hang ahead of the body."""
    upper = level > 0.3
    if not upper.any():
        return 0.0
    reach = float(np.percentile(across[upper], 99))
    return _mean(along, upper & (across > 0.9 * reach))
