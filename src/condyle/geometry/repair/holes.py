"""Small openings closed, large ones told."""

from __future__ import annotations

import numpy as np
from numba import njit

from condyle.errors import Place, SculptError
from condyle.geometry.mesh import FloatArray, IntArray, Mesh

_LONGEST = 400


def rims_of(faces: IntArray, mate: IntArray) -> list[IntArray]:
    """The openings as loops of vertices, each wound as the patch that would close it.

    Every vertex must have been split into one for each fan (``split_pinches``), so that a rim has one way on.
    """
    open_ = np.flatnonzero(mate < 0)
    start, end = faces[open_ // 3, open_ % 3], faces[open_ // 3, (open_ + 1) % 3]
    before = {int(e): int(s) for s, e in zip(start, end, strict=True)}
    rims = []
    while before:
        first = next(iter(before))
        loop = [first]
        at = before.pop(first)
        while at != first:
            loop.append(at)
            if at not in before:
                break
            at = before.pop(at)
        rims.append(np.array(loop, dtype=np.int32))
    return rims


def closed_up(mesh: Mesh, mate: IntArray, widest_mm: float) -> tuple[Mesh, list[tuple[FloatArray, float]]]:
    """Openings up to ``widest_mm`` across filled; the places (3,) and widths in mm of those filled.

    The filling has the least area among triangulations of the rim (Barequet & Sharir, Computer Aided Geometric Design
    12(2) (1995), 207-229), O(n³); rims of more than 400 vertices get a fan about their middle. SculptError for wider
    openings, naming the widest.
    """
    rims = rims_of(mesh.faces, mate)
    widths = [float(np.linalg.norm(np.ptp(mesh.vertices[r], axis=0))) for r in rims]
    if rims and max(widths) > widest_mm:
        worst = int(np.argmax(widths))
        place = mesh.vertices[rims[worst]].mean(axis=0)
        wide = sum(w > widest_mm for w in widths)
        raise SculptError(
            "sculpt.open",
            f"the surface is open: {wide} opening{'s' if wide > 1 else ''} wider than {widest_mm:.1f} mm, "
            f"the widest {widths[worst]:.1f} mm across",
            hint="close it in the sculpting program (bridge or cap the opening), then export again",
            place=Place(point_mm=(float(place[0]), float(place[1]), float(place[2]))),
        )
    faces = [mesh.faces]
    vertices = [mesh.vertices]
    count = len(mesh.vertices)
    filled = []
    for rim, width in zip(rims, widths, strict=True):
        points = mesh.vertices[rim]
        filled.append((points.mean(axis=0), width))
        if len(rim) < 3:
            continue
        if len(rim) <= _LONGEST:
            faces.append(rim[_least_area(points)])
        else:
            vertices.append(points.mean(axis=0)[None])
            faces.append(np.column_stack([rim, np.roll(rim, -1), np.full(len(rim), count)]).astype(np.int32))
            count += 1
    return Mesh(np.concatenate(vertices), np.concatenate(faces)), filled


@njit(cache=True)
def _least_area(points: FloatArray) -> IntArray:  # pragma: no cover
    n = points.shape[0]
    cost = np.zeros((n, n))
    via = np.zeros((n, n), dtype=np.int32)
    for span in range(2, n):
        for i in range(n - span):
            j = i + span
            best = np.inf
            for k in range(i + 1, j):
                u = points[k] - points[i]
                v = points[j] - points[i]
                x = u[1] * v[2] - u[2] * v[1]
                y = u[2] * v[0] - u[0] * v[2]
                z = u[0] * v[1] - u[1] * v[0]
                total = cost[i, k] + cost[k, j] + 0.5 * np.sqrt(x * x + y * y + z * z)
                if total < best:
                    best = total
                    via[i, j] = k
            cost[i, j] = best
    out = np.empty((n - 2, 3), dtype=np.int32)
    stack = np.empty((n + 2, 2), dtype=np.int32)
    stack[0, 0], stack[0, 1] = 0, n - 1
    top, made = 1, 0
    while top > 0:
        top -= 1
        i, j = stack[top]
        if j - i < 2:
            continue
        k = via[i, j]
        out[made, 0], out[made, 1], out[made, 2] = i, k, j
        made += 1
        stack[top, 0], stack[top, 1] = i, k
        stack[top + 1, 0], stack[top + 1, 1] = k, j
        top += 2
    return out
