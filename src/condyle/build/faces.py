"""A part as the build orientation sees it: which faces show, which bear, which are hidden, and where its necks are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from condyle.build.bearing import Clear, clear_of
from condyle.figure.kit import BuiltJoint, Part
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.geometry.solid import Solid, overlap

Kinds = NDArray[np.uint8]

HIDDEN, SHOW, BEARING = 0, 1, 2
"""Faces of cuts and hardware; the sculpt's own skin; faces that touch by design."""

_ON_SKIN_MM = 0.06
_SIMPLE_MM, _MOST_MM = 0.05, 0.4
_LIGHT = 2500
_CORNERS, _WELL_MM = 200, 0.05


@dataclass(frozen=True)
class Neck:
    """A place where a load bends or shears the part: the neck of a ball, a pin, a stud.

    axis       unit vector along it, figure coordinates
    stress_mpa tension along the axis in its outer fibre under the design load; None where no load is known: then the
               material's own strength is taken, and the measure is a ratio of strengths
    part       that it is a section of; empty: of whichever part carries the joint's ball or stud
    """

    joint: str
    place: Point
    axis: Point
    width_mm: float
    stress_mpa: float | None = None
    part: str = ""


@dataclass(frozen=True, eq=False)
class PrintPart:
    """A part with its faces told apart.

    plain               a copy within 0.05 mm, on which directions that were not chosen are held to their layers
    light, light_kinds  a simpler copy for the search, and the kind of each of its triangles
    bearings            solids that enclose its bearing faces; ``clear`` what of them never touches
    """

    name: str
    solid: Solid
    plain: Solid
    light: Mesh
    light_kinds: Kinds
    necks: tuple[Neck, ...] = ()
    bearings: tuple[Solid, ...] = field(default=())
    skin: Bvh | None = None
    clear: tuple[Clear, ...] = field(default=())

    @property
    def mesh(self) -> Mesh:
        return self.solid.mesh

    @cached_property
    def tree(self) -> Bvh:
        """The hierarchy of the plain copy, built once."""
        return Bvh(self.plain.mesh)

    @cached_property
    def enclosing(self) -> tuple[Bvh, ...]:
        """The hierarchies of the bearings, built once."""
        return tuple(Bvh(s.mesh) for s in self.bearings)

    def area_mm2(self, kind: int) -> float:
        """Area of all faces of a kind, on the light copy."""
        return float(self.light.areas[self.light_kinds == kind].sum())

    def kinds_at(self, points: FloatArray) -> Kinds:
        """The kind of face at points (n, 3) on the part's surface."""
        return kinds(points, self.enclosing, self.skin, self.clear)

    def bears_at(self, points: FloatArray) -> BoolArray:
        """Whether points (n, 3) on the part's surface lie on bearing faces."""
        return np.asarray(kinds(points, self.enclosing, None, self.clear) == BEARING)


def kinds(points: FloatArray, bearings: Sequence[Solid | Bvh], skin: Bvh | None, clear: Sequence[Clear] = ()) -> Kinds:
    """Whether each point of a surface (n, 3) lies on a bearing face, on the sculpt's skin (None: all of it), or neither.

    Faces of bearings that are ``clear`` count as hidden.
    """
    out = np.full(len(points), SHOW if skin is None else HIDDEN, dtype=np.uint8)
    if skin is not None and len(points):
        out[np.isfinite(skin.closest(points, _ON_SKIN_MM)[0])] = SHOW
    inside = np.zeros(len(points), dtype=bool)
    for bearing in bearings:
        inside |= _about(points, bearing)
    near = np.flatnonzero(inside)
    if len(near):
        enclosed = _enclosed(points[near], bearings)
        free = np.zeros(len(near), dtype=bool)
        for one in clear:
            free |= one.holds(points[near])
        out[near[enclosed]] = BEARING
        out[near[enclosed & free]] = HIDDEN
    return out


