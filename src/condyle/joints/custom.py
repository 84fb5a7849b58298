"""A joint of the maker's own, brought in as meshes: what each side loses and gains, about one centre.

Meshes lie in the joint frame: origin at the centre, z towards the child, x the axis of flexion, y = z × x. They are used
as they are, at the size and the clearance they were tested at; nothing of them is scaled or moved apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder, sphere
from condyle.geometry.solid import Solid, union
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.stock import Stock

Turning = Literal["flex", "abduct", "twist"]

_SLAB_MM = 1.0
_ROUND_SHARE = 1.12  # a section whose reach is less than this over its half width is taken as round
_FLIP = np.diag([1.0, -1.0, -1.0, 1.0])
_SIDEWAYS = np.diag([-1.0, 1.0, 1.0, 1.0])
_LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


@dataclass(frozen=True)
class Bearing:
    """Where touching is by design: a ball about the centre, or a cylinder about x or z between two heights along it."""

    radius_mm: float
    about: Literal["", "x", "z"] = ""
    from_mm: float = 0.0
    to_mm: float = 0.0

    def solid(self) -> Solid:
        if not self.about:
            return sphere(self.radius_mm)
        drum = cylinder(self.radius_mm, self.from_mm, self.to_mm, "outside")
        return drum.transformed(_LYING) if self.about == "x" else drum

    def holds(self, points: FloatArray) -> np.ndarray:
        """Which points (n, 3) of the joint frame lie inside."""
        if not self.about:
            return np.asarray(np.linalg.norm(points, axis=1) <= self.radius_mm)
        k = 0 if self.about == "x" else 2
        off = np.linalg.norm(np.delete(points, k, axis=1), axis=1)
        return np.asarray((off <= self.radius_mm) & (points[:, k] >= self.from_mm) & (points[:, k] <= self.to_mm))


@dataclass(frozen=True)
class Tested:
    """What the maker found with this joint in the hand; None where nothing was measured."""

    process: str
    clearance_mm: float
    source: str
    material: str = ""
    hold_nmm: float | None = None
    insertion_n: float | None = None
    retention_n: float | None = None


@dataclass(frozen=True, eq=False)
class OwnJoint:
    """A joint family of one size.

    convex       which side is round at the cut, so that the other one is hollowed
    cut          shape and radius of the skin cut; ``kerf_mm`` None takes the workshop's
    parent, child  what each side's flesh loses and gains, joint frame
    ranges       degrees by motion from the pose in which the meshes are drawn
    handed       made for one side: its mirror image serves the other
    travel_mm    from first contact to home, along z
    undercut_mm  how far a lip overlaps what passes it, radially; 0 where nothing snaps
    """

    name: str
    size_mm: float
    convex: Literal["parent", "child"]
    shape: Literal["sphere", "cylinder", "plane"]
    radius_mm: float
    kerf_mm: float | None
    parent: SideTools
    child: SideTools
    bearing: Bearing
    ranges: dict[Turning, tuple[float, float]]
    travel_mm: float
    undercut_mm: float
    tested: Tested
    handed: bool = False

    @property
    def motions(self) -> tuple[Turning, ...]:
        """The motions that it has, in the order flex, abduct, twist."""
        order: tuple[Turning, ...] = ("flex", "abduct", "twist")
        return tuple(m for m in order if m in self.ranges)

    def mirrored(self) -> OwnJoint:
        """The joint for the other side: its mirror image in the plane square to x where it is handed, else itself."""
        if not self.handed:
            return self
        b = self.bearing
        bearing = replace(b, from_mm=-b.to_mm, to_mm=-b.from_mm) if b.about == "x" else b
        return replace(
            self, parent=_moved(self.parent, _SIDEWAYS), child=_moved(self.child, _SIDEWAYS), bearing=bearing
        )


@dataclass(frozen=True, eq=False)
class CustomShape:
    """An own joint as it lies in the knuckle frame."""

    own: OwnJoint
    size: float
    cup: SideTools
    knuckle: SideTools
    bearing: Solid


def shape(own: OwnJoint) -> CustomShape:
    """The joint turned into the knuckle frame: z towards the side that is round at the cut."""
    if own.convex == "child":
        return CustomShape(own, own.size_mm, own.parent, own.child, own.bearing.solid())
    turned = own.bearing.solid().transformed(_FLIP)
    return CustomShape(own, own.size_mm, _moved(own.child, _FLIP), _moved(own.parent, _FLIP), turned)


def _moved(tools: SideTools, matrix: FloatArray) -> SideTools:
    return SideTools(*(None if s is None else s.transformed(matrix) for s in (tools.take, tools.add, tools.bore)))


def needs(s: CustomShape, cut: Cut, stock: Stock) -> tuple[Need, ...]:
    """Flesh that must be there: a wall around what the knuckle loses, and around what takes root in the cup.

    Read off the meshes in slabs of a millimetre. Near the mouth, where a cavity opens into the cut, no wall is asked for.
    """
    wall = stock.wall_mm
    mouth = -0.5 * cut.radius_mm if cut.radius_mm else 0.3
    out: list[Need] = []
    for tool in (s.knuckle.take, s.knuckle.bore):
        if tool is not None:
            out += _slabs(tool, mouth, float(tool.bounds[1, 2]), 0.8 * wall, wall)
    foot = -cut.cup_mm - 0.2
    for tool in (s.cup.add, s.cup.take):
        if tool is not None and float(tool.bounds[0, 2]) < foot:
            out += _slabs(tool, float(tool.bounds[0, 2]), foot, 0.6 * wall, 0.0)
    return tuple(out)


def _slabs(tool: Solid, low: float, high: float, wall_mm: float, over_mm: float) -> list[Need]:
    """Needs around a solid between two heights, walls included; the last one also covers its end by ``over_mm``."""
    if high <= low:
        return []
    edges = np.linspace(low, high, max(2, int(np.ceil((high - low) / _SLAB_MM)) + 1))
    out = []
    for z0, z1 in pairwise(edges):
        slab = tool.trimmed((0.0, 0.0, 1.0), float(z0)).trimmed((0.0, 0.0, -1.0), float(-z1))
        half_x, half_y = np.abs(slab.mesh.vertices[:, :2]).max(axis=0)
        reach = float(np.linalg.norm(slab.mesh.vertices[:, :2], axis=1).max())
        end = float(z1) + (over_mm if z1 == edges[-1] else 0.0)
        if reach <= _ROUND_SHARE * max(half_x, half_y):
            out.append(Need(float(z0), end, reach + wall_mm, reach + wall_mm))
        else:
            out.append(Need(float(z0), end, float(half_x) + wall_mm, float(half_y) + wall_mm, rounded=False))
    return out


def design(s: CustomShape, cut: Cut) -> JointDesign:
    """The hardware of an own joint. Forces are the maker's own measurements; what was not measured stays unknown."""
    own, tested = s.own, s.own.tested
    return JointDesign(
        size_mm=own.size_mm,
        clearance_mm=tested.clearance_mm,
        cut=cut,
        cup=s.cup,
        knuckle=s.knuckle,
        bearing=s.bearing,
        bearing_mm2=bearing_area_mm2(own),
        travel_mm=own.travel_mm,
        undercut_mm=own.undercut_mm,
        insertion_n=tested.insertion_n,
        retention_n=tested.retention_n,
        hold_nmm=tested.hold_nmm,
    )


def bearing_area_mm2(own: OwnJoint) -> float:
    """Area of the added faces that lie in the bearing, of whichever side has less of it; 0 where neither adds any.

    An upper bound of what touches: faces that look away from the other side are not told apart.
    """
    areas = []
    for side in (own.parent, own.child):
        if side.add is not None:
            mesh = side.add.mesh
            areas.append(float(mesh.areas[own.bearing.holds(mesh.corners.mean(axis=1))].sum()))
    return min((a for a in areas if a > 0.0), default=0.0)


def gathered(tools: SideTools) -> Solid | None:
    """All that a side loses, as one solid; None where it loses nothing."""
    solids = [s for s in (tools.take, tools.bore) if s is not None]
    return union(solids, "what the side loses") if solids else None
