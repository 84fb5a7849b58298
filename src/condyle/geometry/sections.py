"""Plane sections of closed meshes: the outline of a limb where a plane meets it."""

from __future__ import annotations

import numpy as np

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray, IntArray, Mesh
from condyle.geometry.polygons import Region, region_from_rings


class Slicer:
    """Sections of one mesh at many heights along one frame's z axis.

    Projecting the vertices and bounding the triangles is done once; a section then touches only what the plane crosses.
    """

    def __init__(self, mesh: Mesh, frame: Frame) -> None:
        self._faces = mesh.faces
        self._local = (mesh.vertices - frame.origin) @ frame.rotation
        p, q, r = (self._local[mesh.faces[:, i], 2] for i in range(3))
        self._low = np.minimum(np.minimum(p, q), r)
        self._high = np.maximum(np.maximum(p, q), r)

    def at(self, height_mm: float, within_mm: float | None = None) -> Region:
        """Where the plane z = ``height_mm`` meets the mesh, in the frame's x and y.

        ``within_mm`` keeps to a disc about the frame's z axis: then the mesh may be a local view, as long as it holds
        every triangle that reaches into the disc. Without it, outlines that do not close are left out.
        """
        faces = self._faces[(self._low < height_mm) & (self._high >= height_mm)]
        rings, lines = _chain(faces, self._local, height_mm)
        if within_mm is not None:
            rings = _closed_within(rings, lines, within_mm)
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
    within = np.linalg.norm(line, axis=1) <= radius
    runs: list[FloatArray] = []
    i = 0
    while i < len(line):
        if not within[i]:
            i += 1
            continue
        j = i
        while j + 1 < len(line) and within[j + 1]:
            j += 1
        run = [line[i : j + 1]]
        if i > 0:
            run.insert(0, _on_rim(line[i], line[i - 1], radius)[None])
        if j + 1 < len(line):
            run.append(_on_rim(line[j], line[j + 1], radius)[None])
        runs.append(np.concatenate(run))
        i = j + 1
    return runs


def _on_rim(inner: FloatArray, outer: FloatArray, radius: float) -> FloatArray:
    step = outer - inner
    a, b, c = float(step @ step), float(inner @ step), float(inner @ inner) - radius**2
    return np.asarray(inner + step * ((-b + np.sqrt(max(b * b - a * c, 0.0))) / a))


def _chain(faces: IntArray, local: FloatArray, height: float) -> tuple[list[FloatArray], list[FloatArray]]:
    """Closed rings and open lines (k, 2) through the crossed edges of triangles that all cross the plane.

    Seen from above, the solid lies to the left.
    """
    if not len(faces):
        return [], []
    above = local[:, 2] >= height
    up = above[faces]
    # One corner of each triangle is alone on its side; turn it to the front, keeping the winding.
    lone_is_up = up.sum(axis=1) == 1
    lone = np.argmax(up == lone_is_up[:, None], axis=1)
    turned = np.take_along_axis(faces, (lone[:, None] + np.arange(3)) % 3, axis=1).astype(np.int64)
    a, b, c = turned.T
    # With the lone corner above, the outline runs from edge (a, b) to edge (c, a); below, the other way round.
    first = np.where(lone_is_up[:, None], np.stack([a, b], 1), np.stack([c, a], 1))
    second = np.where(lone_is_up[:, None], np.stack([c, a], 1), np.stack([a, b], 1))
    n = np.int64(len(local))
    start = first.min(axis=1) * n + first.max(axis=1)
    end = second.min(axis=1) * n + second.max(axis=1)
    follows = dict(zip(start.tolist(), end.tolist(), strict=True))
    rings: list[FloatArray] = []
    lines: list[FloatArray] = []
    for key in sorted(set(start.tolist()) - set(end.tolist())):
        run = [key]
        while run[-1] in follows:
            run.append(follows.pop(run[-1]))
        lines.append(_points(run, n, local, height))
    while follows:
        key, nxt = next(iter(follows.items()))
        ring = [key]
        del follows[key]
        while nxt != key and nxt in follows:
            ring.append(nxt)
            nxt = follows.pop(nxt)
        if nxt == key and len(ring) >= 3:
            rings.append(_points(ring, n, local, height))
    return rings, lines


def _points(keys: list[int], n: np.int64, local: FloatArray, height: float) -> FloatArray:
    k = np.array(keys, dtype=np.int64)
    i, j = k // n, k % n
    t = (height - local[i, 2]) / (local[j, 2] - local[i, 2])
    return np.asarray(local[i, :2] + t[:, None] * (local[j, :2] - local[i, :2]))
