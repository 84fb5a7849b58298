"""Drawing apart what touches: corners and edges at which one closed surface meets itself or another.

Around an edge that more than two triangles share, the solid fills some of the wedges between them. The triangles are
paired across the filled wedges and each pair gets a middle point of its own on the edge; then every fan of triangles
around a corner gets a corner of its own; then all points that share a place move a little way into their own solid.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from condyle.geometry.mesh import FloatArray, Mesh


def drawn_apart(mesh: Mesh, inwards_mm: float) -> Mesh | None:
    """The mesh with two triangles at every edge and one fan at every corner; what touched is moved along its normal.

    None when some edge has not as many triangles one way as the other: such a surface encloses nothing. Simplified:
    a move of ``inwards_mm`` is not checked against other surfaces; it is meant for a few micrometres.
    """
    edges = _Edges(mesh.faces.astype(np.int64))
    if not edges.balanced:
        return None
    faces, positions, spots = _with_middles(mesh, edges)
    corners = np.arange(faces.size)
    heads = corners - corners % 3 + (corners + 1) % 3
    # the tail of an edge is the head of its mate: both corners belong to one fan
    mates = _Edges(faces).mates
    ones = np.ones(len(corners), dtype=np.int8)
    links = coo_matrix((ones, (corners, heads[mates])), shape=(len(corners), len(corners)))
    count, fan = connected_components(links, directed=False)
    moved, spot = np.empty((count, 3)), np.empty(count, dtype=np.int64)
    moved[fan], spot[fan] = positions[faces.ravel()], spots[faces.ravel()]
    met = np.bincount(spot)[spot] > 1
    normals = corner_normals(Mesh(moved, fan.reshape(-1, 3)))
    moved[met] -= inwards_mm * normals[met]
    return Mesh(moved.copy(), fan.reshape(-1, 3))


def corner_normals(mesh: Mesh) -> FloatArray:
    """Unit normals (n, 3) at the vertices, weighted by the area of the triangles around; zero where they cancel."""
    total = np.zeros_like(mesh.vertices)
    for place in range(3):
        for axis in range(3):
            weights = mesh.area_vectors[:, axis]
            total[:, axis] += np.bincount(mesh.faces[:, place], weights=weights, minlength=len(total))
    length = np.linalg.norm(total, axis=1, keepdims=True)
    return np.asarray(np.divide(total, length, out=np.zeros_like(total), where=length > 0))


class _Edges:
    """The edges of the triangles, numbered 3 · triangle + place, grouped by the two vertices that they join.

    mates     (3 m,) the edge across, -1 where more than two triangles meet
    crowded   the edges of each place where more than two meet
    balanced  whether everywhere as many run one way as the other
    """

    def __init__(self, faces: np.ndarray) -> None:
        tails, heads = faces.ravel(), faces[:, [1, 2, 0]].ravel()
        low, high = np.minimum(tails, heads), np.maximum(tails, heads)
        self.forward = tails < heads
        order = np.lexsort((self.forward, high, low))
        changes = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
        starts = np.concatenate([[0], np.flatnonzero(changes) + 1])
        sizes = np.diff(np.append(starts, len(order)))
        self.balanced = not np.add.reduceat(np.where(self.forward[order], 1, -1), starts).any()
        self.mates = np.full(len(tails), -1, dtype=np.int64)
        one, other = order[starts[sizes == 2]], order[starts[sizes == 2] + 1]
        self.mates[one], self.mates[other] = other, one
        many = sizes > 2
        self.crowded = [order[s : s + n] for s, n in zip(starts[many].tolist(), sizes[many].tolist(), strict=True)]


def _with_middles(mesh: Mesh, edges: _Edges) -> tuple[np.ndarray, FloatArray, np.ndarray]:
    """Faces and vertices with the crowded edges halved, one middle for each pair of triangles; and each vertex's spot.

    Vertices of one spot are at one place: the middles of one edge share theirs.
    """
    faces = mesh.faces.astype(np.int64)
    count = len(mesh.vertices)
    middles: dict[int, int] = {}
    added: list[FloatArray] = []
    spots: list[int] = []
    for spot, crowd in enumerate(edges.crowded, count):
        for a, b in _wedges(crowd, edges.forward[crowd], faces, mesh.vertices):
            middles[a] = middles[b] = count + len(added)
            triangle, place = divmod(a, 3)
            added.append(mesh.vertices[faces[triangle, [place, (place + 1) % 3]]].mean(axis=0))
            spots.append(spot)
    if not added:
        return faces, mesh.vertices, np.arange(count)
    split = sorted({edge // 3 for edge in middles})
    pieces = [piece for t in split for piece in _split(faces[t].tolist(), [middles.get(3 * t + i) for i in range(3)])]
    whole = np.ones(len(faces), dtype=bool)
    whole[split] = False
    return (
        np.concatenate([faces[whole], np.array(pieces, dtype=np.int64)]),
        np.concatenate([mesh.vertices, np.array(added)]),
        np.concatenate([np.arange(count), np.array(spots, dtype=np.int64)]),
    )


def _split(corners: list[int], middles: list[int | None]) -> Iterator[tuple[int, int, int]]:
    """The pieces of a triangle whose edges (from corner 0, 1, 2 on) may have middles; none of them flat."""
    given = [i for i in range(3) if middles[i] is not None]
    turn = given[0] if len(given) != 2 or (given[1] - given[0]) % 3 == 1 else given[1]
    a, b, c = (corners[(turn + i) % 3] for i in range(3))
    ab, bc, ca = (middles[(turn + i) % 3] for i in range(3))
    assert ab is not None
    if bc is None:
        yield from ((a, ab, c), (ab, b, c))
    elif ca is None:
        yield from ((ab, b, bc), (a, ab, bc), (a, bc, c))
    else:
        yield from ((a, ab, ca), (ab, b, bc), (bc, c, ca), (ab, bc, ca))


def _wedges(edges: np.ndarray, forward: np.ndarray, faces: np.ndarray, vertices: FloatArray) -> list[tuple[int, int]]:
    """Pairs of the edges at one place whose triangles bound one filled wedge; as many run each way.

    Seen along the edge from its lower to its higher vertex, and turning counter-clockwise, a triangle that runs against
    that direction opens a filled wedge and one that runs along it closes one: brackets, matched as brackets are.
    """
    triangle, place = np.divmod(edges, 3)
    ends = np.sort([faces[triangle[0], place[0]], faces[triangle[0], (place[0] + 1) % 3]])
    foot, axis = vertices[ends[0]], vertices[ends[1]] - vertices[ends[0]]
    across = vertices[faces[triangle, (place + 2) % 3]] - foot
    side = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    angles = np.arctan2(across @ np.cross(axis, side), across @ side * np.linalg.norm(axis))
    turn = np.lexsort((forward, angles)).tolist()
    waiting: list[int] = []
    pairs: dict[int, int] = {}
    for step in range(2 * len(turn)):  # twice round: a wedge may span the place where the angle starts anew
        i = turn[step % len(turn)]
        if not forward[i] and step < len(turn):
            waiting.append(i)
        elif forward[i] and waiting and i not in pairs:
            pairs[i] = waiting.pop()
    return [(int(edges[a]), int(edges[b])) for a, b in sorted(pairs.items())]
