"""What hangs together: shells, consistent winding, and places where surfaces merely touch."""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.errors import Place, SculptError
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh


def shells_of(faces: IntArray, mate: IntArray) -> IntArray:
    """The shell (m,) that each face belongs to, numbered in the order of their first faces."""
    return _flood(faces, mate)[0]


def consistent(mesh: Mesh, mate: IntArray) -> tuple[Mesh, BoolArray, IntArray]:
    """Faces turned so that neighbours agree; which were turned (m,); and the shell of each face.

    In each shell the larger share stays as it is. Half-edge numbers change with the turning: pair them afresh.
    SculptError for a one-sided surface (a Möbius strip), which has no inside.
    """
    shell, turned, bad = _flood(mesh.faces, mate)
    if bad >= 0:
        place = mesh.vertices[mesh.faces[bad]].mean(axis=0)
        raise SculptError(
            "sculpt.one_sided",
            "a surface has only one side, so it has no inside",
            hint="rebuild that piece in the sculpting program as a closed body",
            place=Place(point_mm=(float(place[0]), float(place[1]), float(place[2]))),
        )
    count = int(shell.max()) + 1
    share = np.bincount(shell, weights=turned, minlength=count) / np.bincount(shell, minlength=count)
    turned = turned ^ (share > 0.5)[shell]
    faces = mesh.faces.copy()
    faces[turned] = faces[turned][:, ::-1]
    return Mesh(mesh.vertices, faces), turned, shell


def split_pinches(mesh: Mesh, mate: IntArray, inward_mm: float) -> tuple[Mesh, FloatArray]:
    """Vertices where several fans of triangles merely touch become one vertex for each fan.

    Copies move ``inward_mm`` against their fan's normal, so that the fans stay apart in any file. Returns the mesh and
    the places (k, 3) that were split; the same mesh where nothing is pinched.
    """
    corner, count, owner = _fans(mesh.faces, mate, len(mesh.vertices))
    fans = np.bincount(owner, minlength=len(mesh.vertices))
    pinched = fans > 1
    if not pinched.any():
        return mesh, np.zeros((0, 3))
    vertices = mesh.vertices[owner]
    normal = np.zeros((count, 3))
    for c in range(3):
        np.add.at(normal, corner[:, c], mesh.area_vectors)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    inward = np.divide(-normal, length, out=np.zeros_like(normal), where=length > 0)
    vertices = vertices + np.where(pinched[owner][:, None], inward * inward_mm, 0.0)
    return Mesh(vertices, corner), mesh.vertices[pinched]


@njit(cache=True)
def _flood(faces: IntArray, mate: IntArray) -> tuple[IntArray, BoolArray, int]:  # pragma: no cover
    m = faces.shape[0]
    shell = np.full(m, -1, dtype=np.int32)
    turned = np.zeros(m, dtype=np.bool_)
    queue = np.empty(m, dtype=np.int32)
    count = 0
    bad = -1
    for seed in range(m):
        if shell[seed] >= 0:
            continue
        shell[seed] = count
        queue[0] = seed
        head, tail = 0, 1
        while head < tail:
            f = queue[head]
            head += 1
            for i in range(3):
                g = mate[3 * f + i]
                if g < 0:
                    continue
                o = g // 3
                same = faces[f, i] == faces[o, g % 3]
                if shell[o] < 0:
                    shell[o] = count
                    turned[o] = turned[f] ^ same
                    queue[tail] = o
                    tail += 1
                elif (turned[o] ^ turned[f]) != same and bad < 0:
                    bad = f
        count += 1
    return shell, turned, bad


@njit(cache=True)
def _root(parent: IntArray, i: int) -> int:  # pragma: no cover
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True)
def _fans(faces: IntArray, mate: IntArray, n: int) -> tuple[IntArray, int, IntArray]:  # pragma: no cover
    """Corners renumbered so that each fan has a vertex of its own; how many; and the vertex each came from."""
    m = faces.shape[0]
    parent = np.arange(3 * m).astype(np.int32)
    for h in range(3 * m):
        g = mate[h]
        if g < h:
            continue
        f, o = h // 3, g // 3
        f1, f2 = h, 3 * f + ((h - 3 * f) + 1) % 3
        o1, o2 = g, 3 * o + ((g - 3 * o) + 1) % 3
        if faces[f, f1 % 3] == faces[o, o1 % 3]:
            a, b = o1, o2
        else:
            a, b = o2, o1
        r, s = _root(parent, f1), _root(parent, a)
        if r != s:
            parent[max(r, s)] = min(r, s)
        r, s = _root(parent, f2), _root(parent, b)
        if r != s:
            parent[max(r, s)] = min(r, s)
    corner = np.empty((m, 3), dtype=np.int32)
    name = np.full(3 * m, -1, dtype=np.int32)
    owner = np.empty(3 * m, dtype=np.int32)
    count = 0
    for h in range(3 * m):
        r = _root(parent, h)
        if name[r] < 0:
            name[r] = count
            owner[count] = faces[h // 3, h % 3]
            count += 1
        corner[h // 3, h % 3] = name[r]
    return corner, count, owner[:count].copy()
