"""Feather edges: flesh that a cut leaves thinner than two printed lines is taken away, so that its rim ends blunt.

Where a kerf meets the skin at a grazing angle the flesh between them runs out to nothing: it prints as a ragged fringe
or not at all. Rays from the cut faces straight into the flesh find where it is thin before they meet skin or another cut
face. There, and only there, the flesh is opened in the sense of mathematical morphology: what no ball of two line widths
inside the flesh can reach is taken off (erosion and dilation as distance fields: Serra, Image Analysis and Mathematical
Morphology, 1982, from memory). Walls between a cut and a cavity are the hardware's own and left alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from condyle.errors import UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.fields import Field, surface_from_field
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from condyle.geometry.solid import Solid, divided, gather, solid_from_mesh, union
from condyle.geometry.spread import samples
from condyle.joints.stock import Stock

_STEP_MM = 0.2
_SAMPLE_MM = 0.5
_NEAR_MM = 0.9  # how far around a thin place flesh may be opened
_PROUD_MM = 0.037  # more than the fields' own error, so that sound skin is not scratched
_FACING = -0.75  # cosine between the two faces of a feather: sharper than about 40 degrees
_AWAY_MM = 0.5  # from a cavity
_LEAST_MM2 = 0.04
_CHIPS_MM3 = 2.0
_GRID_MM = 0.25  # of several samples so near each other one is enough
_BEYOND_MM = 2.0 * _STEP_MM  # further than a cell from the surface looked for, only the sign counts
_AT_MOST_MM = 1.6
_ASKEW = np.array([0.31, 0.52, 0.796])  # no face of hardware lies along it
_WITHIN_FACE = 1.0 - 1e-7  # cosine between a face's normal and the way to a point straight over or under it
_REACH_MM = 1.5  # how far around a thin place balls are looked for


@dataclass(frozen=True, eq=False)
class Blunted:
    """A part's flesh without its feather edges, and what was taken, by the joint whose cut left it."""

    flesh: Solid
    taken: dict[str, tuple[Solid, ...]]


def blunted(
    parts: Sequence[Solid], cuts: Mapping[int, str], cavities: Sequence[int], stock: Stock, workers: int = 2
) -> list[Blunted]:
    """Take off what the cuts left too thin, of each part.

    cuts      joint names by the mark that faces of their kerfs carry
    cavities  marks of cavities: what lies between them and a cut is hardware's wall
    workers   how many threads look for feather edges at once; the result does not depend on it
    """
    marks = [*cuts, *cavities]
    found = [(flesh.mesh, flesh.faces_from(marks)) for flesh in parts]

    def look(at: tuple[Mesh, dict[int, IntArray]]) -> dict[str, list[Mesh]]:
        return _feathers(*at, cuts, cavities, stock.wall_mm)

    with ThreadPoolExecutor(workers) as pool:
        # Solids are made here, one after the other, while the threads look on: the library orders triangles by when their
        # solid was made.
        return [_without(flesh, by_joint) for flesh, by_joint in zip(parts, pool.map(look, found), strict=True)]


def _without(flesh: Solid, feathers: Mapping[str, Sequence[Mesh]]) -> Blunted:
    """A part's flesh without its feather edges, all of them cut off at once."""
    # Clusters of one joint stand further apart than their tools reach.
    tools = {name: gather([solid_from_mesh(t, "feather edge") for t in found]) for name, found in feathers.items()}
    while tools:
        pieces, rest = divided(flesh, union(list(tools.values()), "feather edges"))
        if pieces is None or rest is None:
            break
        # A chip that hung on by the feather edge goes with it; a real piece must not.
        body, *chips = rest.components()
        owners = _nearest(chips, tools)
        heavy = {
            name
            for name in tools
            if sum(c.volume_mm3 for c, o in zip(chips, owners, strict=True) if o == name) > _CHIPS_MM3
        }
        if not heavy:
            return Blunted(body, _by_joint(pieces, tools, chips, owners))
        tools = {name: tool for name, tool in tools.items() if name not in heavy}
    return Blunted(flesh, {})


