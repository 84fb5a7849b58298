"""The flesh around one joint: sections of the limb square to the cut, and how much room they leave."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from condyle.figure.skeleton import SeatedJoint
from condyle.geometry.frame import Frame, frame_from_zx
from condyle.geometry.locality import Locality
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region
from condyle.geometry.sections import Slicer

_VIEW_MM = 34.0
_REACH_MM = 24.0
_SMOOTH_MM = 0.03
_GRID_MM = 1.0


@dataclass(frozen=True)
class Slice:
    """One section: the limb itself (the outline around the axis) and everything else the plane meets."""

    limb: Region | None
    others: tuple[Region, ...]

    @cached_property
    def inradius_mm(self) -> float:
        """Radius of the largest circle about the axis that stays in the limb; 0 where the axis is outside."""
        return 0.0 if self.limb is None else max(0.0, self.limb.depth((0.0, 0.0)))

    @cached_property
    def reach_mm(self) -> float:
        """Distance from the axis to the limb's farthest outline."""
        return 0.0 if self.limb is None else self.limb.reach((0.0, 0.0))


class Site:
    """Sections across a frame's z axis, taken when asked for and kept; they reach 24 mm around the axis.

    ``frame`` is a cut frame: origin at the joint's centre, z along the cut axis towards the child, x as near to the
    axis of flexion as being square to z allows.
    """

    def __init__(self, frame: Frame, locality: Locality) -> None:
        self.frame = frame
        self.locality = locality
        self._slicer = Slicer(locality.near(frame.origin, _VIEW_MM), frame)
        self._slices: dict[int, Slice] = {}
        self._radii: dict[int, float] = {}
        self._from = 0

    @classmethod
    def seeing(cls, site: Site, slide_mm: float) -> Site:
        """The site as seen from a point further along its axis: the same sections, counted from there.

        ``slide_mm`` counts to the nearest millimetre, the grid that sections are taken on.
        """
        other = cls.__new__(cls)
        other.frame = Frame(site.frame.to_outer(np.array([0.0, 0.0, slide_mm])), site.frame.rotation)
        other.locality, other._slicer = site.locality, site._slicer
        other._slices, other._radii = site._slices, site._radii
        other._from = site._from + round(slide_mm / _GRID_MM)
        return other

    def release(self) -> None:
        """Give back the local view when no more sections will be asked for: it is most of what parting holds."""
        self.locality = self._slicer = None  # type: ignore[assignment]

    def moved(self, frame: Frame) -> Site:
        """A site of the same sculpt in another frame."""
        return Site(frame, self.locality)

    def at(self, z_mm: float) -> Slice:
        """The section at a height, to the nearest millimetre."""
        key = round(z_mm / _GRID_MM)
        kept = key + self._from
        if kept not in self._slices:
            self._slices[kept] = self._cut(kept * _GRID_MM)
        return self._slices[kept]

    def between(self, z0_mm: float, z1_mm: float) -> list[Slice]:
        """The sections from one height to another, both ends included."""
        low, high = sorted((round(z0_mm / _GRID_MM), round(z1_mm / _GRID_MM)))
        return [self.at(k * _GRID_MM) for k in range(low, high + 1)]

    def thinnest(self, z0_mm: float, z1_mm: float, steps: int) -> tuple[float, float]:
        """The least radius of a circle about the axis that stays in the limb at evenly spaced heights, and where first."""
        least, where = np.inf, z0_mm
        for k in range(steps + 1):
            z = z0_mm + (z1_mm - z0_mm) * k / steps
            key = round(z / _GRID_MM) + self._from
            radius = self._radii.get(key)
            if radius is None:
                radius = self._radii[key] = self.at(z).inradius_mm
            if radius < least:
                least, where = radius, z
        return float(least), where

    def seen_from(self, knuckle_is_child: bool) -> Prospect:
        """The same site in the knuckle frame."""
        return Prospect(self, knuckle_is_child)

    def _cut(self, z: float) -> Slice:
        pieces = self._slicer.at(z, _REACH_MM, _SMOOTH_MM).components()
        limb = next((p for p in pieces if p.depth((0.0, 0.0)) > 0.0), None)
        return Slice(limb, tuple(p for p in pieces if p is not limb))


class Prospect:
    """A site in the knuckle frame: z towards the knuckle, x kept, so y is turned where the knuckle is the parent."""

    def __init__(self, site: Site, knuckle_is_child: bool) -> None:
        self.site = site
        self.knuckle_is_child = knuckle_is_child
        self.frame = knuckle_frame(site.frame, knuckle_is_child)
        self._sign = 1.0 if knuckle_is_child else -1.0
        self._mirrored: dict[int, Slice] = {}

    def at(self, z_mm: float) -> Slice:
        """The section at a height of the knuckle frame."""
        found = self.site.at(self._sign * z_mm)
        if self.knuckle_is_child:
            return found
        key = round(z_mm / _GRID_MM)
        if key not in self._mirrored:
            limb = None if found.limb is None else found.limb.mirrored()
            self._mirrored[key] = Slice(limb, tuple(r.mirrored() for r in found.others))
        return self._mirrored[key]

    def inradius_mm(self, z_mm: float) -> float:
        """Radius of the largest circle about the axis that stays in the limb at a height."""
        return self.site.at(self._sign * z_mm).inradius_mm

    def thinnest(self, z0_mm: float, z1_mm: float, steps: int) -> tuple[float, float]:
        """The least radius of a circle about the axis that stays in the limb at evenly spaced heights, and where first."""
        least, z = self.site.thinnest(self._sign * z0_mm, self._sign * z1_mm, steps)
        return least, self._sign * z

    def between(self, z0_mm: float, z1_mm: float) -> list[Slice]:
        """Sections from z0 up to z1, in that order."""
        n = max(1, round(abs(z1_mm - z0_mm) / _GRID_MM))
        return [self.at(float(z)) for z in np.linspace(z0_mm, z1_mm, n + 1)]


def cut_frame(joint: SeatedJoint, origin: FloatArray) -> Frame:
    """The frame of a joint's cut; where flexion runs along the cut axis, x is any direction square to it."""
    z = np.asarray(joint.cut_axis, dtype=np.float64)
    hint = joint.frame.x
    if abs(float(hint @ z)) > 0.9 * float(np.linalg.norm(z)):
        hint = joint.frame.y if abs(float(joint.frame.y @ z)) < 0.9 else joint.frame.z
    return frame_from_zx(origin, z, hint)


def knuckle_frame(frame: Frame, knuckle_is_child: bool) -> Frame:
    """The frame in which hardware is built: z towards the knuckle, x kept."""
    if knuckle_is_child:
        return frame
    return Frame(frame.origin, frame.rotation @ np.diag([1.0, -1.0, -1.0]))