def _about(points: FloatArray, bearing: Solid | Bvh) -> BoolArray:
    low, high = bearing.boxes[0] if isinstance(bearing, Bvh) else bearing.bounds
    return np.asarray(np.all((points >= low - 0.02) & (points <= high + 0.02), axis=1))


def _enclosed(points: FloatArray, bearings: Sequence[Solid | Bvh]) -> BoolArray:
    """Which points (n, 3) the solids enclose."""
    out = np.zeros(len(points), dtype=bool)
    for bearing in bearings:
        near = np.flatnonzero(_about(points, bearing) & ~out)
        if len(near):
            tree = bearing if isinstance(bearing, Bvh) else Bvh(bearing.mesh)
            inside = tree.inside(points[near])
            on = near[~inside]
            out[near[inside]] = True
            out[on] = np.isfinite(tree.closest(points[on], 0.02)[0])
    return out


def print_part(
    part: Part, joints: Sequence[BuiltJoint], skin: Bvh | None, stresses: Sequence[Neck] = (), light: int = _LIGHT
) -> PrintPart:
    """A part of a kit made ready. ``skin`` is the whole sculpt; ``stresses`` replace the necks of the same joint.

    Those that name their part stand in that part alone, whether or not the joint's ball or stud is there: pins and forks
    are loaded too.
    """
    mine = [j for j in joints if j.built and any(part.name in (a.moves, a.stays) for a in j.axles)]
    plain = part.solid if part.solid.triangle_count <= light else part.solid.simplified(_SIMPLE_MM)
    bearings = tuple(s for j in mine for s in j.bearing if _meet(s, plain))
    # Each step goes on from the one before, so that the whole part is walked through once: tolerances add up to 0.4 mm.
    simple, reached = plain, _SIMPLE_MM
    while simple.triangle_count > light and reached < _MOST_MM:
        simple, reached = simple.simplified(reached), 2.0 * reached
    told = {n.joint: n for n in stresses if not n.part}
    placed = {n.joint for n in stresses if n.part}
    whole = Bvh(plain.mesh)
    bare = (told.get(n.joint, n) for j in mine if j.name not in placed for n in _necks(part, j, whole))
    necks = (*bare, *(n for n in stresses if n.part == part.name))
    mesh = simple.mesh
    clear = tuple(c for j in mine for c in clear_of(part, j, whole))
    kind = kinds(mesh.corners.mean(axis=1), bearings, skin, clear)
    return PrintPart(part.name, part.solid, plain, mesh, kind, necks, bearings, skin, clear)


def _meet(bearing: Solid, plain: Solid) -> bool:
    """Whether a bearing's enclosing solid shares volume with a part: a corner of the part well inside it tells, else a boolean."""
    corners = plain.mesh.vertices
    near = corners[_about(corners, bearing)]
    if len(near):
        tree = Bvh(bearing.mesh)
        some = near[:: max(1, len(near) // _CORNERS)]
        deep = some[tree.inside(some)]
        if len(deep) and not bool(np.isfinite(tree.closest(deep, _WELL_MM)[0]).all()):
            return True
    return overlap(bearing, plain) is not None


def _necks(part: Part, joint: BuiltJoint, whole: Bvh) -> list[Neck]:
    """The neck of a joint in the part that carries its ball, stud or pin: the solid one at the joint's centre."""
    kind = joint.seated.spec.kind
    out = []
    for axle, home in zip(joint.axles, joint.insertion, strict=False):
        if part.name not in (axle.moves, axle.stays) or kind not in ("ball", "swivel", "peg"):
            continue
        centre = np.asarray(axle.centre, dtype=np.float64)
        if not bool(whole.inside(centre[None] + 0.01)[0]):
            continue
        x, y, z = (float(v) for v in home)
        out.append(Neck(joint.name, axle.centre, (x, y, z), joint.size_mm or 0.0))
    return out
