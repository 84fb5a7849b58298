"""Triangles that bound nothing: without extent, doubled, walls inside a body, fins outside one."""

from __future__ import annotations

import numpy as np

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, IntArray, Mesh
from condyle.geometry.repair.edges import edges_of, mates_of
from condyle.geometry.repair.surface import shells_of

_PROBES = 5
# Each costs a look at the whole; a sculpt with more walls than these is refused for what stays open.
_MOST_PATCHES = 100


def without_collapsed(mesh: Mesh) -> tuple[Mesh, int]:
    """Triangles that use a vertex twice left away, and how many there were."""
    f = mesh.faces
    bad = (f[:, 0] == f[:, 1]) | (f[:, 1] == f[:, 2]) | (f[:, 2] == f[:, 0])
    count = int(bad.sum())
    return (mesh.subset(~bad) if count else mesh), count


def without_doubles(mesh: Mesh) -> tuple[Mesh, int]:
    """Of triangles on the same three vertices one stays, and how many went.

    Two that face opposite ways cancel where they hang on other triangles (a fin without thickness); a whole surface
    that lies there twice, once each way, keeps one of its copies.
    """
    key = np.sort(mesh.faces, axis=1)
    order = np.lexsort((key[:, 2], key[:, 1], key[:, 0]))
    new = np.any(np.diff(key[order], axis=0, prepend=-1) != 0, axis=1)
    group = np.cumsum(new) - 1
    if group[-1] + 1 == len(order):
        return mesh, 0
    f = mesh.faces[order]
    smallest = np.argmin(f, axis=1)
    rows = np.arange(len(f))
    even = f[rows, (smallest + 1) % 3] < f[rows, (smallest + 2) % 3]
    sign = np.where(even, 1, -1)
    net = np.bincount(group, weights=sign).astype(np.int64)
    size = np.bincount(group)
    # The first triangle of the sign that prevails stays; of those that cancel, the first for the time being.
    wanted = np.where(net == 0, sign[new], np.sign(net))
    fits = sign == wanted[group]
    first = np.full(len(net), len(f), dtype=np.int64)
    np.minimum.at(first, group[fits], rows[fits])
    stays = np.zeros(len(f), dtype=bool)
    stays[first] = True
    cancelled = (net == 0) & (size > 1)
    keep = np.zeros(len(f), dtype=bool)
    keep[order] = stays
    if cancelled.any():
        mark = np.zeros(len(f), dtype=bool)
        mark[order] = stays & cancelled[group]
        keep &= ~_attached(mesh, keep, mark)
    return mesh.subset(keep), int(len(f) - keep.sum())


def _attached(mesh: Mesh, keep: BoolArray, mark: BoolArray) -> BoolArray:
    """Of the marked triangles, those whose patch shares an edge with a kept one that is not marked."""
    some = np.flatnonzero(keep)
    edges = edges_of(mesh.faces[some], len(mesh.vertices))
    edge = np.repeat(np.arange(len(edges.starts) - 1), edges.counts)
    face = some[edges.halfedges // 3]
    marked = mark[face]
    mixed = np.bincount(edge, weights=marked) * np.bincount(edge, weights=~marked) > 0
    touching = np.zeros(len(mark), dtype=bool)
    touching[face[mixed[edge]]] = True
    patch = np.zeros(len(mark), dtype=np.int64)
    chosen = np.flatnonzero(mark)
    inner = edges_of(mesh.faces[chosen], len(mesh.vertices))
    patch[chosen] = shells_of(mesh.faces[chosen], mates_of(mesh.vertices, mesh.faces[chosen], inner, split=False))
    bad = np.unique(patch[mark & touching])
    return mark & np.isin(patch, bad)


def without_walls(mesh: Mesh) -> tuple[Mesh, int]:
    """Patches that hang on edges of three or more triangles and part nothing left away, and how many triangles that was.

    A patch (triangles between such edges) goes when that leaves no rim behind and, without it, the winding number on it
    is still clearly 0 (a fin) or 1 (a wall inside the body); small patches are asked first. Needs consistent winding
    within patches.
    """
    edges = edges_of(mesh.faces, len(mesh.vertices))
    if not _odd(edges.counts).any():
        return mesh, 0
    patch = shells_of(mesh.faces, mates_of(mesh.vertices, mesh.faces, edges, split=False))
    edge = np.repeat(np.arange(len(edges.starts) - 1), edges.counts)
    owner = patch[edges.halfedges // 3]
    left = edges.counts.copy()
    keep = np.ones(mesh.triangle_count, dtype=bool)
    size = np.bincount(patch)
    suspects = np.unique(owner[_odd(edges.counts)[edge]])
    for p in suspects[np.argsort(size[suspects], kind="stable")][:_MOST_PATCHES]:
        mine = patch == p
        after = left - np.bincount(edge[owner == p], minlength=len(left))
        if not _odd(left)[edge[owner == p]].any() or np.any((after == 1) & (left != 1)) or not (keep & ~mine).any():
            continue
        largest = np.flatnonzero(mine)[np.argsort(-mesh.areas[mine], kind="stable")[:_PROBES]]
        largest = largest[mesh.areas[largest] > 0.1 * mesh.areas[largest[0]]]
        around = np.abs(Bvh(mesh.subset(keep & ~mine)).winding_field.at(mesh.corners[largest].mean(axis=1)))
        if np.all(np.abs(around - np.rint(around)) < 0.15):
            keep &= ~mine
            left = after
    return mesh.subset(keep), int((~keep).sum())


def _odd(counts: IntArray) -> BoolArray:
    return (counts > 2) & (counts % 2 == 1)
