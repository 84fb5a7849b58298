"""The record of a joint as it was built, or of why it was not."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

import numpy as np

from condyle.figure.kit import Axle, BuiltJoint, Pin
from condyle.figure.parting.assign import Hanging
from condyle.figure.parting.choice import Refusal
from condyle.figure.parting.custom_options import tested_findings
from condyle.figure.parting.hardware import Hardware, Placed
from condyle.figure.skeleton import DETENTED, MOTIONS, Kind, SeatedJoint
from condyle.finding import Finding, point_of
from condyle.joints import ball
from condyle.joints.ball import LIP_MM
from condyle.joints.stock import Stock

_HAND_N = 40.0
_HOLD_N = 8.0


def built_joint(hardware: Hardware, part_of: dict[str, str], outside_mm3: float, stock: Stock) -> BuiltJoint:
    """The record of a joint whose hardware is in the parts."""
    plan, placed = hardware.plan, hardware.placed
    spec = plan.joint.spec
    first = placed[0].design
    names = {"parent": part_of[spec.parent], "child": part_of[spec.child], "link": f"{spec.name}_link"}
    # What moves goes home against the knuckle's axis when it is the knuckle, along it when it is the cup.
    moving = ("child",) if len(placed) == 1 else ("link", "child")
    home = tuple(
        point_of(p.half.frame.z if p.half.cup_side == side else -p.half.frame.z)
        for p, side in zip(placed, moving, strict=True)
    )
    axles: tuple[Axle, ...]
    if len(placed) == 1:
        axles = (Axle(names["child"], names["parent"], point_of(placed[0].half.frame.origin)),)
    else:
        axles = (
            Axle(names["link"], names["parent"], point_of(placed[0].half.frame.origin)),
            Axle(names["child"], names["link"], point_of(placed[1].half.frame.origin)),
        )
    return BuiltJoint(
        seated=plan.joint,
        built=True,
        size_mm=plan.size_mm,
        clearance_mm=plan.clearance_mm,
        kerf_mm=first.cut.kerf_mm,
        bearing_mm2=sum(p.design.bearing_mm2 for p in placed),
        undercut_mm=first.undercut_mm,
        stiffness_n_mm=first.stiffness_n_mm,
        snap_strain=first.snap_strain,
        insertion_n=first.insertion_n,
        retention_n=first.retention_n,
        hold_nmm=first.hold_nmm,
        axles=axles,
        insertion=home,
        travel_mm=first.travel_mm,
        bearing=tuple(p.bearing for p in placed),
        pin_mm=first.pin_mm,
        findings=tuple(
            _findings(hardware, outside_mm3) + _forces(hardware, stock) + tested_findings(plan, stock.process)
        ),
        pins=tuple(_pin(p) for p in placed if p.design.pin_ends is not None),
        detents=tuple(p.design.detent for p in placed if p.design.detent is not None),
    )


def _pin(placed: Placed) -> Pin:
    design, frame = placed.design, placed.half.frame
    assert design.pin_mm is not None and design.pin_ends is not None
    blind, mouth = (point_of(frame.to_outer(np.array(end))) for end in design.pin_ends)
    return Pin(design.pin_mm[0], blind, mouth)


def refused_joint(joint: SeatedJoint, refusal: Refusal | None, hanging: Hanging | None) -> BuiltJoint:
    """The record of a joint that is not built; its two bones stay one part."""
    place = point_of(joint.frame.origin)
    if hanging is not None:
        finding = Finding(
            "joint.separates",
            joint.name,
            "fail",
            place=hanging.place,
            measured=1.0,
            target=2.0,
            unit="bodies",
            advice="the cut leaves both sides in one piece; they hang together at this place: move the joint along the "
            "limb, or free the two surfaces there in the sculpt",
        )
    elif refusal is not None and refusal.beside:
        finding = Finding(
            "joint.room",
            joint.name,
            "fail",
            measured=refusal.lack.missing_mm,
            target=0.0,
            unit="mm",
            place=place,
            advice=f"{refusal.beside} takes its room: even at {refusal.lack.size_mm:g} mm it would need "
            f"{refusal.lack.missing_mm:.1f} mm more of the limb between the two; move one of them by that"
            + (
                f", or set size = {refusal.would_fit_mm:g} under [joints.{refusal.beside}]"
                if refusal.would_fit_mm
                else ""
            ),
        )
    else:
        lack = refusal.lack if refusal is not None else None
        missing = lack.missing_mm if lack else 0.0
        reason = (lack.reason + ": ") if lack and lack.reason else ""
        smaller = refusal.would_fit_mm if refusal is not None else None
        fits = f"; a size of {smaller:g} mm would fit" if smaller else ""
        finding = Finding(
            "joint.room",
            joint.name,
            "fail",
            measured=round(missing, 2),
            target=0.0,
            unit="mm",
            place=place,
            advice=f"{reason}a size of {lack.size_mm if lack else 0:g} mm lacks {missing:.1f} mm of flesh on each side: "
            f"allow it with flare_mm = {missing + 0.05:.1f} under [joints.{joint.name}], or thicken the limb{fits}",
        )
    return BuiltJoint(seated=joint, built=False, findings=(finding,))


def _findings(hardware: Hardware, outside_mm3: float) -> list[Finding]:
    plan = hardware.plan
    name, place = plan.joint.name, point_of(plan.joint.frame.origin)
    out = [Finding("joint.built", name, "pass", measured=plan.size_mm, unit="mm", place=place)]
    if outside_mm3 > 0.05:
        out.append(
            Finding(
                "part.hardware_outside",
                name,
                "caution",
                measured=outside_mm3,
                target=0.05,
                unit="mm³",
                place=place,
                advice="hardware stands out of the sculpt's skin here: a smaller size, or a centre further in",
            )
        )
    if plan.wide_mm > 0.3:
        out.append(
            Finding(
                "joint.flange",
                name,
                "caution",
                measured=plan.wide_mm,
                target=0.3,
                unit="mm",
                place=place,
                advice="the limb is wider here than a round cut has room for, so the cut ends in a flat flange that stops "
                "the joint early: move it to where the limb is thinner, or give relief",
            )
        )
    if plan.instead_of:
        lost = sorted(set(MOTIONS[cast(Kind, plan.instead_of)]) - set(MOTIONS[plan.kind]))
        out.append(
            Finding(
                "joint.kind",
                name,
                "caution",
                measured=float(len(MOTIONS[plan.kind])),
                target=float(len(MOTIONS[cast(Kind, plan.instead_of)])),
                unit="axes",
                place=place,
                advice=f"no {plan.instead_of.replace('_', ' ')} finds room here, so this is a "
                f"{plan.kind.replace('_', ' ')}: it does without {' and '.join(lost) or 'the second axle'}; thicken the "
                f"limb, or allow flesh with flare_mm under [joints.{name}], for the {plan.instead_of.replace('_', ' ')}",
            )
        )
    out += _detents(hardware)
    undercut = hardware.placed[0].design.undercut_mm
    if 0.0 < undercut < LIP_MM:
        out.append(
            Finding(
                "joint.lip",
                name,
                "caution",
                measured=undercut,
                target=LIP_MM,
                unit="mm",
                place=place,
                advice="the lip that the material's strain allows is lower than what a printer makes of it: do not trust "
                "its grip before one is printed; a tougher material or a larger size takes a higher one",
            )
        )
    shape = plan.halves[0].shape
    usual = ball.MOST_NECK_RATIO * plan.size_mm
    if isinstance(shape, ball.BallShape) and 2.0 * shape.neck > usual + 1e-6:
        cut, tilt = plan.halves[0].cut, hardware.placed[0].design.tilt_deg
        thinner = ball.tilt_deg(replace(shape, neck=0.5 * usual), cut, math.inf)
        out.append(
            Finding(
                "joint.neck",
                name,
                "pass",
                measured=round(2.0 * shape.neck, 2),
                unit=f"mm, thickened from {usual:.2f} so that the ball lets go before its neck breaks: it tilts {tilt:.0f}°, "
                f"a neck of {usual:.2f} up to {thinner:.0f}°",
                place=place,
            )
        )
    if plan.socket == "plain":
        out.append(
            Finding(
                "joint.socket",
                name,
                "caution",
                place=place,
                advice="a plain socket hardly gives way: its lip is lower than a printer's own error and hard to pass; a "
                "thicker limb would take a slit or split one",
            )
        )
    return out


def _detents(hardware: Hardware) -> list[Finding]:
    """What became of the detents that were asked for; each axle of a double hinge has its own."""
    plan, made = hardware.plan, [p.design.detent for p in hardware.placed]
    asked = plan.joint.spec.detent_deg
    if not asked or plan.kind not in DETENTED:
        return []
    name, place = plan.joint.name, point_of(plan.joint.frame.origin)
    if all(d is not None for d in made):
        return [Finding("joint.detent", name, "pass", measured=asked, target=asked, unit="°", place=place)]
    return [
        Finding(
            "joint.detent",
            name,
            "caution",
            measured=0.0,
            target=asked,
            unit="°",
            place=place,
            advice="no room for its detents, so it was built without: wider steps, a larger size, or a softer material; "
            "their bumps are at least 0.8 mm wide and stand on a circle inside the eye",
        )
    ]


def _forces(hardware: Hardware, stock: Stock) -> list[Finding]:
    """What the lip strains, and what going in and coming out cost, against the material and a hand.

    40 N to push home and 8 N to hold are common practice for figures of this size, no source.
    """
    name, place = hardware.plan.joint.name, point_of(hardware.plan.joint.frame.origin)
    design = hardware.placed[0].design
    out = []
    if design.snap_strain is not None:
        sound = design.snap_strain <= stock.strain
        out.append(
            Finding(
                "joint.strain",
                name,
                "pass" if sound else "fail",
                measured=100.0 * design.snap_strain,
                target=100.0 * stock.strain,
                unit="%",
                place=place,
                advice="" if sound else "more strain than the material takes: a larger size, or a tougher material",
            )
        )
    if design.insertion_n is not None:
        light = design.insertion_n <= _HAND_N
        out.append(
            Finding(
                "joint.push_in",
                name,
                "pass" if light else "caution",
                measured=design.insertion_n,
                target=_HAND_N,
                unit="N",
                place=place,
                advice="" if light else "more than a hand pushes: a smaller size, or a wider clearance_mm",
            )
        )
    if design.retention_n is not None:
        firm = design.retention_n >= _HOLD_N
        out.append(
            Finding(
                "joint.pull_out",
                name,
                "pass" if firm else "caution",
                measured=design.retention_n,
                target=_HOLD_N,
                unit="N",
                place=place,
                advice="" if firm else "comes off at a light pull: a larger size, or a material that bends further",
            )
        )
    if design.pin_mm is not None:
        # Told, not judged: the length to cut, per pin; a double hinge takes two.
        out.append(Finding("joint.pin", name, "pass", measured=design.pin_mm[1], unit="mm", place=place))
    return out
