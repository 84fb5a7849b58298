"""One triangle cut along the curves in which other triangles pass through it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import triangulated


class Tangle(Exception):
    """The curves in a triangle do not close up: positions too nearly alike for floating point to tell apart."""


def cut_triangle(
    rim: Sequence[int], segments: Sequence[tuple[int, int]], where: Mapping[int, FloatArray], normal: FloatArray
) -> list[tuple[int, int, int]]:
    """Triangles (vertex ids) that fill a triangle and have every segment as an edge, wound as the rim is.

    rim       vertex ids once round, counter-clockwise about ``normal``: corners and the points on the edges
    segments  pairs of ids that cross nowhere and end at the rim or at each other
    where     positions by id

    Raises Tangle when a segment ends nowhere or a piece cannot be filled.
    """
    drop = int(np.argmax(np.abs(normal)))
    axes = [(drop + 1) % 3, (drop + 2) % 3]
    if normal[drop] < 0:
        axes.reverse()
    flat = {i: (float(where[i][axes[0]]), float(where[i][axes[1]])) for i in {*rim, *(v for s in segments for v in s)}}
    around: dict[int, set[int]] = {i: set() for i in flat}
    rim_edges = set(zip(rim, [*rim[1:], rim[0]], strict=True))
    for a, b in [*rim_edges, *segments]:
        around[a].add(b)
        around[b].add(a)
    if any(len(near) < 2 for near in around.values()):
        raise Tangle
    loops = _loops(around, flat)
    areas = [_area2(loop, flat) for loop in loops]
    outer = [(loop, area) for loop, area in zip(loops, areas, strict=True) if area > 0]
    holes = [
        loop
        for loop, area in zip(loops, areas, strict=True)
        if area <= 0 and not any((b, a) in rim_edges for a, b in zip(loop, [*loop[1:], loop[0]], strict=True))
    ]
    inside: dict[int, list[list[int]]] = {}
    for hole in holes:
        homes = [k for k, (loop, _) in enumerate(outer) if not set(loop) & set(hole) and _contains(loop, hole[0], flat)]
        if not homes:
            raise Tangle
        inside.setdefault(min(homes, key=lambda k: outer[k][1]), []).append(hole)
    out: list[tuple[int, int, int]] = []
    for k, (loop, _) in enumerate(outer):
        mine = [loop, *inside.get(k, [])]
        ids = [v for part in mine for v in part]
        if len(ids) == 3:
            out.append((ids[0], ids[1], ids[2]))
            continue
        found = triangulated([np.array([flat[v] for v in part]) for part in mine])
        if len(found) != len(ids) + 2 * (len(mine) - 1) - 2:
            raise Tangle
        out += [(ids[a], ids[b], ids[c]) for a, b, c in found.tolist()]
    return out


def _loops(around: Mapping[int, set[int]], flat: Mapping[int, tuple[float, float]]) -> list[list[int]]:
    """Every face of the planar graph as a loop with the face on its left."""
    following: dict[tuple[int, int], tuple[int, int]] = {}
    for v, near in around.items():
        x, y = flat[v]
        turn = sorted(near, key=lambda w: (float(np.arctan2(flat[w][1] - y, flat[w][0] - x)), w))
        for k, w in enumerate(turn):
            # Coming in from w, the sharpest left turn is the next one clockwise.
            following[(w, v)] = (v, turn[k - 1])
    loops = []
    waiting = dict.fromkeys(following)
    while waiting:
        start = next(iter(waiting))
        loop = []
        at = start
        while at in waiting:
            del waiting[at]
            loop.append(at[0])
            at = following[at]
        loops.append(loop)
    return loops


def _area2(loop: Sequence[int], flat: Mapping[int, tuple[float, float]]) -> float:
    x0, y0 = flat[loop[0]]
    total = 0.0
    for a, b in zip(loop, [*loop[1:], loop[0]], strict=True):
        total += (flat[a][0] - x0) * (flat[b][1] - y0) - (flat[b][0] - x0) * (flat[a][1] - y0)
    return total


def _contains(loop: Sequence[int], v: int, flat: Mapping[int, tuple[float, float]]) -> bool:
    x, y = flat[v]
    odd = False
    for a, b in zip(loop, [*loop[1:], loop[0]], strict=True):
        (x0, y0), (x1, y1) = flat[a], flat[b]
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd
