"""The finished parts made ready for proof: as a reader of the files will see them, their faces told apart at each joint.

Near a joint each triangle is *in the zone* (inside the solids that enclose the bearing), *at its fringe*, or outside; and
of those in the zone the *bearing* faces are the ones that may touch by design: faces that slide on themselves under the
joint's motions (a turned form about the axis, a sphere about the centre), and edges that lie against such a face at rest
(the walls of a slit beside a ball). A neck inside the zone is no bearing face: it is what ends the motion.
Long triangles are split first, so that none is half in a zone; splitting moves no point of the surface.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.geometry.bvh import Bvh
from condyle.geometry.formats import as_written
from condyle.geometry.gap import Marks, Surface
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.geometry.nearby import bounds_meet
from condyle.joints.detent import Detent

BEARING, ZONE, FRINGE, SKIN = 1, 2, 4, 8
"""Bits of the marks. A zone triangle is also at the fringe, a bearing one in the zone or at its fringe."""

FRINGE_MM = 0.6
"""How far round a bearing the lip's lands and chamfers reach."""

RING_MM = 0.15
"""How far beyond a detent's bump its ring is looked at."""

_PIECE_MM = 0.35
_LONG_MM = 1.0
_FLUSH_MM = 0.02
_AGAINST_MM = 0.15
_SLIDES = 0.2  # sine of the angle between face and motion: a facet of a 1 mm shaft is 0.14 off


class Enclosure:
    """A joint's bearing solids, asked how deep points lie in them, and its motions, asked which faces slide."""

    def __init__(self, joint: BuiltJoint) -> None:
        self._solids = [(Bvh(s.mesh), s.bounds, _is_convex(s.mesh)) for s in joint.bearing]
        self._centres = [np.asarray(a.centre, dtype=np.float64) for a in joint.axles]
        self._axes = axes_of(joint)

    def slides(self, corners: FloatArray) -> BoolArray:
        """Which triangles (n, 3, 3) slide on themselves about one of the joint's axles."""
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(normals, axis=1, keepdims=True)
        normals = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
        out = np.zeros(len(corners), dtype=bool)
        for centre in self._centres:
            out |= slides_about(corners.mean(axis=1), normals, centre, self._axes)
        return out

    def near(self, corners: FloatArray, margin_mm: float) -> BoolArray:
        """Which triangles (n, 3, 3) have bounds within the margin of a solid's."""
        return bounds_meet(corners, np.array([b for _, b, _ in self._solids]), margin_mm)

    def depth(self, points: FloatArray) -> FloatArray:
        """Signed distance (n,) to the nearest solid's skin, negative inside."""
        out = np.full(len(points), np.inf)
        for bvh, _, convex in self._solids:
            if convex:
                # Behind the face it is nearest to: for a convex form that is inside, and needs no winding number.
                distance, on, face = bvh.closest(points)
                behind = np.einsum("ij,ij->i", points - on, bvh.mesh.normals[face]) <= 0.0
                signed = np.where(behind, -distance, distance)
            else:
                signed = bvh.signed_distance(points)
            out = np.minimum(out, signed)
        return out


def axes_of(joint: BuiltJoint) -> list[FloatArray]:
    """The directions of a joint's axes of motion, figure coordinates."""
    return [np.asarray(v, dtype=np.float64) for v in joint.seated.axes.values()]


def slides_about(middles: FloatArray, normals: FloatArray, centre: FloatArray, axes: Sequence[FloatArray]) -> BoolArray:
    """Which faces stay in themselves, to the facets' angle, in every turn about the axes through the centre."""
    slides = np.ones(len(middles), dtype=bool)
    arm = middles - centre
    for axis in axes:
        speed = np.cross(axis, arm)
        off = np.abs(np.einsum("ij,ij->i", normals, speed))
        slides &= off <= _SLIDES * np.linalg.norm(arm if len(axes) > 1 else speed, axis=1) + 1e-6
    return slides


def _is_convex(mesh: Mesh) -> bool:
    """Whether no edge is re-entrant: each triangle's neighbours lie behind it, to a hundredth of a micrometre."""
    faces = mesh.faces
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    opposite = np.concatenate([faces[:, 2], faces[:, 0], faces[:, 1]])
    owner = np.tile(np.arange(len(faces)), 3)
    count = np.int64(len(mesh.vertices))
    there, back = edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]
    by = np.argsort(there, kind="stable")
    at = np.minimum(np.searchsorted(there[by], back), len(by) - 1)
    twin = by[at]
    if (there[twin] != back).any():
        return False
    across = mesh.vertices[opposite[twin]] - mesh.vertices[edges[:, 0]]
    rise = np.einsum("ij,ij->i", across, mesh.normals[owner])
    return bool((rise <= 1e-5).all())


