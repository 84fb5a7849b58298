"""Printable caps, plugs and holders: what keeps paint off each bearing, and a place to hold each part by.

A cap is a cup with a straight bore that a ball, a shaft or a peg just fills; a plug is a cone that sticks in the mouth
of a socket or a pin hole. A holder is the same with a stick, so the hand touches only what is masked anyway. Slack,
taper and the stick are common practice, no source: print one and try it first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder, turned
from condyle.geometry.solid import Solid, overlap, union

Form = Literal["cap", "plug"]

SLACK_MM, WALL_MM = 0.08, 0.9
STICK_MM, STICK_LONG_MM = 5.0, 45.0
_DEPTHS = {"ball": (1.9, 1.5, 1.2), "swivel": (3.6, 2.7, 1.8), "peg": (2.4, 1.8, 1.2)}
"""How far a cap reaches from the tip, in radii: the longest that does not run into the part."""

_TOUCH_MM3 = 0.3


@dataclass(frozen=True)
class Mask:
    """One bearing of one part: what covers it (None: tape or liquid mask, by hand) and the file that holds it."""

    part: str
    joint: str
    form: Form | None
    size_mm: float
    depth_mm: float = 0.0

    @property
    def file(self) -> str:
        """File name without folder; empty where nothing is printed."""
        if self.form is None:
            return ""
        return f"{self.form}-{self.size_mm:.3g}" + (f"x{self.depth_mm:.3g}" if self.form == "cap" else "") + ".stl"


@dataclass(frozen=True)
class MaskList:
    """All masks of a kit, the mask by which each part is held (None: a stick of its own), and findings."""

    masks: tuple[Mask, ...]
    holders: Mapping[str, Mask | None]
    findings: tuple[Finding, ...] = ()

    def counts(self) -> dict[str, int]:
        """How many of each file to print: a held part's mask is its holder."""
        held = [m for m in self.holders.values() if m is not None]
        out: dict[str, int] = {}
        for m in self.masks:
            if m.file and m not in held:
                out[m.file] = out.get(m.file, 0) + 1
        for m in held:
            out[f"holder-{m.file}"] = out.get(f"holder-{m.file}", 0) + 1
        return dict(sorted(out.items()))

    def solids(self) -> dict[str, Solid]:
        """A solid for each file, standing as it is printed."""
        by_file = {m.file: m for m in self.masks if m.form is not None}
        out = {}
        for name in self.counts():
            held = name.startswith("holder-")
            out[name] = mask_solid(by_file[name.removeprefix("holder-")], stick=held)
        return out


def mask_solid(mask: Mask, *, stick: bool = False) -> Solid:
    """The mask as it is printed: a cap on its closed end, a plug on its head; with a stick, on the stick's foot."""
    if mask.form is None:
        raise ValueError("nothing is printed for this bearing")
    body = _cap(mask.size_mm, mask.depth_mm) if mask.form == "cap" else _plug(mask.size_mm)
    if not stick:
        return body
    foot = cylinder(STICK_MM, 0.0, 1.6)
    rod = cylinder(STICK_MM / 2.0, 0.0, STICK_LONG_MM + 0.6)
    return union([foot, rod, body.translated((0.0, 0.0, STICK_LONG_MM))], "holder")


def _cap(size_mm: float, depth_mm: float) -> Solid:
    bore = size_mm / 2.0 + SLACK_MM
    outer = max(bore + WALL_MM, STICK_MM / 2.0)
    profile = np.array([
        (0.0, 0.0), (outer, 0.0), (outer, WALL_MM + depth_mm), (bore + 0.25, WALL_MM + depth_mm),
        (bore, WALL_MM + depth_mm - 0.35), (bore, WALL_MM), (0.0, WALL_MM),
    ])  # fmt: skip
    return turned(profile, "outside")


def _plug(size_mm: float) -> Solid:
    radius = size_mm / 2.0
    head = max(1.25 * radius + 1.0, STICK_MM / 2.0)
    long = max(0.9 * size_mm / 2.0, 3.0)
    profile = np.array([
        (0.0, 0.0), (head, 0.0), (head, 1.2), (1.1 * radius, 1.2), (0.72 * radius, 1.2 + long), (0.0, 1.2 + long),
    ])  # fmt: skip
    return turned(profile, "inside")


def mask_list(kit: Kit, painted: Sequence[str] = ()) -> MaskList:
    """What each bearing of a kit is masked with; joints in ``painted`` are left out. Caps are tried on the real parts."""
    skins = {p.name: Bvh(p.mesh) for p in kit.parts}
    masks: list[Mask] = []
    findings: list[Finding] = []
    for joint in kit.joints:
        if not joint.built or joint.name in painted:
            continue
        for axle, home in zip(joint.axles, joint.insertion, strict=False):
            for name, towards in ((axle.moves, 1.0), (axle.stays, -1.0)):
                if name not in skins:
                    continue
                out = towards * np.asarray(home, dtype=np.float64)
                mask = _mask(kit, joint, name, axle.centre, out, skins[name])
                masks.append(mask)
                if mask.form is None:
                    words = "no printed cap goes over it: mask it with tape or liquid mask"
                    findings.append(
                        Finding("coat.mask", f"{joint.name} {name}", "caution", None, None, "", axle.centre, words)
                    )
    holders = {}
    for part in kit.parts:
        mine = [m for m in masks if m.part == part.name and m.form is not None]
        holders[part.name] = max(mine, key=lambda m: m.size_mm, default=None)
    return MaskList(tuple(masks), holders, tuple(findings))


def _mask(kit: Kit, joint: BuiltJoint, name: str, centre: Point, out: FloatArray, skin: Bvh) -> Mask:
    kind = joint.seated.spec.kind
    if joint.pin_mm is not None:
        return Mask(name, joint.name, "plug", joint.pin_mm[0])
    if kind not in _DEPTHS or joint.size_mm is None:
        return Mask(name, joint.name, None, joint.size_mm or 0.0)
    at = np.asarray(centre, dtype=np.float64)
    if not bool(skin.inside(at[None] + 0.01)[0]):
        return Mask(name, joint.name, "plug", joint.size_mm)
    radius = joint.size_mm / 2.0
    # How far the ball or shaft really stands out beyond its centre, along its way in.
    near = skin.mesh.vertices[np.linalg.norm(np.cross(skin.mesh.vertices - at, out), axis=1) <= 1.05 * radius] - at
    beyond = near @ out
    tip = float(beyond[beyond <= 6.0 * radius].max(initial=radius))
    for share in _DEPTHS[kind]:
        mask = Mask(name, joint.name, "cap", joint.size_mm, round(share * radius, 2))
        placed = mask_solid(mask).transformed(_facing(at + (tip + WALL_MM) * out, -out))
        met = overlap(placed, kit.part(name).solid)
        if met is None or met.volume_mm3 <= _TOUCH_MM3:
            return mask
    return Mask(name, joint.name, None, joint.size_mm)


def _facing(origin: FloatArray, z: FloatArray) -> FloatArray:
    """The transform (4, 4) that stands a mask's z along a direction."""
    across = np.eye(3)[int(np.argmin(np.abs(z)))]
    return frame_from_zx(origin, z, across).matrix
