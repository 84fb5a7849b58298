"""Prove a kit: every question asked of the finished solids, and the answers gathered by joint and by part."""

from __future__ import annotations

from dataclasses import dataclass, field

from condyle.figure.kit import Kit
from condyle.figure.skeleton import Motion, Range, Skeleton
from condyle.finding import Finding, Verdict, worst
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import Solid
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.detent import detents
from condyle.proof.fit import fits, strangers
from condyle.proof.kept import Keep, anew
from condyle.proof.move import End, findings_of, ranges, wanted_from_pose
from condyle.proof.pins import pins
from condyle.proof.wall import walls
from condyle.workshop.bench import Workshop


@dataclass(frozen=True)
class JointProof:
    """What was measured at a joint; ranges in degrees from the sculpt's pose, None or empty where not measured.

    rest_gap_mm  the signed gap between its bearing faces
    skin_gap_mm  the gap between the sculpt's surfaces on either side
    lip_mm       how far the lip overlaps what passes it
    stopped_by   in words, by motion: what ends the range at either side
    ends         the same, lower and upper end, with places
    hold_relaxed_nmm  friction torque left after weeks; load_nmm the greatest moment that a pose asks of it
    """

    rest_gap_mm: float | None = None
    skin_gap_mm: float | None = None
    lip_mm: float | None = None
    wanted: dict[Motion, Range] = field(default_factory=dict)
    reached: dict[Motion, Range] = field(default_factory=dict)
    stopped_by: dict[Motion, str | None] = field(default_factory=dict)
    ends: dict[Motion, tuple[End, End]] = field(default_factory=dict)
    hold_relaxed_nmm: float | None = None
    load_nmm: float | None = None


@dataclass(frozen=True)
class PartProof:
    """What was measured of a part. The mass is that of the solid printed full until it is weighed as printed (carry)."""

    volume_mm3: float
    mass_g: float
    min_wall_mm: float | None


@dataclass(frozen=True)
class PoseProof:
    """How one pose stands, and the joint that holds it with the least to spare."""

    name: str
    stands: bool
    tip_deg: float
    margin_mm: float
    weakest_joint: str | None


@dataclass(frozen=True)
class Proof:
    """All findings, and the measures by joint, by part and by pose."""

    findings: tuple[Finding, ...]
    joints: dict[str, JointProof]
    parts: dict[str, PartProof]
    poses: tuple[PoseProof, ...] = ()

    @property
    def verdict(self) -> Verdict:
        return worst(self.findings)


def prove(
    kit: Kit, sculpt: Solid, skeleton: Skeleton, workshop: Workshop, *, workers: int = 2, keep_walls: Keep = anew
) -> Proof:
    """Fit, walls and ranges of a kit, measured on its solids as they will be written.

    ``sculpt`` is the clean sculpt that was parted: it tells skin from cut faces. ``skeleton`` names the joints that
    were asked for: one that the kit does not have is a fail. Nothing here is shared with the code that built the kit.
    """
    bodies = make_bodies(kit)
    meetings = make_meetings(kit, bodies)
    skin = Bvh(sculpt.mesh)
    findings = _missing(kit, skeleton)
    measured, found = fits(kit, meetings, skin, workshop.kerf_mm, workers=workers)
    findings += found
    findings += strangers(kit, bodies, workshop.kerf_mm)
    findings += pins(kit, bodies)
    thin, found = walls(kit, bodies, workshop.printer.line_mm.value, workers=workers, keep=keep_walls)
    findings += found
    reaches = ranges(kit, bodies, meetings, skin, workshop.kerf_mm, workers=workers)
    findings += findings_of(reaches)
    findings += detents(kit, bodies, {name: {m: r.reached for m, r in by.items()} for name, by in reaches.items()})
    joints = {}
    for joint in kit.joints:
        fit = measured.get(joint.name)
        reach = reaches.get(joint.name, {})
        joints[joint.name] = JointProof(
            rest_gap_mm=fit.bearing_gap_mm if fit else None,
            skin_gap_mm=fit.skin_gap_mm if fit else None,
            lip_mm=fit.lip_mm if fit else None,
            wanted=wanted_from_pose(joint.seated),
            reached={m: r.reached for m, r in reach.items()},
            stopped_by={m: _words(r.low, r.high) for m, r in reach.items()},
            ends={m: (r.low, r.high) for m, r in reach.items()},
        )
    parts = {}
    for part in kit.parts:
        density = (part.workshop or workshop).material.density_g_cm3.value
        wall = thin[part.name]
        volume = part.solid.volume_mm3
        parts[part.name] = PartProof(volume, volume * density / 1000.0, wall.thickness_mm if wall else None)
    return Proof(tuple(findings), joints, parts)


def _missing(kit: Kit, skeleton: Skeleton) -> list[Finding]:
    """A fail for each joint of the skeleton that the kit does not list at all, and for parts that joints name in vain.

    A joint that was refused is the parting's own finding.
    """
    there = {j.name for j in kit.joints}
    parts = {p.name for p in kit.parts}
    out = [
        Finding("fit.part", joint.name, "fail", advice=f"{name} is not among the kit's parts: it was lost in parting")
        for joint in kit.joints
        if joint.built
        for name in sorted({n for a in joint.axles for n in (a.moves, a.stays)} - parts)
    ]
    return out + [
        Finding("fit.joint", spec.name, "fail", advice="this joint of the skeleton is not in the kit: seat it")
        for spec in skeleton.joints
        if spec.name not in there
    ]


def _words(low: End, high: End) -> str | None:
    said = [end.words for end in (low, high) if end.words is not None]
    return "; ".join(said) or None