def _nearest(chips: Sequence[Solid], tools: Mapping[str, Solid]) -> list[str]:
    """For each chip the joint whose tool cut it off: it shares a face with it."""
    if not chips:
        return []
    trees = {name: cKDTree(tool.mesh.vertices) for name, tool in tools.items()}
    return [min(trees, key=lambda name: float(trees[name].query(c.mesh.vertices)[0].min())) for c in chips]


def _by_joint(
    pieces: Solid, tools: dict[str, Solid], chips: Sequence[Solid], owners: Sequence[str]
) -> dict[str, tuple[Solid, ...]]:
    """What was taken, given to the joints; where two tools overlap, to the first."""
    taken: dict[str, tuple[Solid, ...]] = {}
    left: Solid | None = pieces
    last = next(reversed(tools))
    for name, tool in tools.items():
        if left is None:
            break
        mine, left = (left, None) if name == last else divided(left, tool)
        own = [] if mine is None else [mine]
        own += [c for c, owner in zip(chips, owners, strict=True) if owner == name]
        if own:
            taken[name] = tuple(own)
    return taken


def _feathers(
    mesh: Mesh, by_mark: Mapping[int, IntArray], cuts: Mapping[int, str], cavities: Sequence[int], wall_mm: float
) -> dict[str, list[Mesh]]:
    """What is to be taken off one part's flesh, by the joint whose cut left it too thin."""
    faces = {mark: by_mark[mark] for mark in cuts if mark in by_mark}
    if not faces:
        return {}
    hollow = np.zeros(len(mesh.faces), dtype=bool)
    for mark in cavities:
        if mark in by_mark:
            hollow[by_mark[mark]] = True
    bvh = Bvh(mesh)
    found: dict[str, list[Mesh]] = {}
    for name in dict.fromkeys(cuts.values()):
        own = [faces[m] for m, joint in cuts.items() if joint == name and m in faces]
        thin = _thin_places(mesh, bvh, np.concatenate(own), hollow, wall_mm) if own else np.zeros((0, 3))
        tools = [t for t in (_tool(mesh, bvh, p, hollow, wall_mm) for p in _clusters(thin)) if t is not None]
        if tools:
            found[name] = tools
    return found


def _thin_places(mesh: Mesh, bvh: Bvh, faces: IntArray, hollow: BoolArray, wall_mm: float) -> FloatArray:
    """Middles (n, 3) of the flesh behind cut faces, where another face that looks away is nearer than a wall."""
    points, normals, areas = _thinned(*samples(mesh.vertices, mesh.faces[faces], _SAMPLE_MM))
    depth, hit = bvh.first_hits(points - 1e-4 * normals, -normals, wall_mm)
    met = hit >= 0
    thin = met & (depth < wall_mm - 0.05)
    thin[met] &= ~hollow[hit[met]]
    thin[met] &= np.einsum("ij,ij->i", normals[met], _normals(mesh, hit[met])) < _FACING
    if float(areas[thin].sum()) < _LEAST_MM2:
        return np.zeros((0, 3))
    return points[thin] - 0.5 * depth[thin, None] * normals[thin]


