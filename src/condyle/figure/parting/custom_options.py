"""The plan for a joint of the maker's own: one size, one side round, as its file says; and what is told about it."""

from __future__ import annotations

from collections.abc import Mapping

from condyle.figure.parting.asked import names_of, suits
from condyle.figure.parting.plan import Half, Lack, Plan, lack
from condyle.figure.parting.site import Site
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.finding import Finding
from condyle.joints import custom
from condyle.joints.design import Cut
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits


def customs(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    """The one plan of an own joint, or what it lacks."""
    own = joint.spec.custom
    if own is None:
        return [], [Lack(0.0, 0.0, 0.0, "no file is given for this joint of your own")]
    side = own.convex == "child"
    cup, knuckle = names_of(side)
    if own.radius_mm > most[cup]:
        told = f"its cut of {own.radius_mm:g} mm has room for {most[cup]:.1f} mm only beside the next joint"
        return [], [Lack(own.size_mm, own.radius_mm - most[cup], 0.0, told)]
    seen = site.seen_from(side)
    cut = Cut(own.shape, own.radius_mm, wish.kerf_mm or own.kerf_mm or kerf)
    shape = custom.shape(own)
    needs = custom.needs(shape, cut, stock)
    flare = wish.flare_mm or 0.0
    missing, z = lack(seen, needs)
    if seen.at(0.0).limb is None:
        return [], [Lack(own.size_mm, 9.0, 0.0, "the centre lies outside the sculpt")]
    if missing > flare:
        return [], [Lack(own.size_mm, missing, z)]
    half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
    liking = suits(own.size_mm, own.size_mm)
    plan = Plan(
        joint, "custom", own.size_mm, own.tested.clearance_mm, (half,), liking, "", min(flare, missing), 0.0,
        (own.name, own.size_mm),
    )  # fmt: skip
    return [plan], []


def tested_findings(plan: Plan, process: str) -> list[Finding]:
    """What an own joint's test says about this print: another process is another joint."""
    own = plan.joint.spec.custom
    if own is None:
        return []
    x, y, z = (float(v) for v in plan.joint.frame.origin)
    name = plan.joint.name
    same = own.tested.process == process
    out = [
        Finding(
            "joint.tested",
            name,
            "pass" if same else "caution",
            measured=own.tested.clearance_mm,
            unit="mm",
            place=(x, y, z),
            advice=""
            if same
            else f"this joint was tested in {own.tested.process} and is printed in {process}: its fit is a guess here; "
            "print one by itself first",
        )
    ]
    for motion in own.motions:
        wanted = plan.joint.spec.wanted.get(motion)
        if wanted is None:
            continue
        rest = plan.joint.rest.get(motion, 0.0)
        low, high = own.ranges[motion]
        short = max(low - (wanted[0] - rest), (wanted[1] - rest) - high)
        if short > 0.5:
            out.append(
                Finding(
                    "joint.range",
                    name,
                    "caution",
                    measured=high - low,
                    target=wanted[1] - wanted[0],
                    unit="°",
                    place=(x, y, z),
                    advice=f"{motion}: {short:.0f}° more is wanted than this joint was made for; "
                    f"ask for less with limits under [joints.{name}], or turn its zero",
                )
            )
    return out
