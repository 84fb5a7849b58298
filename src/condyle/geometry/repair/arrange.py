"""Crossing surfaces cut along their curves of intersection, and only the skin of what is inside kept.

Each triangle that others pass through is cut along those curves; the pieces form patches between the curves; a patch stays
when the winding number is 0 before it and 1 behind it. The outline is that of Zhou, Grinspun, Zorin & Jacobson, Mesh
arrangements for solid geometry, ACM Trans. Graphics 35(4) (2016), article 39, in floating point: vertices near the curves
are first moved by up to SHAKE_MM at random (always the same way), so that no edge meets an edge; every test of sides is
computed from vertices in one order, so that neighbours agree about it. Where that is not enough, Tangle is raised.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.repair.edges import edges_of, is_closed_and_consistent, mates_of
from condyle.geometry.repair.facets import Tangle, cut_triangle
from condyle.geometry.repair.piercing import Piercing, piercings_of
from condyle.geometry.repair.surface import shells_of
from condyle.geometry.winding import WindingField

SHAKE_MM = 2e-4
_PROBES = 7
_MOST_SEGMENTS = 2000


def skin_of(mesh: Mesh, near: BoolArray, seed: int) -> Mesh:
    """The boundary of the region where the winding number of a closed mesh is above one half.

    near  (m,) the faces among which crossings are to be looked for, a margin included
    seed  of the shaking; another one may succeed where Tangle was raised
    """
    vertices = mesh.vertices.copy()
    local = np.flatnonzero(near).astype(np.int32)
    crossing = np.unique(crossings_of(Bvh(mesh.subset(near)), 0.0).pairs)
    moved = np.unique(mesh.faces[local[crossing]])
    vertices[moved] += np.random.default_rng(seed).uniform(-SHAKE_MM, SHAKE_MM, size=(len(moved), 3))
    shaken = Mesh(vertices, mesh.faces)
    # A subset renumbers the vertices; what crosses is numbered by the faces, which map back.
    pairs = local[crossings_of(Bvh(shaken.subset(near)), 0.0).pairs]
    pierced = piercings_of(shaken, pairs)
    points, faces = _cut(shaken, pierced)
    cut = Mesh(points, faces)
    patch = shells_of(faces, mates_of(points, faces, edges_of(faces, len(points)), split=False))
    skin = cut.subset(_is_skin(cut, patch, Bvh(shaken).winding_field)[patch])
    if not skin.triangle_count or not is_closed_and_consistent(skin.faces, edges_of(skin.faces, len(skin.vertices))):
        raise Tangle
    return skin


def _cut(mesh: Mesh, pierced: Piercing) -> tuple[FloatArray, IntArray]:
    """All triangles, those that are passed through replaced by their pieces; vertices (k, 3) and faces (l, 3)."""
    n = len(mesh.vertices)
    where: dict[int, FloatArray] = {n + k: p for k, p in enumerate(pierced.points)}
    ends: dict[tuple[int, int], list[int]] = defaultdict(list)
    on_edge: dict[tuple[int, int], list[tuple[float, int]]] = defaultdict(list)
    for k, (low, high, tri) in enumerate(pierced.edge_and_face.tolist()):
        on_edge[(low, high)].append((float(pierced.along[k]), n + k))
        for face in pierced.faces_at[(low, high)]:
            ends[(min(face, tri), max(face, tri))].append(n + k)
    segments: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
    for (f, t), points in ends.items():
        if len(points) == 1:
            shared = set(mesh.faces[f].tolist()) & set(mesh.faces[t].tolist())
            points = points + list(shared) if len(shared) == 1 else points
        if len(points) != 2:
            raise Tangle
        segments[f].append((points[0], points[1], t))
        segments[t].append((points[0], points[1], f))
    touched = sorted({*segments, *(f for e in on_edge for f in pierced.faces_at[e])})
    for f in touched:
        for v in mesh.faces[f].tolist():
            where[v] = mesh.vertices[v]
    meeting: dict[tuple[int, ...], int] = {}
    made: list[tuple[int, int, int]] = []
    for f in touched:
        corners = mesh.faces[f].tolist()
        rim: list[int] = []
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
            points = [v for _, v in sorted(on_edge.get((min(a, b), max(a, b)), []))]
            rim += [a, *(points if a < b else reversed(points))]
        lines = _split_where_they_meet(mesh, f, segments[f], where, meeting, n + len(pierced.points))
        made += cut_triangle(rim, lines, where, mesh.area_vectors[f])
    vertices = np.concatenate([mesh.vertices, pierced.points, *(where[v][None] for v in meeting.values())])
    keep = np.ones(len(mesh.faces), dtype=bool)
    keep[touched] = False
    return vertices, np.concatenate([mesh.faces[keep], np.array(made, dtype=np.int32).reshape(-1, 3)])


def _split_where_they_meet(
    mesh: Mesh,
    face: int,
    segments: list[tuple[int, int, int]],
    where: dict[int, FloatArray],
    meeting: dict[tuple[int, ...], int],
    first: int,
) -> list[tuple[int, int]]:
    """The segments in one face, cut where three sheets meet in a point; such points are shared by the three faces."""
    inner: dict[int, list[int]] = defaultdict(list)
    for i, j in _meeting(segments, where, mesh.area_vectors[face]):
        s, t = segments[i], segments[j]
        key = tuple(sorted((face, s[2], t[2])))
        if key not in meeting:
            planes = mesh.area_vectors[list(key)]
            base = mesh.vertices[mesh.faces[list(key), 0]]
            middle = base.mean(axis=0)
            try:
                point = middle + np.linalg.solve(planes, np.einsum("ij,ij->i", planes, base - middle))
            except np.linalg.LinAlgError:
                raise Tangle from None
            meeting[key] = first + len(meeting)
            where[meeting[key]] = point
        inner[i].append(meeting[key])
        inner[j].append(meeting[key])
    out = []
    for i, (a, b, _) in enumerate(segments):
        along = where[b] - where[a]
        chain = [a, *sorted(inner[i], key=lambda v: float((where[v] - where[a]) @ along)), b]
        out += list(pairwise(chain))
    return out


def _meeting(
    segments: list[tuple[int, int, int]], where: dict[int, FloatArray], normal: FloatArray
) -> list[tuple[int, int]]:
    """Pairs of segments that cross, seen along the normal; such as share an end do not."""
    if len(segments) < 2:
        return []
    if len(segments) > _MOST_SEGMENTS:
        raise Tangle
    drop = int(np.argmax(np.abs(normal)))
    keep = [(drop + 1) % 3, (drop + 2) % 3]
    ids = np.array([s[:2] for s in segments])
    a, b = (np.array([where[v] for v in ids[:, k].tolist()])[:, keep] for k in (0, 1))
    out: list[tuple[int, int]] = []
    for i in range(len(segments) - 1):
        c, d = a[i + 1 :], b[i + 1 :]
        apart = ~np.isin(ids[i + 1 :], ids[i]).any(axis=1)
        split = (_turn(a[i], b[i], c) > 0) != (_turn(a[i], b[i], d) > 0)
        crossed = (_turn(c, d, a[i]) > 0) != (_turn(c, d, b[i]) > 0)
        out += [(i, i + 1 + int(j)) for j in np.flatnonzero(apart & split & crossed)]
    return out


def _turn(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
    u, v = q - p, r - p
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])


def _is_skin(cut: Mesh, patch: IntArray, field: WindingField) -> BoolArray:
    """For each patch whether it parts outside (winding number 0) from inside (1), by its largest triangles' vote."""
    order = np.lexsort((-cut.areas, patch))
    first = np.searchsorted(patch[order], np.arange(int(patch.max()) + 1))
    rank = np.arange(len(order)) - first[patch[order]]
    probes = order[rank < _PROBES]
    middle = cut.corners[probes].mean(axis=1)
    # As near to the face as its size allows, so that no other sheet comes between.
    away = cut.normals[probes] * np.minimum(1e-3 * np.sqrt(cut.areas[probes]), 1e-4)[:, None]
    before = np.rint(field.at(middle + away))
    behind = np.rint(field.at(middle - away))
    vote = np.where((before == 0) & (behind == 1), 1.0, -1.0)
    weight = np.sqrt(cut.areas[probes])
    return np.bincount(patch[probes], weights=vote * weight, minlength=int(patch.max()) + 1) > 0