@dataclass(frozen=True, eq=False)
class PartBody:
    """A part as written.

    written   the mesh after rounding and merging
    pieces    the same surface, long triangles near bearings split; every mark and hierarchy of the proofs is of this
    depth     for each joint at this part: signed depth of each piece's middle in its bearing solids, inf far away
    """

    name: str
    written: Mesh
    pieces: Mesh
    depth: Mapping[str, FloatArray]

    @cached_property
    def solid(self) -> Bvh:
        return Bvh(self.written)

    @cached_property
    def bvh(self) -> Bvh:
        return Bvh(self.pieces)

    @cached_property
    def bare(self) -> Surface:
        """The surface without marks."""
        return Surface(self.bvh)

    @cached_property
    def middles(self) -> FloatArray:
        return np.asarray(self.pieces.corners.mean(axis=1))


@dataclass(frozen=True, eq=False)
class Meeting:
    """Two neighbours at one axle of a joint: marks of the moving and of the staying part's pieces."""

    joint: BuiltJoint
    axle: int
    moves: PartBody
    stays: PartBody
    moved: Surface
    still: Surface

    @property
    def centre(self) -> FloatArray:
        return np.asarray(self.joint.axles[self.axle].centre, dtype=np.float64)

    @property
    def subject(self) -> str:
        """The joint's name, with the pair of parts where it has several."""
        if len(self.joint.axles) == 1:
            return self.joint.name
        return f"{self.joint.name} {self.stays.name}/{self.moves.name}"


_BODIES: WeakKeyDictionary[Kit, dict[str, PartBody]] = WeakKeyDictionary()
_MEETINGS: WeakKeyDictionary[Kit, list[Meeting]] = WeakKeyDictionary()


def make_bodies(kit: Kit) -> dict[str, PartBody]:
    """Every part of the kit by name, in the kit's order; made once and kept as long as the kit itself.

    Five steps of a run ask for the same bodies. They are read only: nobody may write into their arrays.
    """
    kept = _BODIES.get(kit)
    if kept is None:
        kept = _BODIES[kit] = _made(kit)
    return dict(kept)


def _made(kit: Kit) -> dict[str, PartBody]:
    enclosures = {j.name: Enclosure(j) for j in kit.joints if j.built and j.bearing}

    def one(part: Part) -> PartBody:
        at = [j for j in kit.joints if j.name in enclosures and any(part.name in (a.moves, a.stays) for a in j.axles)]
        written = as_written(part.mesh)
        pieces = _split(written, [enclosures[j.name] for j in at])
        return PartBody(part.name, written, pieces, {j.name: _depths(pieces, enclosures[j.name]) for j in at})

    with ThreadPoolExecutor(2) as pool:
        return {body.name: body for body in pool.map(one, kit.parts)}


def make_meetings(kit: Kit, bodies: Mapping[str, PartBody]) -> list[Meeting]:
    """Every axle of every built joint whose parts are there, their faces told apart; kept like the bodies if they are."""
    kept = _BODIES.get(kit)
    shared = kept is not None and kept.keys() == bodies.keys() and all(kept[n] is b for n, b in bodies.items())
    if not shared:
        return _met(kit, bodies)
    if kit not in _MEETINGS:
        _MEETINGS[kit] = _met(kit, bodies)
    return list(_MEETINGS[kit])


def _met(kit: Kit, bodies: Mapping[str, PartBody]) -> list[Meeting]:
    out = []
    for joint in kit.joints:
        if not joint.built:
            continue
        for i, axle in enumerate(joint.axles):
            if axle.moves not in bodies or axle.stays not in bodies:
                continue
            a, b = bodies[axle.moves], bodies[axle.stays]
            axes = axes_of(joint)
            centre = np.asarray(axle.centre, dtype=np.float64)
            marks = [_zone_marks(body, joint.name, centre, axes) for body in (a, b)]
            if joint.detents:
                for body, mark in zip((a, b), marks, strict=True):
                    mark[_rides(body, mark, centre, axes[0], joint.detents[i])] |= BEARING
            against = abs(joint.clearance_mm or 0.0) + _AGAINST_MM
            lies = [
                _against(a, marks[0], b, marks[1], against),
                _against(b, marks[1], a, marks[0], against),
            ]
            for mark, touching in zip(marks, lies, strict=True):
                mark[touching] |= BEARING
            out.append(Meeting(joint, i, a, b, Surface(a.bvh, marks[0]), Surface(b.bvh, marks[1])))
    return out


