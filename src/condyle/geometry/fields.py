"""Surfaces of implicit solids: marching cubes in blocks, only where the surface can be.

A dense grid fine enough for a figure takes gigabytes, so the box is searched like an octree: a brick whose middle lies
further from the surface than its corners do is dropped, the rest is halved, and only bricks of four cells that the surface
can reach are sampled. Blocks of bricks then go through marching cubes one by one (Lewiner et al., Efficient
implementation of marching cubes' cases with topological guarantees, J. Graphics Tools 8(2), 2003, as in scikit-image),
and vertices of neighbouring blocks are merged by the grid edge that they lie on, so that the whole is closed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage.measure import marching_cubes

from condyle.errors import UsageError
from condyle.geometry.mesh import FloatArray, IntArray, Mesh

Field = Callable[[FloatArray], FloatArray]
"""Points (n, 3) in mm to values (n,) in mm: negative inside, and about the distance to the surface near it."""

_BRICK = 4
# A vertex this close (in cells) to a grid point would make needle triangles and could round onto the point.
_NUDGE = 2e-3
_CHUNK = 1 << 18


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
    cells = np.ceil((high - low) / step_mm).astype(np.int64)
    bricks, covered = _bricks_near(function, low, cells, step_mm, level, steepest)
    if not len(bricks):
        raise UsageError("field.empty", "the field has no surface in this box")
    per_block = block // _BRICK
    owner = bricks // per_block
    # Blocks in a fixed order; each takes its own bricks.
    span = owner.max(axis=0) + 1
    code = (owner[:, 0] * span[1] + owner[:, 1]) * span[2] + owner[:, 2]
    order = np.argsort(code, kind="stable")
    starts = np.flatnonzero(np.diff(code[order], prepend=-1))
    grid = (cells // block + 2) * block + 1
    points, keys, faces, count = [], [], [], 0
    for first, last in zip(starts, [*starts[1:], len(order)], strict=True):
        mine = bricks[order[first:last]]
        corner = owner[order[first]] * block
        found = _march(function, low, corner, mine * _BRICK - corner, step_mm, level, block, grid)
        if found is None:
            continue
        points.append(found[0])
        keys.append(found[1])
        faces.append(found[2] + count)
        count += len(found[0])
    if not faces:
        raise UsageError("field.empty", "the field has no surface in this box")
    mesh = _weld(np.concatenate(points), np.concatenate(keys), np.concatenate(faces), low, step_mm)
    _refuse_cut_open(mesh, low, covered, step_mm)
    return mesh


def largest_shell(mesh: Mesh) -> Mesh:
    """The connected surface with the most triangles: bubbles and specks of a coarse step are left out."""
    n = len(mesh.vertices)
    links = coo_matrix((np.ones(2 * len(mesh.faces), dtype=np.int8),
                        (mesh.faces[:, [0, 1]].ravel(), mesh.faces[:, [1, 2]].ravel())), shape=(n, n))
    count, label = connected_components(links, directed=False)
    if count == 1:
        return mesh
    of_face = label[mesh.faces[:, 0]]
    return mesh.subset(of_face == np.argmax(np.bincount(of_face)))


def _sample(function: Field, points: FloatArray) -> FloatArray:
    """The function in chunks, so that its own temporaries stay small."""
    parts = [function(points[i : i + _CHUNK]) for i in range(0, len(points), _CHUNK)]
    return np.concatenate(parts) if parts else np.zeros(0)


def _bricks_near(
    function: Field, low: FloatArray, cells: np.ndarray, step: float, level: float, steepest: float
) -> tuple[np.ndarray, np.ndarray]:
    """Indices (n, 3) of the bricks of four cells that the surface can reach; cells (3,) searched along each axis."""
    depth = max(0, int(np.ceil(np.log2(cells.max() / (_BRICK * 4)))))
    size = _BRICK << depth
    shape = -(-cells // size)
    covered = shape * size
    bricks = np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 3)
    octants = np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1).reshape(1, 8, 3)
    while True:
        middles = low + (bricks + 0.5) * (size * step)
        reach = steepest * size * step * np.sqrt(3.0) / 2.0
        bricks = bricks[np.abs(_sample(function, middles) - level) <= reach]
        if size == _BRICK:
            return bricks, covered
        size //= 2
        bricks = (2 * bricks[:, None, :] + octants).reshape(-1, 3)


def _march(
    function: Field,
    low: FloatArray,
    corner: np.ndarray,
    bricks: np.ndarray,
    step: float,
    level: float,
    block: int,
    grid: np.ndarray,
) -> tuple[FloatArray, np.ndarray, IntArray] | None:
    """Vertices (grid units), edge keys and faces of one block; None where no cell is crossed."""
    near = np.zeros((block // _BRICK,) * 3, dtype=bool)
    near[tuple((bricks // _BRICK).T)] = True
    cell = near.repeat(_BRICK, 0).repeat(_BRICK, 1).repeat(_BRICK, 2)
    wanted = np.zeros((block + 1,) * 3, dtype=bool)
    for dx in (0, 1):
        for dy in (0, 1):
            for dz in (0, 1):
                wanted[dx : block + dx, dy : block + dy, dz : block + dz] |= cell
    index = np.argwhere(wanted)
    values = (_sample(function, low + (index + corner) * step) - level) / step
    if values.min() >= 0 or values.max() < 0:
        return None
    values = np.where(np.abs(values) < _NUDGE, np.copysign(_NUDGE, values), values)
    volume = np.full(wanted.shape, 1e3, dtype=np.float32)
    volume[wanted] = values
    # The mask of marching_cubes goes by a cell's upper corner.
    mask = np.zeros(wanted.shape, dtype=bool)
    mask[1:, 1:, 1:] = cell
    try:
        vertices, faces, _, _ = marching_cubes(
            volume, 0.0, gradient_direction="descent", mask=mask, allow_degenerate=True
        )
    except (ValueError, RuntimeError):  # no cell is crossed
        return None
    where = vertices.astype(np.float64) + corner
    whole = np.floor(where).astype(np.int64)
    loose = where != whole
    # An edge's vertex is loose along one axis only; one inside a cell (loose along all) belongs to that cell alone.
    along = np.where(loose.sum(axis=1) == 1, np.argmax(loose, axis=1), 3)
    key = ((whole[:, 0] * grid[1] + whole[:, 1]) * grid[2] + whole[:, 2]) * 4 + along
    return where, key, faces


def _weld(where: FloatArray, keys: np.ndarray, faces: np.ndarray, low: FloatArray, step: float) -> Mesh:
    """One mesh, one vertex for each key."""
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    return Mesh(low + where[first] * step, inverse[faces].astype(np.int32))


def _refuse_cut_open(mesh: Mesh, low: FloatArray, covered: np.ndarray, step: float) -> None:
    """Raise UsageError where the surface runs out of the sampled box: then vertices lie on the box's faces."""
    grid = (mesh.vertices - low) / step
    if float(grid.min()) < 1e-9 or bool(np.any(grid.max(axis=0) > covered - 1e-9)):
        raise UsageError("field.open", "the surface leaves the box of the field", hint="give larger bounds")
