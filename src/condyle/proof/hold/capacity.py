"""How much torque each joint holds by friction: as drawn, after weeks, and warm; each with what the workshop does not know."""

from __future__ import annotations

import math
from dataclasses import dataclass

from condyle.errors import UsageError
from condyle.figure.kit import BuiltJoint, Kit
from condyle.joints.mechanics.friction import band_pressure_mpa, band_swing_torque_nmm
from condyle.joints.mechanics.grip import Spread, torque_spread
from condyle.joints.mechanics.relaxation import kept_after, kept_warm
from condyle.workshop.bench import Workshop


@dataclass(frozen=True)
class HoldWanted:
    """What is asked of a grip; all can be changed.

    new_factor, aged_factor  torque over load, new and after ``days``
    grip_share    of what twists or bends the weakest section off, at most
    days, warm_c  how old and how warm
    wear          friction left after the play of those days (prior, no source)
    paint         friction with painted faces over bare ones; 1 for bearings masked off (prior, no source)
    ground_friction  of feet on a shelf; low, for the safe side
    """

    new_factor: float = 2.0
    aged_factor: float = 1.3
    grip_share: float = 1.0 / 3.0
    days: float = 30.0
    warm_c: float = 40.0
    wear: float = 0.85
    paint: float = 1.0
    ground_friction: float = 0.2


@dataclass(frozen=True)
class Grip:
    """The torque at which one joint slips, N·mm: as drawn, and the range of 90 % probability.

    new, aged, warm   aged is after ``days``, relaxed and worn; warm is new, at ``warm_c``
    measured          whether the fit comes from prints; else its interference is a guess
    """

    joint: str
    new: Spread
    aged: Spread
    warm: Spread
    measured: bool


def grips(kit: Kit, workshop: Workshop, wanted: HoldWanted) -> dict[str, Grip]:
    """Of every built joint with a friction torque, by name."""
    out = {}
    for joint in kit.joints:
        if joint.built and joint.hold_nmm is not None and joint.seated.spec.kind != "peg":
            out[joint.name] = _grip(joint, workshop, wanted)
    return out


def _grip(joint: BuiltJoint, workshop: Workshop, wanted: HoldWanted) -> Grip:
    material = workshop.material
    sd, measured = 0.05, False
    try:
        fit = joint.fit or workshop.fits.get(joint.seated.spec.kind, joint.size_mm or 1.0)
        sd, measured = fit.sd_mm, fit.n > 0
    except UsageError:
        pass  # a family without fits: the starter's spread
    relative = math.hypot(
        material.friction.sd / max(material.friction.value, 1e-6), material.modulus_mpa.sd / material.modulus_mpa.value
    )
    interference = max(0.0, -(joint.clearance_mm or 0.0))
    signed = -(joint.clearance_mm or 0.0)
    hold = joint.hold_nmm or 0.0
    slope = hold / interference if interference > 0.0 else slope_nmm_mm(joint, material.friction.value)
    new = torque_spread(hold, signed, sd, relative, slope).times(wanted.paint)
    kept = kept_after(wanted.days, min(1.0, material.kept_30_days.value)) * wanted.wear
    doubt = material.kept_30_days.sd / material.kept_30_days.value
    aged = torque_spread(hold, signed, sd, math.hypot(relative, doubt), slope).times(kept * wanted.paint)
    warm = new.times(kept_warm(wanted.warm_c, min(1.0, material.kept_40_c.value)))
    return Grip(joint.name, new, aged, warm, measured)


def slope_nmm_mm(joint: BuiltJoint, friction: float) -> float:
    """Torque per mm of interference of a ball or a swivel, from what flexes; 0 for a joint that tells nothing of it.

    A ball's band reaches to its lip, whose angle follows from the undercut: cos θ = (R − u)/(R + c).
    """
    if joint.stiffness_n_mm <= 0.0 or not joint.size_mm:
        return 0.0
    radius = 0.5 * joint.size_mm
    if joint.seated.spec.kind == "ball":
        cosine = (radius - joint.undercut_mm) / (radius + (joint.clearance_mm or 0.0))
        lip = math.degrees(math.acos(min(1.0, max(0.0, cosine))))
        if lip <= 0.0:
            return 0.0
        return band_swing_torque_nmm(band_pressure_mpa(joint.stiffness_n_mm, radius, lip), radius, lip, friction)
    if joint.seated.spec.kind == "swivel":
        return friction * joint.stiffness_n_mm * radius
    return 0.0