def _thinned(points: FloatArray, normals: FloatArray, areas: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One sample for each little cube and sense of the normal, with the area of all that it stands for."""
    sense = (normals > 0.0) @ np.array([1, 2, 4])
    if not len(points):
        return points, normals, areas
    cube = np.floor(points / _GRID_MM).astype(np.int64)
    cube -= cube.min(axis=0)
    # One number for each: rows of an array are many times slower to compare.
    keys = np.ravel_multi_index((*cube.T, sense), (*(cube.max(axis=0) + 1), 8))
    _, first, label = np.unique(keys, return_index=True, return_inverse=True)
    return points[first], normals[first], np.bincount(label, areas, len(first)).astype(np.float64)


def _clusters(points: FloatArray) -> list[FloatArray]:
    """Points within reach of one another, so that every tool is small; in the order of their first point."""
    if not len(points):
        return []
    pairs = cKDTree(points).query_pairs(2.5 * _NEAR_MM, output_type="ndarray")
    links = coo_matrix((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    count, label = connected_components(links, directed=False)
    return [points[label == k] for k in range(count)]


def _tool(mesh: Mesh, bvh: Bvh, places: FloatArray, hollow: BoolArray, wall_mm: float) -> Mesh | None:
    """What no ball of a wall's width can reach around thin places; None where that is nothing."""
    radius = 0.5 * wall_mm
    near = cKDTree(places)
    low, high = places.min(axis=0), places.max(axis=0)

    def eroded(points: FloatArray) -> FloatArray:
        beyond = np.asarray(near.query(points)[0] - _REACH_MM)
        out = np.array(beyond)
        close = np.flatnonzero(beyond < _BEYOND_MM)
        out[close] = np.maximum(beyond[close], _signed(bvh, points[close]) + radius)
        return out

    core = _surface(eroded, low, high, _REACH_MM)
    kernel = None if core is None else cKDTree(core.vertices)
    cavity = (
        samples(mesh.vertices, mesh.faces[_around(mesh, hollow, low, high)], _SAMPLE_MM)[0]
        if hollow.any()
        else places[:0]
    )
    walls = cKDTree(cavity) if len(cavity) else None

    def proud(points: FloatArray) -> FloatArray:
        out = np.asarray(near.query(points)[0] - _NEAR_MM)
        close = np.flatnonzero(out < _BEYOND_MM)
        if kernel is not None and len(close):
            out[close] = np.maximum(out[close], radius + _PROUD_MM - _away(kernel, points[close]))
        if walls is not None and len(close):
            out[close] = np.maximum(out[close], _AWAY_MM - _away(walls, points[close]))
        return out

    return _surface(proud, low, high, _NEAR_MM)


def _away(tree: cKDTree, points: FloatArray) -> FloatArray:
    """Distance to the nearest point, at most as far as any brick of the surface search asks."""
    found = np.asarray(tree.query(points, distance_upper_bound=_AT_MOST_MM)[0], dtype=np.float64)
    return np.asarray(np.minimum(found, _AT_MOST_MM))


def _signed(bvh: Bvh, points: FloatArray) -> FloatArray:
    """Distance to the surface, negative inside.

    Where the nearest point lies within a face, the face's normal tells the side; at edges and corners the first hit of a
    ray does, which is a face seen from behind inside.
    """
    distance, nearest, face = bvh.closest(points)
    along = np.einsum("ij,ij->i", points - nearest, _normals(bvh.mesh, face))
    inside = along < 0.0
    unclear = np.flatnonzero(np.abs(along) < _WITHIN_FACE * distance)
    hit = bvh.first_hits(points[unclear], np.broadcast_to(_ASKEW, (len(unclear), 3)))[1]
    inside[unclear] = (hit >= 0) & (_normals(bvh.mesh, hit) @ _ASKEW > 0.0)
    return np.asarray(np.where(inside, -distance, distance))


def _normals(mesh: Mesh, faces: IntArray) -> FloatArray:
    """Unit normals of some triangles: those of all are not needed."""
    return Mesh(mesh.vertices, mesh.faces[faces]).normals


def _surface(field: Field, low: FloatArray, high: FloatArray, reach_mm: float) -> Mesh | None:
    margin = reach_mm + 4.0 * _STEP_MM
    try:
        return surface_from_field(field, np.stack([low - margin, high + margin]), _STEP_MM, block=32, steepest=1.1)
    except UsageError:
        return None


def _around(mesh: Mesh, hollow: BoolArray, low: FloatArray, high: FloatArray) -> IntArray:
    """Faces of cavities near a box."""
    index = np.flatnonzero(hollow)
    corners = mesh.vertices[mesh.faces[index]]
    reach = _NEAR_MM + _AWAY_MM + 0.5
    near = np.all((corners.max(axis=1) >= low - reach) & (corners.min(axis=1) <= high + reach), axis=1)
    return np.asarray(index[near])
