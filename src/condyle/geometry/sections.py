"""Plane sections of closed meshes: the outline of a limb where a plane meets it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray, IntArray, Mesh
from condyle.geometry.outlines import crossed, crossed_by_each, followers, steps, thinned, turned_into, walked
from condyle.geometry.polygons import Region, region_from_rings


class Slicer:
    """Sections of one mesh at many heights along one frame's z axis.

    Projecting the vertices and bounding the triangles is done once; a section then touches only what the plane crosses.
    """

    def __init__(self, mesh: Mesh, frame: Frame) -> None:
        self._faces = mesh.faces
        rotation = np.ascontiguousarray(frame.rotation, dtype=np.float64)
        self._local, self._low, self._high = turned_into(
            mesh.vertices, mesh.faces, np.asarray(frame.origin, dtype=np.float64), rotation
        )

    def at(self, height_mm: float, within_mm: float | None = None, smooth_mm: float = 0.0) -> Region:
        """Where the plane z = ``height_mm`` meets the mesh, in the frame's x and y.

        ``within_mm`` keeps to a disc about the frame's z axis: then the mesh may be a local view, as long as it holds
        every triangle that reaches into the disc. Without it, outlines that do not close are left out. ``smooth_mm``
        leaves out points that lie no further than this from the outline without them.
        """
        crossing = crossed(self._low, self._high, float(height_mm))
        rings, lines = _chain(self._faces, self._local, crossing, float(height_mm))
        if within_mm is not None:
            rings = _closed_within(rings, lines, within_mm)
        return _smooth(rings, smooth_mm)

    def stack(self, heights_mm: FloatArray, smooth_mm: float = 0.0) -> Iterator[Region]:
        """``at`` for many rising heights (n,): the triangles are gone through once."""
        begins, crossing = crossed_by_each(self._low, self._high, heights_mm)
        for k, height in enumerate(heights_mm.tolist()):
            yield _smooth(_chain(self._faces, self._local, crossing[begins[k] : begins[k + 1]], height)[0], smooth_mm)


def _smooth(rings: list[FloatArray], smooth_mm: float) -> Region:
    if smooth_mm > 0.0:
        rings = [thinned(np.ascontiguousarray(r), smooth_mm) for r in rings]
    return region_from_rings(rings)


def section(mesh: Mesh, frame: Frame, height_mm: float = 0.0, within_mm: float | None = None) -> Region:
    """One section of a welded mesh; see ``Slicer`` for many."""
    return Slicer(mesh, frame).at(height_mm, within_mm)


def _closed_within(rings: list[FloatArray], open_lines: list[FloatArray], radius: float) -> list[FloatArray]:
    """Outlines clipped to a disc about the origin, closed along its rim.

    Outlines have the solid on one side all along, so each one that leaves the disc is followed, going round the rim with
    the solid, by the next one that enters.
    """
    inside: list[FloatArray] = []
    pieces: list[FloatArray] = []
    for ring in rings:
        outer = np.linalg.norm(ring, axis=1) > radius
        if not outer.any():
            inside.append(ring)
        elif not outer.all():
            start = int(np.argmax(outer))
            turned = np.roll(ring, -start, axis=0)
            pieces += _inner_runs(np.concatenate([turned, turned[:1]]), radius)
    for line in open_lines:
        pieces += _inner_runs(line, radius)
    pieces = [p for p in pieces if len(p) >= 2]
    if not pieces and _rim_is_solid(inside, [*rings, *open_lines]):
        around = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
        inside.append(radius * np.stack([np.cos(around), np.sin(around)], axis=1))
    starts = np.array([np.arctan2(p[0, 1], p[0, 0]) for p in pieces])
    left = set(range(len(pieces)))
    while left:
        first = min(left)
        at, outline = first, []
        while True:
            left.discard(at)
            outline.append(pieces[at])
            end = float(np.arctan2(pieces[at][-1, 1], pieces[at][-1, 0]))
            # The solid lies to the left of the outline, so its share of the rim runs counter-clockwise from the exit.
            ahead = (starts - end) % (2.0 * np.pi)
            following = min(({first} | left), key=lambda k: (ahead[k], k))
            span = float(ahead[following])
            sweep = end + np.linspace(0.0, span, max(2, int(span / 0.2) + 2))[1:-1]
            outline.append(radius * np.stack([np.cos(sweep), np.sin(sweep)], axis=1))
            if following == first:
                break
            at = following
        inside.append(np.concatenate(outline))
    return inside


def _rim_is_solid(inside: list[FloatArray], outlines: list[FloatArray]) -> bool:
    """Whether a rim that no outline crosses lies in the solid: the outline next to it turns its left side to it."""
    if inside:
        largest = max(inside, key=lambda r: abs(_signed_area(r)))
        return _signed_area(largest) < 0.0
    best, solid = np.inf, False
    for line in outlines:
        step = np.diff(line, axis=0)
        share = np.clip(-(line[:-1] * step).sum(1) / np.maximum((step**2).sum(1), 1e-18), 0.0, 1.0)
        nearest = line[:-1] + share[:, None] * step
        k = int(np.argmin((nearest**2).sum(1)))
        distance = float(np.linalg.norm(nearest[k]))
        if distance < best:
            best = distance
            solid = float(step[k, 0] * -nearest[k, 1] - step[k, 1] * -nearest[k, 0]) > 0.0
    return solid


def _signed_area(ring: FloatArray) -> float:
    following = np.roll(ring, -1, axis=0)
    return float(0.5 * (ring[:, 0] * following[:, 1] - ring[:, 1] * following[:, 0]).sum())


def _inner_runs(line: FloatArray, radius: float) -> list[FloatArray]:
    """The stretches of a polyline inside a disc, their ends put on its rim where they cross it."""
    within = line[:, 0] ** 2 + line[:, 1] ** 2 <= radius**2
    turns = np.diff(np.concatenate([[False], within, [False]]).astype(np.int8))
    runs: list[FloatArray] = []
    for i, end in zip(np.flatnonzero(turns > 0), np.flatnonzero(turns < 0), strict=True):
        run = [line[i:end]]
        if i > 0:
            run.insert(0, _on_rim(line[i], line[i - 1], radius)[None])
        if end < len(line):
            run.append(_on_rim(line[end - 1], line[end], radius)[None])
        runs.append(np.concatenate(run))
    return runs


def _on_rim(inner: FloatArray, outer: FloatArray, radius: float) -> FloatArray:
    step = outer - inner
    a, b, c = float(step @ step), float(inner @ step), float(inner @ inner) - radius**2
    return np.asarray(inner + step * ((-b + np.sqrt(max(b * b - a * c, 0.0))) / a))


def _chain(
    faces: IntArray, local: FloatArray, crossing: IntArray, height: float
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Closed rings and open lines (k, 2) through the crossed edges of triangles that all cross the plane.

    Seen from above, the solid lies to the left.
    """
    if not len(crossing):
        return [], []
    start, end, first, second = steps(faces, local, crossing, height)
    follows, has_before = followers(start, end)
    order, begins, closed = walked(follows, has_before)
    rings: list[FloatArray] = []
    lines: list[FloatArray] = []
    for a, b, is_closed in zip(begins[:-1], begins[1:], closed, strict=True):
        run = order[a:b]
        if not is_closed:
            lines.append(np.concatenate([first[run], second[run[-1:]]]))
        elif len(run) >= 3:
            rings.append(first[run])
    return rings, lines
