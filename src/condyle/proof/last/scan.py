"""Real cross-sections of the finished parts: at the necks of the hardware, and along every limb.

Each joint is cut across on both its sides, each part along the line from its own joint to the next ones or to its tip. What
stands here is read off the solids as written, not off the sizes that the hardware was designed with.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from condyle.figure.kit import Axle, BuiltJoint, Kit, Part
from condyle.finding import Point
from condyle.geometry.crosssection import SectionMoments, section_moments
from condyle.geometry.frame import Frame, frame_from_zx, unit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, disc
from condyle.geometry.resting import hull_corners
from condyle.geometry.sections import Slicer
from condyle.joints.mechanics.section import Bar, felt_notch, hole_notch, shoulder_notch
from condyle.proof.last.cross import Z_UP, Cross, Limb, Seat, Sections, layered
from condyle.workshop.bench import Workshop
from condyle.workshop.recipe import Recipe

_STEP_MM = 0.3
_LIMB_STEP_MM = 1.0
_MOST_STEPS = 28
_BEFORE_MOUTH_MM = 0.25  # a peg's hole widens by less where it begins

_ON_AXIS = disc((0.0, 0.0), 0.15)


class Scanner:
    """Sections of a kit's parts in its material."""

    def __init__(self, kit: Kit, workshop: Workshop, recipe: Recipe, layers: Mapping[str, Point] | None = None) -> None:
        """``layers`` gives the normal of each part's layers in figure coordinates; a part not named is built upright."""
        self._kit, self._recipe = kit, recipe
        self._shops = {p.name: p.workshop or workshop for p in kit.parts}
        self._layers = layers or {}

    def sections(self) -> Sections:
        """All of the kit."""
        built = [j for j in self._kit.joints if j.built]
        return Sections(
            {j.name: tuple(self.necks(j)) for j in built},
            {j.name: tuple(self.eyes(j)) for j in built},
            tuple(self.limbs()),
            {name: seat for j in built for name, seat in self.seats(j)},
        )

    def necks(self, joint: BuiltJoint) -> list[Cross]:
        """The weakest section of the hardware on each side of each axle."""
        out = []
        for axle, home in zip(joint.axles, joint.insertion, strict=True):
            for name, away in ((axle.moves, -np.asarray(home)), (axle.stays, np.asarray(home))):
                cross = self._neck(joint, axle, name, away)
                if cross is not None:
                    out.append(cross)
        return out

    def _neck(self, joint: BuiltJoint, axle: Axle, part: str, away: FloatArray) -> Cross | None:
        size = joint.size_mm or 4.0
        kind = joint.seated.spec.kind
        frame = _frame(np.asarray(axle.centre, dtype=np.float64), away)
        slicer = Slicer(self._kit.part(part).mesh.near(frame.origin, 3.0 * size), frame)
        within = 1.1 * size
        stud = _holds_axis(slicer.at(0.05, within))
        if kind in ("hinge", "double_hinge"):
            low, high = 0.3 * size, 1.1 * size
        elif kind == "ball":
            low, high = (0.3 * size if stud else 0.75 * size), 1.4 * size
        else:
            low, high = (0.02 if stud else 0.2), 1.1 * size
        split = kind == "swivel"

        def cut(height: float) -> Region:
            region = slicer.at(height, within, 0.01)
            if split and stud and len(halves := _halves(region, 0.6 * size)) == 2:
                return min(halves, key=lambda r: r.area_mm2)
            # Beside a stud lies the hollow that the other part's round end turns in.
            return region.touching(_ON_AXIS) if stud and _holds_axis(region) else region

        found = [(float(h), section_moments(cut(float(h)), twist=False)) for h in np.arange(low, high, _STEP_MM)]
        bars = [(h, m) for h, m in found if m is not None and m.area_mm2 > 0.2]
        if not bars:
            return None
        at = min(bars, key=lambda hm: hm[1].bending_mm3)[0]
        least = section_moments(cut(at))
        assert least is not None
        alike = [h for h, m in bars if m.bending_mm3 < 1.3 * least.bending_mm3]
        largest = max(m.round_mm for _, m in bars)
        # The corner that a printer leaves inside: half a line, at least 0.1 mm (common practice, no source).
        fillet = max(0.1, 0.5 * self._shops[part].printer.line_mm.value)
        notch = shoulder_notch(largest, least.round_mm, fillet)
        return self._cross(
            part, joint.name, "neck", frame, at, least, notch, max(alike) - min(alike) + _STEP_MM, _axis(joint)
        )

    def eyes(self, joint: BuiltJoint) -> list[Cross]:
        """What is left beside the pin of a pinned joint, in tongue and fork alike: the section through the pin's middle."""
        if joint.pin_mm is None:
            return []
        size, pin = joint.size_mm or 4.0, joint.pin_mm[0]
        notch = hole_notch(max(size, 1.05 * pin), pin)
        out = []
        for axle, home in zip(joint.axles, joint.insertion, strict=True):
            for name, away in ((axle.moves, -np.asarray(home)), (axle.stays, np.asarray(home))):
                frame = _frame(np.asarray(axle.centre, dtype=np.float64), away)
                mesh = self._kit.part(name).mesh.near(frame.origin, 3.0 * size)
                least = section_moments(Slicer(mesh, frame).at(0.0, 1.1 * size, 0.01))
                if least is not None:
                    out.append(self._cross(name, joint.name, "neck", frame, 0.0, least, notch, pin))
        return out

    def seats(self, peg: BuiltJoint) -> list[tuple[str, Seat]]:
        """The joint whose insert is held by this peg, and the seat in its host; nothing for any other joint."""
        name = peg.name.removesuffix("_peg")
        if peg.seated.spec.kind != "peg" or name == peg.name or not peg.size_mm:
            return []
        axle = peg.axles[0]
        inserts = [p for p in (axle.moves, axle.stays) if p in (f"{name}_stud", f"{name}_cup")]
        if not inserts:
            return []
        host = axle.stays if axle.moves == inserts[0] else axle.moves
        frame = _frame(np.asarray(axle.centre, dtype=np.float64), np.asarray(peg.insertion[0]))
        slicer = Slicer(self._kit.part(host).mesh.near(frame.origin, 3.0 * peg.size_mm), frame)
        hole, middle = 0.5 * peg.size_mm + (peg.clearance_mm or 0.0), np.zeros((1, 2))
        walls: list[tuple[float, float]] = []
        for h in np.arange(-peg.travel_mm, peg.travel_mm, 0.5 * _STEP_MM):
            region = slicer.at(float(h), 2.0 * peg.size_mm, 0.01)
            around = region.filled().touching(_ON_AXIS)
            # Flesh right around the axis and none on it, and not as far off as the hollow before the mouth.
            if not around.empty and 0.0 < float(region.gaps(middle)[0]) <= hole + _BEFORE_MOUTH_MM:
                walls.append((around.depth((0.0, 0.0)) - hole, float(h)))
        told = [
            (m.bending_mm3, h, m)
            for _, h in walls
            if (m := section_moments(slicer.at(h, 1.5 * peg.size_mm, 0.01), twist=False)) is not None
        ]
        if not told:
            return []
        _, at, moments = min(told, key=lambda t: t[:2])
        deep, wall = len(walls) * 0.5 * _STEP_MM, min(walls)[0]
        cross = self._cross(host, peg.name, "neck", frame, at, moments, 1.0, deep)
        material = self._shops[host].material
        along, across = material.yield_mpa.value, material.across_layers.value
        return [(name, Seat(inserts[0], cross, 2.0 * hole, deep, wall, along, across))]

    def limbs(self) -> list[Limb]:
        """The weakest section of every stretch of every part, away from the hardware itself."""
        own = {a.moves: (j, a) for j in self._kit.joints if j.built for a in j.axles}
        held: dict[str, list[tuple[BuiltJoint, Axle]]] = {}
        for joint in self._kit.joints:
            for axle in joint.axles if joint.built else ():
                held.setdefault(axle.stays, []).append((joint, axle))
        out = []
        for part in self._kit.parts:
            hang = own.get(part.name)
            corners = part.mesh.bounds.mean(axis=0)
            start = np.asarray(hang[1].centre) if hang else corners
            ends: list[tuple[BuiltJoint | None, FloatArray]] = [
                (j, np.asarray(a.centre, dtype=np.float64)) for j, a in held.get(part.name, [])
            ]
            if not ends:
                ends = [(None, _farthest(part, start))]
            for far, end in ends:
                limb = self._limb(part, hang[0] if hang else None, far, start, end)
                if limb is not None:
                    out.append(limb)
        return out

    def _limb(
        self, part: Part, near: BuiltJoint | None, far: BuiltJoint | None, start: FloatArray, end: FloatArray
    ) -> Limb | None:
        length = float(np.linalg.norm(end - start))
        low = 0.8 * (near.size_mm or 4.0) if near else 0.0
        high = length - (0.8 * (far.size_mm or 4.0) if far else min(3.0, 0.25 * length))
        if high - low < 0.5:
            return None
        frame = _frame(start, end - start)
        slicer = Slicer(part.mesh, frame)
        heights = np.linspace(low, high, int(np.clip((high - low) / _LIMB_STEP_MM, 3, _MOST_STEPS)))
        found = [(float(h), self._filled(part.name, slicer.at(float(h), smooth_mm=0.02), twist=False)) for h in heights]
        bars = [(h, m) for h, m in found if m is not None and m.area_mm2 > 0.2]
        if not bars:
            return None
        at = min(bars, key=lambda hm: hm[1].bending_mm3)[0]
        region = slicer.at(at, smooth_mm=0.02)
        least, whole = self._filled(part.name, region), section_moments(region, twist=False)
        assert least is not None and whole is not None
        alike = [h for h, m in bars if m.bending_mm3 < 1.3 * least.bending_mm3]
        span = max(alike) - min(alike) + (heights[1] - heights[0])
        name = near.name if near else (far.name if far else part.name)
        cross = self._cross(part.name, name, "limb", frame, at, least, 1.0, float(span), whole=whole)
        return Limb(part.name, name, far.name if far else None, cross, length)

    def _filled(self, part: str, region: Region, *, twist: bool = True) -> SectionMoments | None:
        wall = self._recipe.wall_mm(self._shops[part])
        if not math.isfinite(wall) or region.empty:
            return section_moments(region, twist=twist)
        return section_moments(region, region.offset(-wall, 0.05), self._recipe.inside(self._shops[part]), twist=twist)

    def _cross(
        self,
        part: str,
        joint: str,
        what: Literal["neck", "limb"],
        frame: Frame,
        at: float,
        least: SectionMoments,
        notch: float,
        length: float,
        axis: FloatArray | None = None,
        whole: SectionMoments | None = None,
    ) -> Cross:
        material = self._shops[part].material
        place = frame.to_outer(np.array([[least.centroid[0], least.centroid[1], at]]))[0]
        cross = Cross(
            part=part,
            joint=joint,
            what=what,
            place=(float(place[0]), float(place[1]), float(place[2])),
            normal=frame.z,
            bar=Bar(least.area_mm2, least.bending_mm3, least.twist_mm3, least.thinnest_mm),
            whole_mm3=(whole or least).bending_mm3,
            round_mm=(whole or least).round_mm,
            notch=felt_notch(notch, min(1.0, material.notch.value)),
            layers_deg=0.0,
            strength_mpa=0.0,
            shear_mpa=0.0,
            length_mm=length,
            about_mm3=least.bending_mm3 if axis is None else least.about_mm3(frame.rotation[:, :2].T @ axis),
        )
        return layered(cross, self._shops[part], self._layers.get(part, Z_UP))


def _axis(joint: BuiltJoint) -> FloatArray | None:
    """The one axis of a joint that turns about no other."""
    axes = list(joint.seated.axes.values())
    return np.asarray(axes[0], dtype=np.float64) if len(axes) == 1 else None


def _frame(origin: FloatArray, z: FloatArray) -> Frame:
    zu = unit(z)
    return frame_from_zx(origin, zu, np.eye(3)[int(np.argmin(np.abs(zu)))])


def _halves(region: Region, within_mm: float) -> list[Region]:
    """The pieces of a section that lie within a radius of its axis altogether: two of a split stud, one of a whole one.

    A bore presses one half of a split stud towards its slot and hands nothing on to the other, so one alone is weighed.
    """
    return [r for r in region.components() if r.reach((0.0, 0.0)) <= within_mm]


def _holds_axis(region: Region) -> bool:
    """Whether the middle of the section is material: a stud, not a socket."""
    return not region.empty and not (region & _ON_AXIS).empty


def _farthest(part: Part, start: FloatArray) -> FloatArray:
    corners = hull_corners(part.mesh.vertices)
    return np.asarray(corners[int(np.argmax(((corners - start) ** 2).sum(axis=1)))])
