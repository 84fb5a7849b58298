"""A solid as files will carry it: rounded to float32, equal corners merged, and still a solid.

Rounding can fold triangles flat, glue two faces back to back, or let surfaces that passed within a float32 step of each
other share a corner or an edge. A reader that merges equal corners would then see a mesh that is no longer closed in
the plain sense (every edge shared by exactly two triangles, one each way). ``checked_part`` finds that and mends it by
moving a few corners by less than a hundredth of a millimetre, or says where it cannot.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from condyle.errors import Place, SolidError
from condyle.export.fans import drawn_apart
from condyle.geometry.formats import as_written
from condyle.geometry.mesh import BoolArray, Mesh
from condyle.geometry.solid import Solid, solid_from_mesh

_SHIFTS_MM = (1e-4, 2e-4, 4e-4, 8e-4, 1.6e-3, 3.2e-3)
_SIMPLER_MM = (1e-4, 1e-3)


def checked_part(solid: Solid, name: str) -> Mesh:
    """The mesh (mm, float32 values, equal corners merged) that goes into the part's files.

    Every edge has one triangle on either side, no corner is pinched (its triangles form one fan), the volume is
    positive, and the boolean library takes it for a solid. Where surfaces touch, corners move by at most 0.0064 mm; if
    that is not enough, the solid is simplified by up to 0.001 mm first. Elsewhere nothing moves beyond rounding.
    SolidError, with the place, when no mend helps.
    """
    first = _folded(as_written(solid.mesh))
    if _is_solid(first, name):
        return _in_order(first)
    for candidate in _mends(solid):
        if _is_solid(candidate, name):
            return _in_order(candidate)
    spots = first.vertices[unsound_corners(first)]
    place = tuple(float(v) for v in spots[0]) if len(spots) else None
    raise SolidError(
        "export.part", f"the part {name!r} does not stay closed when written to a file",
        hint="Move the joint next to this place a little, or give it another size, and make the kit again.",
        place=Place(point_mm=place),  # type: ignore[arg-type]
    )  # fmt: skip


def _in_order(mesh: Mesh) -> Mesh:
    """Triangles in an order of their own: each from its least corner on, then by corners.

    Booleans order triangles by the history of the whole sculpt; a part whose shape has not changed keeps its bytes.
    """
    rows = np.arange(mesh.triangle_count)
    first = mesh.faces.argmin(axis=1)
    turned = np.stack([mesh.faces[rows, (first + k) % 3] for k in range(3)], axis=1)
    return Mesh(mesh.vertices, turned[np.lexsort(turned.T[::-1])])


def unsound_corners(mesh: Mesh) -> BoolArray:
    """Which vertices (n,) lie on an edge that has not exactly one triangle each way, or are pinched."""
    unsound = np.zeros(len(mesh.vertices), dtype=bool)
    if not mesh.triangle_count:
        return unsound
    faces = mesh.faces.astype(np.int64)
    tails, heads = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    count = len(mesh.vertices)
    edges, uses = np.unique(tails * count + heads, return_counts=True)
    backwards = edges % count * count + edges // count
    at = np.minimum(np.searchsorted(edges, backwards), len(edges) - 1)
    wrong = (uses != 1) | (edges[at] != backwards) | (uses[at] != 1)
    unsound[edges[wrong] // count] = True
    unsound[edges[wrong] % count] = True
    if not wrong.any():
        unsound |= _pinched(faces, count)
    return unsound


def _pinched(faces: np.ndarray, count: int) -> BoolArray:
    """Vertices with more than one fan of triangles, in a mesh whose edges are all sound.

    Each corner of a triangle leads to the next triangle around its vertex; the rings so formed are counted.
    """
    corners = len(faces) * 3
    tails, heads = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    # corner k (vertex tails[k]) lies before edge tails->heads; the neighbour across holds the edge heads->tails, whose
    # head is this vertex again: the corner after that edge belongs to the next triangle around the vertex
    order = np.argsort(tails * count + heads)
    across = order[np.searchsorted(tails * count + heads, heads * count + tails, sorter=order)]
    onward = across - across % 3 + (across + 1) % 3
    label = np.arange(corners)
    while True:  # the least label of each ring, by doubling the step
        lower = np.minimum(label, label[onward])
        if (lower == label).all():
            break
        label, onward = lower, onward[onward]
    rings = np.bincount(tails[np.unique(label)], minlength=count)
    return np.asarray(rings > 1)


def _is_solid(mesh: Mesh, name: str) -> bool:
    if not mesh.triangle_count or mesh.volume_mm3 <= 0 or unsound_corners(mesh).any():
        return False
    try:
        solid_from_mesh(mesh, name)
    except SolidError:
        return False
    return True


def _folded(mesh: Mesh) -> Mesh:
    """Without pairs of triangles that lie back to back on the same three corners: they enclose nothing."""
    corners = np.sort(mesh.faces, axis=1)
    order = np.lexsort(corners.T)
    same = (corners[order[1:]] == corners[order[:-1]]).all(axis=1)
    if not same.any():
        return mesh
    keep = np.ones(mesh.triangle_count, dtype=bool)
    waiting: dict[tuple[int, int, int], list[int]] = {}
    for face in order[np.append(same, False) | np.insert(same, 0, False)].tolist():
        a, b, c = (int(v) for v in mesh.faces[face])
        this, other = min((a, b, c), (b, c, a), (c, a, b)), min((c, b, a), (b, a, c), (a, c, b))
        if waiting.get(other):
            keep[face] = keep[waiting[other].pop()] = False
        else:
            waiting.setdefault(this, []).append(face)
    return mesh.subset(keep)


def _mends(solid: Solid) -> Iterator[Mesh]:
    """Candidates, gentlest first: what touches drawn apart, then the same on a slightly simplified solid."""
    for simpler in (0.0, *_SIMPLER_MM):
        try:
            source = solid.simplified(simpler) if simpler else solid
        except SolidError:
            continue
        written = _folded(as_written(source.mesh))
        yield written
        for sign in (1.0, -1.0):
            mesh = written
            for shift in _SHIFTS_MM:
                apart = drawn_apart(mesh, sign * shift)
                if apart is None:
                    break
                mesh = _folded(as_written(apart))
                yield mesh