def _depths(pieces: Mesh, enclosure: Enclosure) -> FloatArray:
    corners = pieces.corners
    out = np.full(len(corners), np.inf)
    near = enclosure.near(corners, FRINGE_MM)
    out[near] = enclosure.depth(corners[near].mean(axis=1))
    return out


def _split(mesh: Mesh, enclosures: Sequence[Enclosure]) -> Mesh:
    """Split at the middle of the longest side what is longer than a piece and neither clearly in nor clearly out."""
    corners = np.array(mesh.corners)
    for enclosure in enclosures:
        near = enclosure.near(corners, FRINGE_MM)
        rest, open_ = corners[~near], corners[near]
        finished = [rest]
        while len(open_):
            sides = np.linalg.norm(open_ - np.roll(open_, -1, axis=1), axis=2)
            longest = sides.max(axis=1)
            middle = open_.mean(axis=1)
            radius = np.linalg.norm(open_ - middle[:, None], axis=2).max(axis=1)
            split = longest > _PIECE_MM
            depth = enclosure.depth(middle[split])
            reaches = depth - radius[split] <= FRINGE_MM
            # A turned face well inside is one kind of face over its whole length.
            long = longest[split] > _LONG_MM
            mixed = (depth + radius[split] > 0.0) | ~enclosure.slides(open_[split])
            split[split] = reaches & (long | mixed)
            finished.append(open_[~split])
            open_ = halved(open_[split], sides[split].argmax(axis=1))
        corners = np.concatenate(finished)
    flat = corners.reshape(-1, 3)
    return Mesh(flat, np.arange(len(flat), dtype=np.int32).reshape(-1, 3))


def halved(corners: FloatArray, side: np.ndarray) -> FloatArray:
    """Each triangle cut in two through the middle of the given side (from corner ``side`` to the next)."""
    rows = np.arange(len(corners))
    a, b, c = (corners[rows, (side + k) % 3] for k in range(3))
    m = (a + b) / 2
    return np.concatenate([np.stack([a, m, c], axis=1), np.stack([m, b, c], axis=1)])


def _zone_marks(body: PartBody, joint: str, centre: FloatArray, axes: Sequence[FloatArray]) -> Marks:
    """Zone, fringe, and the bearing faces that slide on themselves; a joint without motions bears wherever it fits."""
    depth = body.depth.get(joint)
    marks = np.zeros(body.pieces.triangle_count, dtype=np.uint8)
    if depth is None:
        return marks
    marks[depth <= FRINGE_MM] |= FRINGE
    zone = np.flatnonzero(depth <= _FLUSH_MM)
    marks[zone] |= ZONE
    slides = slides_about(body.middles[zone], body.pieces.normals[zone], centre, axes)
    marks[zone[slides]] |= BEARING
    return marks


def _rides(body: PartBody, marks: Marks, centre: FloatArray, axis: FloatArray, detent: Detent) -> BoolArray:
    """Which pieces in the zone are the bumps of a detent, its hollows, or the ring between them.

    They press on one another by design, as the ear gives; by how much is measured apart (detent.py).
    """
    arm = body.middles - centre
    away = np.linalg.norm(arm - np.outer(arm @ axis, axis), axis=1)
    return np.asarray((marks & ZONE != 0) & (np.abs(away - detent.arm_mm) <= detent.rim_mm + RING_MM))


def _against(a: PartBody, marks: Marks, b: PartBody, other: Marks, within_mm: float) -> BoolArray:
    """Which pieces of ``a``, in the zone or at its fringe but not sliding, lie against a sliding face of ``b``."""
    out = np.zeros(len(marks), dtype=bool)
    open_ = np.flatnonzero((marks & FRINGE != 0) & (marks & BEARING == 0))
    slides = other & BEARING != 0
    if not len(open_) or not slides.any():
        return out
    faces = Bvh(b.pieces.subset(slides))
    corners = a.pieces.corners[open_]
    points = np.concatenate([corners, (corners + np.roll(corners, 1, axis=1)) / 2], axis=1).reshape(-1, 3)
    found = faces.closest(points, within_mm)[0].reshape(-1, 6)
    out[open_] = np.isfinite(found).any(axis=1)
    return out
