"""Surfaces of implicit solids: marching cubes in blocks, only where the surface can be.

A dense grid fine enough for a figure takes gigabytes, so the box is searched like an octree: a brick whose middle lies
further from the surface than its own corners is dropped, the rest is halved, and only bricks of four cells that the
surface can reach are sampled. Blocks of bricks then go through marching cubes one by one (Lewiner et al., Efficient
implementation of marching cubes' cases with topological guarantees, J. Graphics Tools 8(2), 2003, as in scikit-image),
and vertices of neighbouring blocks are merged by the grid edge that they lie on, so that the whole is closed.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage.measure import marching_cubes

from condyle.errors import UsageError
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh

Field = Callable[[FloatArray], FloatArray]
"""Points (n, 3) in mm to values (n,) in mm: negative inside, and about the distance to the surface near it."""

_Bricks = NDArray[np.int64]
_Index = tuple[int, ...]

_BRICK = 4
# A vertex this close (in cells) to a grid point would make needle triangles and could round onto the point.
_NUDGE = 2e-3
_CHUNK = 1 << 18


class _Piece(NamedTuple):
    """One block's surface: vertices (n, 3) in cells, a key for each, faces, and numbers of the bricks that it touches."""

    where: FloatArray
    key: NDArray[np.int64]
    faces: NDArray[np.int64]
    touched: NDArray[np.int64]


_NOTHING = _Piece(np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros((0, 3), np.int64), np.zeros(0, np.int64))


def surface_from_field(
    function: Field,
    bounds: FloatArray,
    step_mm: float,
    level: float = 0.0,
    block: int = 64,
    steepest: float = 1.5,
) -> Mesh:
    """The closed surface where ``function`` is ``level``, outward faces, on a grid of ``step_mm``.

    bounds    (2, 3) lower and upper corner, mm; the surface must lie inside, UsageError where it leaves the box
    block     cells along a block's edge, a multiple of 4: memory grows with its cube
    steepest  the value may change by at most this much per mm; features thinner than a brick's reach are found as long
              as this holds (1 for a true distance, more where folds are added to one)

    Vertices are moved off grid points by up to 0.2 % of a step. The same arguments give the same bytes.
    """
    low, high = np.asarray(bounds, dtype=np.float64).reshape(2, 3)
    if not step_mm > 0 or not np.all(high > low):
        raise UsageError("field.bounds", "a field needs a box with a size and a step above 0")
    if block < _BRICK or block % _BRICK:
        raise UsageError("field.block", f"a block is a multiple of {_BRICK} cells, not {block}")
    bricks, shape = _bricks_near(function, low, np.ceil((high - low) / step_mm), step_mm, level, steepest)
    blocks = _by_block(bricks, block)
    active = _codes(bricks, shape)
    pieces: dict[_Index, _Piece] = {}
    todo = sorted(blocks)
    while todo:
        for owner in todo:
            pieces[owner] = _march(function, low, owner, blocks[owner], step_mm, level, block, shape)
        # Where the field is steeper than was said, a neighbour that the surface runs into was dropped: fetch it.
        touched = np.concatenate([pieces[owner].touched for owner in todo])
        fresh = np.setdiff1d(touched, active)
        active = np.concatenate([active, fresh])
        found = _by_block(np.stack(np.unravel_index(fresh, shape), axis=-1), block)
        for owner, more in found.items():
            blocks[owner] = np.concatenate([blocks.get(owner, more[:0]), more])
        todo = sorted(found)
    return _weld([pieces[owner] for owner in sorted(pieces)], low, step_mm)


def surface_of_values(values: NDArray[np.float32], low: FloatArray, step_mm: float) -> Mesh:
    """The closed surface where values (nx, ny, nz) on a whole grid from ``low`` change sign, outward faces.

    UsageError where there is none, or where it leaves the grid. Vertices are moved off grid points as above.
    """
    inside = np.argwhere(values < 0.0)
    if not len(inside):
        raise UsageError("field.empty", "the field has no surface in this box")
    first, last = inside.min(axis=0) - 1, inside.max(axis=0) + 2
    if (first < 0).any() or (last > values.shape).any():
        raise UsageError("field.open", "the surface leaves the box of the field", hint="give larger bounds")
    part = values[tuple(slice(a, b) for a, b in zip(first, last, strict=True))] / np.float32(step_mm)
    part = np.where(np.abs(part) < _NUDGE, np.copysign(np.float32(_NUDGE), part), part)
    vertices, faces, _, _ = marching_cubes(part, 0.0, gradient_direction="descent", allow_degenerate=True)
    return Mesh(low + (vertices.astype(np.float64) + first) * step_mm, faces.astype(np.int32))


def largest_shell(mesh: Mesh) -> Mesh:
    """The connected surface with the most triangles: bubbles and specks of a coarse step are left out."""
    n = len(mesh.vertices)
    links = coo_matrix(
        (np.ones(2 * len(mesh.faces), dtype=np.int8), (mesh.faces[:, [0, 1]].ravel(), mesh.faces[:, [1, 2]].ravel())),
        shape=(n, n),
    )
    count, label = connected_components(links, directed=False)
    if count == 1:
        return mesh
    of_face = label[mesh.faces[:, 0]]
    return mesh.subset(of_face == np.argmax(np.bincount(of_face)))


def _sample(function: Field, points: FloatArray) -> FloatArray:
    """The function in chunks, so that its own temporaries stay small."""
    parts = [function(points[i : i + _CHUNK]) for i in range(0, len(points), _CHUNK)]
    return np.concatenate(parts) if parts else np.zeros(0)


