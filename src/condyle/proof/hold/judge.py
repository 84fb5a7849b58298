"""Findings about holding: each joint in its worst pose, in its whole reach, and against its own strength."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from condyle.figure.kit import BuiltJoint
from condyle.finding import Finding, Verdict
from condyle.joints.mechanics.grip import Spread
from condyle.proof.hold.capacity import Grip, HoldWanted
from condyle.proof.hold.mend import Remedy
from condyle.proof.hold.worst import Worst
from condyle.proof.last.cross import Limb
from condyle.proof.last.loads import JointStrength


@dataclass(frozen=True)
class JointHold:
    """One joint's answer.

    pose     where its load is greatest, ``load_nmm`` there; low and high where statics leave a choice
    wanted_nmm  the torque as drawn that would be enough there, new and after the days
    """

    joint: str
    grip: Grip
    load_nmm: float
    low_nmm: float
    high_nmm: float
    pose: str
    worst: Worst | None
    remedies: tuple[Remedy, ...] = ()
    wanted_nmm: float = 0.0

    @property
    def factor(self) -> float | None:
        """Torque new over load; None where nothing loads it."""
        return self.grip.new.value / self.load_nmm if self.load_nmm > 0.0 else None


def verdict_of(factor: Spread, wanted: float, measured: bool) -> Verdict:
    """Pass where even the low end is enough, fail where even the high end is not.

    In between: what falls short as drawn is a caution; what is enough as drawn but not surely is unknown while its fit was never
    measured, and a caution once it was.
    """
    if factor.low >= wanted:
        return "pass"
    if factor.high < wanted:
        return "fail"
    if factor.value < wanted or measured:
        return "caution"
    return "unknown"


def hold_findings(
    hold: JointHold,
    joint: BuiltJoint,
    strength: JointStrength | None,
    wanted: HoldWanted,
    limbs: Sequence[Limb] = (),
) -> list[Finding]:
    """New, aged, over the whole reach, and not too strong for its own neck or for the limbs (those of the kit) on either side."""
    out = []
    place = joint.axles[0].centre
    coupon = f"print and feel the {joint.seated.spec.kind.replace('_', ' ')} coupon at {joint.size_mm:g} mm"
    tried = "; ".join(r.words for r in hold.remedies)
    for check, torque, target in (
        ("hold.new", hold.grip.new, wanted.new_factor),
        ("hold.aged", hold.grip.aged, wanted.aged_factor),
    ):
        if hold.load_nmm <= 1e-3:
            continue
        factor = torque.times(1.0 / hold.load_nmm)
        verdict = verdict_of(factor, target, hold.grip.measured)
        advice = ""
        if verdict != "pass":
            range_ = (
                f"{torque.value:.1f} N·mm ({torque.low:.1f} to {torque.high:.1f}) against a load of {hold.load_nmm:.2f} N·mm "
                f"in the pose {hold.pose}"
            )
            how = coupon if verdict == "unknown" else (tried or coupon)
            if check == "hold.aged":
                range_ = f"after {wanted.days:g} days, relaxed and worn: {range_}"
            else:
                range_ += f", at {wanted.warm_c:g} °C {hold.grip.warm.value:.1f}"
            advice = f"{range_}; {how}"
        out.append(Finding(check, hold.joint, verdict, round(factor.value, 3), target, "times the load", place, advice))
    if hold.worst is not None and hold.worst.found_nmm > 1e-3:
        factor = hold.grip.new.times(1.0 / hold.worst.found_nmm)
        slips = factor.value < 1.0
        out.append(
            Finding(
                "hold.reach",
                hold.joint,
                "caution" if slips else ("pass" if factor.low >= 1.0 or hold.grip.measured else "unknown"),
                round(factor.value, 3),
                1.0,
                "times the load",
                place,
                ""
                if factor.low >= 1.0
                else f"worst found in its reach {hold.worst.found_nmm:.2f} N·mm, never above {hold.worst.bound_nmm:.2f}; "
                + (f"it sinks there: {tried or coupon}" if slips else coupon),
            )
        )
    if strength is not None and hold.grip.new.value > 0.0:
        told = [strength.turning]
        for limb in limbs:
            if hold.joint in (limb.joint, limb.beyond):
                # A hand turns the joint by the limb's far end, so the moment falls off towards it.
                away = min(math.dist(limb.weakest.place, a.centre) for a in joint.axles)
                felt = max(0.05, 1.0 - away / limb.length_mm)
                told.append((min(limb.weakest.bending_nmm, limb.weakest.twist_nmm) / felt, limb.weakest))
        breaks, where = min(told, key=lambda t: t[0])
        share = hold.grip.new.value / breaks
        over = share > wanted.grip_share
        out.append(
            Finding(
                "hold.too_strong",
                hold.joint,
                "caution" if over else "pass",
                round(share, 3),
                round(wanted.grip_share, 3),
                "of what breaks it",
                where.place,
                f"turning it takes {hold.grip.new.value:.0f} N·mm and {where.part} breaks at {breaks:.0f} (±30 %): "
                f"clearance_mm = {_looser(joint, share, wanted.grip_share):.3f}, or sand the bearing"
                if over
                else "",
            )
        )
    return out


def weakest_finding(
    holds: Mapping[str, JointHold], joints: Mapping[str, BuiltJoint], wanted: HoldWanted
) -> Finding | None:
    """The joint of the whole figure with the least torque over load, in the pose that loads it most; None where none is loaded."""
    told = sorted((h.factor, n) for n, h in holds.items() if h.factor is not None and h.load_nmm > 1e-3)
    if not told:
        return None
    factor, name = told[0]
    hold = holds[name]
    verdict = verdict_of(hold.grip.new.times(1.0 / hold.load_nmm), wanted.new_factor, hold.grip.measured)
    return Finding(
        "hold.weakest",
        "figure",
        verdict,
        round(factor, 3),
        wanted.new_factor,
        f"times the load at {name} in the pose {hold.pose}",
        joints[name].axles[0].centre,
        "" if verdict == "pass" else f"the weakest joint is {name}: hold.new {name} says what would mend it",
    )


def _looser(joint: BuiltJoint, share: float, wanted: float) -> float:
    """The clearance at which the grip is the wanted share: torque goes straight with interference."""
    return (joint.clearance_mm or 0.0) * wanted / share


def weakest(loads: Mapping[str, float], grips: Mapping[str, Grip]) -> tuple[str | None, float | None]:
    """The joint with the least torque over load in one pose, and that factor; None where nothing is loaded."""
    told = [(grips[n].new.value / load, n) for n, load in sorted(loads.items()) if n in grips and load > 1e-3]
    if not told:
        return None, None
    factor, name = min(told)
    return name, factor
