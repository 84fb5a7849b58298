"""Hollowing a resin part: an inner offset shell with two drains in hidden faces, cut and measured.

The hollow is all that lies deeper than the wall below every face, and further than the wall from every bearing, so that
hardware stays full. Both drains open into it with their whole width; they stand as far apart as hidden faces let them,
so that one lets air in while the other lets resin out, however the part is hung. The result is one closed surface: were the
hollow shut, there would be two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.build.faces import HIDDEN, kinds
from condyle.build.resin import DRAIN_MM
from condyle.errors import SolidError, UsageError
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.fields import largest_shell, surface_from_field
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder
from condyle.geometry.solid import Solid, overlap, solid_from_mesh, subtract
from condyle.geometry.spread import samples

LEAST_MM3 = 300.0
"""A hollow smaller than this is not worth its drains: our choice."""

_STEP_MM, _OVER_MM = 0.5, 0.1
_FLAT_MM, _RIM_MM = 0.4, 0.4
_REACH_MM = 3.0
_RUN_MM = 2.0
_MOST = 500
_APART_MM = 6.0


@dataclass(frozen=True, eq=False)
class Hollowed:
    """The part hollowed: how much less it holds (mm³), the thinnest wall left over the hollow (mm), and where its drains
    open (figure coordinates)."""

    solid: Solid
    removed_mm3: float
    wall_mm: float
    drains: tuple[Point, Point]


@dataclass(frozen=True, eq=False)
class _Drain:
    at: FloatArray
    out: FloatArray
    depth_mm: float

    def bore(self) -> Solid:
        x = np.cross(np.eye(3)[int(np.argmin(np.abs(self.out)))], self.out)
        x /= np.linalg.norm(x)
        turn = np.stack([x, np.cross(self.out, x), self.out], axis=1)
        return cylinder(DRAIN_MM / 2.0, -self.depth_mm, 1.0, "outside").transformed(Frame(self.at, turn).matrix)


def hollowed(solid: Solid, wall_mm: float, bearings: Sequence[Solid], skin: Bvh | None) -> Hollowed | str:
    """The part with a hollow, or why it is left full, in words.

    ``bearings`` enclose its bearing faces, ``skin`` is the whole sculpt: what does not lie on it is hidden (None: nothing
    is). The wall is kept to a twentieth of a millimetre and measured. Raises UsageError ``hollow.wall`` for a wall that is
    not above 0.
    """
    if not (np.isfinite(wall_mm) and wall_mm > 0.0):
        raise UsageError("hollow.wall", f"a wall is thicker than 0 mm, not {wall_mm!r}")
    body = Bvh(solid.mesh)
    keep = [Bvh(b.mesh) for b in bearings if overlap(b, solid) is not None]
    core = _core(solid, body, wall_mm, keep)
    if core is None:
        return f"too little of it lies deeper than {wall_mm:g} mm"
    drains = _drains(solid, body, Bvh(core.mesh), wall_mm, keep, kinds_of=(bearings, skin))
    if drains is None:
        return "no two hidden faces have room for drains into the hollow"
    try:
        cut = subtract(solid, [core, *(d.bore() for d in drains)], "hollowed part")
    except SolidError:
        return "nothing would be left"
    if len(cut.shells()) != 1:
        return "the hollow would stay shut, or the part come to pieces"
    wall = float(body.closest(core.mesh.vertices)[0].min())
    places = tuple((float(d.at[0]), float(d.at[1]), float(d.at[2])) for d in drains)
    return Hollowed(cut, solid.volume_mm3 - cut.volume_mm3, wall, (places[0], places[1]))


def _core(solid: Solid, body: Bvh, wall_mm: float, keep: Sequence[Bvh]) -> Solid | None:
    """The largest piece of what lies deep enough."""

    def shallow(points: FloatArray) -> FloatArray:
        value = body.signed_distance(points) + wall_mm + _OVER_MM
        for bearing in keep:
            value = np.maximum(value, wall_mm - bearing.signed_distance(points))
        return np.asarray(value)

    try:
        mesh = largest_shell(surface_from_field(shallow, solid.bounds, _STEP_MM))
        core = solid_from_mesh(mesh, "hollow").simplified(0.02)
    except (UsageError, SolidError):
        return None
    return core if core.volume_mm3 >= LEAST_MM3 else None


def _drains(
    solid: Solid, body: Bvh, core: Bvh, wall_mm: float, keep: Sequence[Bvh],
    kinds_of: tuple[Sequence[Solid], Bvh | None],
) -> tuple[_Drain, _Drain] | None:  # fmt: skip
    """The two furthest apart of the places where a drain can be bored."""
    points, normals, _ = samples(solid.mesh.vertices, solid.mesh.faces, 1.5)
    hidden = np.flatnonzero(kinds(points, *kinds_of) == HIDDEN)
    hidden = hidden[:: max(1, len(hidden) // _MOST)]
    found = [d for k in hidden if (d := _drain(points[k], normals[k], body, core, wall_mm, keep)) is not None]
    best, pair = _APART_MM, None
    for i, one in enumerate(found):
        for other in found[:i]:
            apart = float(np.linalg.norm(one.at - other.at))
            if apart > best:
                best, pair = apart, (other, one)
    return pair


def _drain(at: FloatArray, out: FloatArray, body: Bvh, core: Bvh, wall_mm: float, keep: Sequence[Bvh]) -> _Drain | None:
    """A straight bore from here into the hollow: flat ground around it, room before it to run out, walls and bearings left
    alone."""
    x = np.cross(np.eye(3)[int(np.argmin(np.abs(out)))], out)
    x /= np.linalg.norm(x)
    turn = 2.0 * np.pi * np.arange(8) / 8
    ring = np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * np.cross(out, x)
    rim = at + (DRAIN_MM / 2.0 + _RIM_MM) * ring
    ground = body.rays(rim + _FLAT_MM * out, np.broadcast_to(-out, rim.shape))
    if float(ground.max()) > 2.0 * _FLAT_MM or float(body.rays((at + 0.05 * out)[None], out[None])[0]) < _RUN_MM:
        return None
    bore = at + DRAIN_MM / 2.0 * ring
    for depth in np.arange(wall_mm, wall_mm + _REACH_MM, 0.25):
        if bool(core.inside(bore - depth * out).all()):
            steps = np.arange(0.4, depth, 0.4)
            way = (at[None] - steps[:, None] * out)[:, None] + (DRAIN_MM / 2.0 + _RIM_MM) * ring
            clear = all(float(b.signed_distance(at - steps[:, None] * out).min()) > DRAIN_MM for b in keep)
            return _Drain(at, out, float(depth)) if clear and bool(body.inside(way.reshape(-1, 3)).all()) else None
    return None