def _codes(bricks: _Bricks, shape: tuple[int, ...]) -> NDArray[np.int64]:
    """One number for each brick; UsageError for bricks outside the box: the surface leaves it there."""
    if bool(np.any(bricks < 0)) or bool(np.any(bricks >= np.array(shape))):
        raise UsageError("field.open", "the surface leaves the box of the field", hint="give larger bounds")
    return np.unique(np.ravel_multi_index(tuple(bricks.T), shape))


def _by_block(bricks: _Bricks, block: int) -> dict[_Index, _Bricks]:
    """The bricks of each block."""
    owners = bricks // (block // _BRICK)
    order = np.lexsort(owners.T)
    starts = np.flatnonzero(np.any(np.diff(owners[order], axis=0, prepend=-1), axis=1))
    split = np.split(order, starts[1:])
    return {tuple(owners[part[0]].tolist()): bricks[part] for part in split if len(part)}


def _bricks_near(
    function: Field, low: FloatArray, cells: FloatArray, step: float, level: float, steepest: float
) -> tuple[_Bricks, tuple[int, ...]]:
    """Indices (n, 3) of the bricks of four cells that the surface can reach; bricks of the whole box along each axis."""
    depth = max(0, int(np.ceil(np.log2(cells.max() / (_BRICK * 4)))))
    size = _BRICK << depth
    top = np.ceil(cells / size).astype(np.int64)
    bricks = np.stack(np.meshgrid(*(np.arange(n) for n in top), indexing="ij"), axis=-1).reshape(-1, 3)
    octants = np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1).reshape(1, 8, 3)
    while True:
        middles = low + (bricks + 0.5) * (size * step)
        reach = steepest * size * step * np.sqrt(3.0) / 2.0
        bricks = bricks[np.abs(_sample(function, middles) - level) <= reach]
        if size == _BRICK:
            return bricks, tuple((top << depth).tolist())
        size //= 2
        bricks = (2 * bricks[:, None, :] + octants).reshape(-1, 3)


def _march(
    function: Field,
    low: FloatArray,
    owner: _Index,
    bricks: _Bricks,
    step: float,
    level: float,
    block: int,
    shape: tuple[int, ...],
) -> _Piece:
    """The surface in one block."""
    corner = np.array(owner) * block
    near = np.zeros((block // _BRICK,) * 3, dtype=bool)
    near[tuple((bricks - corner // _BRICK).T)] = True
    cell = near.repeat(_BRICK, 0).repeat(_BRICK, 1).repeat(_BRICK, 2)
    wanted = np.zeros((block + 1,) * 3, dtype=bool)
    for dx in (0, 1):
        for dy in (0, 1):
            for dz in (0, 1):
                wanted[dx : block + dx, dy : block + dy, dz : block + dz] |= cell
    index = np.argwhere(wanted)
    values = (_sample(function, low + (index + corner) * step) - level) / step
    values = np.where(np.abs(values) < _NUDGE, np.copysign(_NUDGE, values), values)
    if values.min() > 0 or values.max() < 0:
        return _NOTHING
    volume = np.ones(wanted.shape, dtype=np.float32)
    # Far values are clipped: only their sign counts, and float32 keeps the fractions next to a small one apart.
    volume[wanted] = np.clip(values, -8.0, 8.0)
    # The mask of marching_cubes goes by a cell's upper corner.
    mask = np.zeros(wanted.shape, dtype=bool)
    mask[1:, 1:, 1:] = cell
    try:
        vertices, faces, _, _ = marching_cubes(
            volume, 0.0, gradient_direction="descent", mask=mask, allow_degenerate=True
        )
    except (ValueError, RuntimeError):  # the values change sign, but in no cell
        return _NOTHING
    where = vertices.astype(np.float64) + corner
    whole = np.floor(where).astype(np.int64)
    loose = where != whole
    # An edge's vertex is loose along one axis only; one inside a cell (loose along all) belongs to that cell alone.
    along = np.where(loose.sum(axis=1) == 1, np.argmax(loose, axis=1), 3)
    grid = np.array(shape) * _BRICK + 1
    key = ((whole[:, 0] * grid[1] + whole[:, 1]) * grid[2] + whole[:, 2]) * 4 + along
    return _Piece(where, key, faces, _touched(whole, loose, shape))


def _touched(whole: NDArray[np.int64], loose: BoolArray, shape: tuple[int, ...]) -> NDArray[np.int64]:
    """Numbers of all bricks that share a grid edge with a vertex."""
    home = whole // _BRICK
    border = (whole % _BRICK == 0) & ~loose
    around = [home]
    for pattern in product((False, True), repeat=3):
        if any(pattern):
            there = np.all(border[:, np.array(pattern)], axis=1)
            around.append(home[there] - np.array(pattern, dtype=np.int64))
    return _codes(np.unique(np.concatenate(around), axis=0), shape)


def _weld(pieces: list[_Piece], low: FloatArray, step: float) -> Mesh:
    """One mesh, one vertex for each key."""
    sizes = [len(p.where) for p in pieces]
    if not sum(sizes):
        raise UsageError("field.empty", "the field has no surface in this box")
    offsets = np.cumsum([0, *sizes[:-1]])
    faces = np.concatenate([p.faces + offset for p, offset in zip(pieces, offsets, strict=True)])
    _, first, inverse = np.unique(np.concatenate([p.key for p in pieces]), return_index=True, return_inverse=True)
    where = np.concatenate([p.where for p in pieces])
    return Mesh(low + where[first] * step, inverse[faces].astype(np.int32))
