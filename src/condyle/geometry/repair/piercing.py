"""Which edges pierce which triangles, decided so that neighbouring triangles never disagree.

Every sign is that of a determinant of four vertices taken in ascending order of their numbers: the same four give the same
sign whichever triangles ask.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from condyle.geometry.repair.edges import edges_of


@dataclass(frozen=True, eq=False)
class Piercing:
    """edge_and_face (k, 3): lower and higher vertex of an edge and the face that it pierces; along (k,): where on the
    edge, 0 at the lower vertex; points (k, 3); faces_at: the faces at each piercing edge."""

    edge_and_face: IntArray
    along: FloatArray
    points: FloatArray
    faces_at: dict[tuple[int, int], list[int]]


def piercings_of(mesh: Mesh, pairs: IntArray) -> Piercing:
    """All piercings among pairs (k, 2) of faces. Edges that share a vertex with a face do not pierce it."""
    if not len(pairs):
        return Piercing(np.zeros((0, 3), dtype=np.int32), np.zeros(0), np.zeros((0, 3)), {})
    both = np.concatenate([pairs, pairs[:, ::-1]])
    edge = np.concatenate([mesh.faces[both[:, 0]][:, [i, (i + 1) % 3]] for i in range(3)])
    face = np.tile(both[:, 1], 3)
    every = np.unique(np.column_stack([edge.min(axis=1), edge.max(axis=1), face]), axis=0)
    corner = mesh.faces[every[:, 2]]
    apart = ~((corner == every[:, :1]) | (corner == every[:, 1:2])).any(axis=1)
    every, corner = every[apart], corner[apart]
    p, q = every[:, 0], every[:, 1]
    a, b, c = corner.T
    before, behind = _side(mesh.vertices, a, b, c, p), _side(mesh.vertices, a, b, c, q)
    turns = [_side(mesh.vertices, p, q, u, v) for u, v in ((a, b), (b, c), (c, a))]
    hit = (before != behind) & (turns[0] == turns[1]) & (turns[1] == turns[2])
    every = every[hit]
    start, end = mesh.vertices[every[:, 0]], mesh.vertices[every[:, 1]]
    base = mesh.vertices[mesh.faces[every[:, 2], 0]]
    normal = mesh.area_vectors[every[:, 2]]
    d0 = np.einsum("ij,ij->i", start - base, normal)
    d1 = np.einsum("ij,ij->i", end - base, normal)
    along = np.clip(d0 / np.where(d0 == d1, 1.0, d0 - d1), 0.0, 1.0)
    return Piercing(every, along, start + along[:, None] * (end - start), _faces_at(mesh, every))


def _side(vertices: FloatArray, a: IntArray, b: IntArray, c: IntArray, d: IntArray) -> BoolArray:
    """Whether d lies on the positive side of the plane through a, b, c; no ties."""
    quad = np.stack([a, b, c, d], axis=1)
    by = np.argsort(quad, axis=1)
    odd = np.zeros(len(quad), dtype=bool)
    for i in range(4):
        for j in range(i + 1, 4):
            odd ^= by[:, i] > by[:, j]
    p = vertices[np.take_along_axis(quad, by, axis=1)]
    u, v, w = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0], p[:, 3] - p[:, 0]
    return np.asarray((np.einsum("ij,ij->i", np.cross(u, v), w) > 0) ^ odd)


def _faces_at(mesh: Mesh, every: IntArray) -> dict[tuple[int, int], list[int]]:
    """The faces at each edge that pierces something."""
    wanted = np.zeros(len(mesh.vertices), dtype=bool)
    wanted[every[:, :2]] = True
    some = np.flatnonzero(wanted[mesh.faces].sum(axis=1) >= 2).astype(np.int32)
    faces = mesh.faces[some]
    edges = edges_of(faces, len(mesh.vertices))
    asked = {(int(a), int(b)) for a, b in every[:, :2]}
    out: dict[tuple[int, int], list[int]] = {}
    for e in range(len(edges.starts) - 1):
        group = edges.halfedges[edges.starts[e] : edges.starts[e + 1]]
        u, v = int(faces[group[0] // 3, group[0] % 3]), int(faces[group[0] // 3, (group[0] + 1) % 3])
        key = (min(u, v), max(u, v))
        if key in asked:
            out[key] = [int(some[h // 3]) for h in group]
    return out
