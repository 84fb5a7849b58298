"""The same solid without crossings: the skin of what lies inside a surface that runs through itself.

First by cutting the surfaces along their curves (arrange), which moves nothing by more than SHAKE_MM; where that does not
come out, by cutting out and rebuilding boxes (rebuild). Either way the result must fill the region that the winding
number says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from condyle.errors import Place, SculptError, SolidError, UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from condyle.geometry.repair.arrange import skin_of
from condyle.geometry.repair.crossing import Crossings
from condyle.geometry.repair.facets import Tangle
from condyle.geometry.repair.rebuild import rebuilt
from condyle.geometry.solid import solid_from_mesh

MARGIN_MM = 0.25
_MANY = 64
_SEEDS = 4
_AGREE = 0.005
_TOUCH_MM = 1e-3


@dataclass(frozen=True, eq=False)
class Uncrossed:
    """The closed mesh; places: boxes (k, 2, 3) around the clusters; steps_mm (j,) of those rebuilt by marching cubes."""

    mesh: Mesh
    places: FloatArray
    steps_mm: FloatArray


def uncrossed(bvh: Bvh, found: Crossings) -> Uncrossed:
    """The boundary of the region in which the winding number is above one half, crossing itself nowhere.

    ``bvh``: of a closed, consistently wound mesh with its crossings ``found``. SculptError when no way leads to a
    solid that agrees with the winding number to half a per cent of the volume.
    """
    boxes = clusters_of(found)
    worst: float | None = None
    for seed in range(_SEEDS):
        try:
            skin = skin_of(bvh.mesh, _near(bvh.mesh, boxes), seed)
        except Tangle:
            continue
        worst = disagreement(bvh, Bvh(skin)) / max(skin.volume_mm3, 1e-9)
        if worst <= _AGREE:
            return Uncrossed(skin, boxes, np.zeros(0))
    for all_of_it in (False, True):
        try:
            made = rebuilt(solid_from_mesh(bvh.mesh), bvh, boxes, all_of_it=all_of_it)
        except (SolidError, UsageError):
            continue
        worst = disagreement(bvh, Bvh(made.solid.mesh)) / made.solid.volume_mm3
        if worst <= _AGREE:
            return Uncrossed(made.solid.mesh, boxes, made.steps_mm)
    place = found.points[0]
    raise SculptError(
        "sculpt.tangled",
        "the surface runs through itself in a way that leaves no clear inside"
        + (f" ({100 * worst:.1f} % of the volume in doubt)" if worst is not None else ""),
        hint="rebuild the surface there in the sculpting program, as one skin",
        place=Place(point_mm=(float(place[0]), float(place[1]), float(place[2]))),
    )


def disagreement(a: Bvh, b: Bvh, samples: int = 100_000) -> float:
    """Volume in mm³ that lies inside one of two surfaces only, estimated on a fixed set of points in their bounds."""
    low = np.minimum(a.mesh.bounds[0], b.mesh.bounds[0])
    high = np.maximum(a.mesh.bounds[1], b.mesh.bounds[1])
    # Additive recurrence on the plastic number's powers (Roberts 2018): even cover, the same points every time.
    g = 1.2207440846057596
    points = (0.5 + np.arange(1, samples + 1)[:, None] / np.array([g, g**2, g**3])) % 1.0
    points = low + points[np.lexsort(np.floor(points * 32).T)] * (high - low)
    return float((a.inside(points) != b.inside(points)).mean() * np.prod(high - low))


def _near(mesh: Mesh, boxes: FloatArray) -> BoolArray:
    """The faces (m,) that reach into a box; all of them where boxes are many."""
    if len(boxes) > _MANY:
        return np.ones(mesh.triangle_count, dtype=bool)
    low, high = mesh.corners.min(axis=1), mesh.corners.max(axis=1)
    near = np.zeros(mesh.triangle_count, dtype=bool)
    for box in boxes:
        near |= ((low <= box[1]) & (high >= box[0])).all(axis=1)
    return near


def clusters_of(found: Crossings) -> FloatArray:
    """Boxes (k, 2, 3) with a margin around what hangs together, apart from one another.

    Crossings hang together when they share a triangle or lie near each other: along a curve through large triangles
    the known places are far apart.
    """
    points = found.points
    if not len(points):
        return np.zeros((0, 2, 3))
    entry = np.tile(np.arange(len(points)), 2)
    triangle = found.pairs.T.ravel()
    by = np.lexsort((entry, triangle))
    same = triangle[by][1:] == triangle[by][:-1]
    links = np.concatenate([_near_links(points), np.stack([entry[by][1:][same], entry[by][:-1][same]], axis=1)])
    boxes = _boxes_of(points - MARGIN_MM, points + MARGIN_MM, links)
    while True:
        fewer = _boxes_of(boxes[:, 0], boxes[:, 1], _touching(boxes))
        if len(fewer) == len(boxes):
            break
        boxes = fewer
    return boxes[np.lexsort(boxes[:, 0].T)]


def _near_links(points: FloatArray) -> IntArray:
    """Links (l, 2) that hang together points no more than two margins apart along every axis, few for each point.

    Points of one cell of a grid follow each other; neighbouring cells are linked by a point of each. What is near
    across further cells is joined by its boxes, which then touch.
    """
    reach = 2.0 * MARGIN_MM
    cells, cell = np.unique(np.floor(points / reach).astype(np.int64), axis=0, return_inverse=True)
    cell = cell.ravel()
    by = np.argsort(cell, kind="stable")
    first = np.flatnonzero(np.diff(cell[by], prepend=-1))
    low, high = np.minimum.reduceat(points[by], first), np.maximum.reduceat(points[by], first)
    beside = cKDTree(cells).query_pairs(1.0, p=np.inf, output_type="ndarray")
    a, b = beside[:, 0], beside[:, 1]
    beside = beside[(np.maximum(low[a] - high[b], low[b] - high[a]) <= reach).all(axis=1)]
    follows = np.delete(np.stack([by[1:], by[:-1]], axis=1), first[1:] - 1, axis=0)
    return np.concatenate([follows, by[first[beside]]])


def _touching(boxes: FloatArray) -> IntArray:
    """Pairs (l, 2) of boxes (k, 2, 3) that touch or overlap."""
    by = np.argsort(boxes[:, 0, 0], kind="stable")
    low, high = boxes[by, 0], boxes[by, 1] + _TOUCH_MM
    ends = np.searchsorted(low[:, 0], high[:, 0])
    pairs = [np.zeros((0, 2), dtype=np.int64)]
    for i, end in enumerate(ends):
        later = np.arange(i + 1, end)
        met = later[((low[later] < high[i]) & (high[later] > low[i])).all(axis=1)]
        pairs.append(np.stack([np.full(len(met), by[i]), by[met]], axis=1))
    return np.concatenate(pairs)


def _boxes_of(low: FloatArray, high: FloatArray, links: IntArray) -> FloatArray:
    """The boxes (j, 2, 3) around what the links (l, 2) join of the boxes with these corners (k, 3)."""
    count = len(low)
    graph = coo_matrix((np.ones(len(links), dtype=bool), (links[:, 0], links[:, 1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1]
    by = np.argsort(label, kind="stable")
    first = np.flatnonzero(np.diff(label[by], prepend=-1))
    return np.stack([np.minimum.reduceat(low[by], first), np.maximum.reduceat(high[by], first)], axis=1)
