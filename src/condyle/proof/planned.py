"""How a joint will be printed, in the words of the coupons, and which measurement of its fit counts then.

A coupon stands with its studs upright and the mouths of its sockets up; the link of a double hinge lies. How far a part lies
from that is told by the angle between its direction up and the joint's own axis: up to 30° upright, to 60° leaning, to 120°
lying, beyond that upside down. Of the parts of a joint the one that is furthest off speaks for it. Supports touch a joint when
a column begins or stands on its bearing faces. Where a fit was felt otherwise it is a first guess only.

fit.measured   felt under just these conditions: pass, with how many joints; unknown where it was felt, but otherwise
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from condyle.errors import UsageError
from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.wishes import JointWish
from condyle.finding import Finding
from condyle.geometry.mesh import FloatArray
from condyle.proof.print import PrintProof
from condyle.workshop.bench import Workshop
from condyle.workshop.fits import Fit

LINK_LIES = "link lying"
_WORDS = ((30.0, "upright"), (60.0, "leaning"), (120.0, "lying"), (180.0, "upside down"))
_CURED = "washed and cured"
_BEARING = 2  # of build/faces: show, hidden, bearing
_NEAR_SIZES = 0.9
_ELSEWHERE, _NEIGHBOUR = (
    "; but with ",
    "prior: moved as ",
)  # how a fit felt otherwise says so, and one that was never felt


def planned_build(joint: BuiltJoint, ups: Mapping[str, FloatArray]) -> str:
    """How the joint's parts stand against its coupon; ``ups``: each part's direction up, figure coordinates."""
    link = f"{joint.name}_link"
    off, link_off = 0.0, 0.0
    for axle, home in zip(joint.axles, joint.insertion, strict=True):
        for part, towards in ((axle.moves, np.array(home)), (axle.stays, -np.array(home))):
            tilt = float(np.degrees(np.arccos(np.clip(towards @ ups[part], -1.0, 1.0))))
            if part == link:
                link_off = max(link_off, abs(tilt - 90.0))
            else:
                off = max(off, tilt)
    words = next(w for most, w in _WORDS if off <= most + 1e-9)
    if joint.seated.spec.kind != "double_hinge" or words != "upright":
        return words
    return LINK_LIES if link_off <= _WORDS[0][0] else "link standing"


def planned_conditions(joint: BuiltJoint, printed: PrintProof, workshop: Workshop) -> dict[str, str]:
    """``build``, ``supports`` and ``cure`` of a joint as its parts are laid on the plate."""
    names = {n for a in joint.axles for n in (a.moves, a.stays)}
    ups = {n: printed.parts[n].orientation.direction for n in names}
    near = _NEAR_SIZES * (joint.size_mm or 0.0)
    touched = any(
        _BEARING in (c.touches, c.stands_on) and float(np.linalg.norm(np.array(c.place) - np.array(a.centre))) <= near
        for a in joint.axles
        for n in (a.moves, a.stays)
        for c in printed.parts[n].columns
    )
    cure = _CURED if workshop.printer.process == "resin" else ""
    return {
        "build": planned_build(joint, ups),
        "supports": "touching the joint" if touched else "none",
        "cure": cure,
    }


def planned_fit(joint: BuiltJoint, printed: PrintProof, workshop: Workshop, wish: JointWish) -> Fit | None:
    """The fit that counts for a joint as it will be printed; None for one without a fit, or not built."""
    if not joint.built or joint.size_mm is None or joint.seated.spec.custom is not None:
        return None
    try:
        known = (wish.fits or workshop.fits).get(joint.seated.spec.kind, joint.size_mm)
    except UsageError:
        return None
    return known.elsewhere(**planned_conditions(joint, printed, workshop))


def with_planned_fits(
    kit: Kit, printed: PrintProof, workshop: Workshop, wishes: Mapping[str, JointWish]
) -> tuple[Kit, tuple[Finding, ...]]:
    """The kit whose joints know the fit that counts for them, and what there is to say about it."""
    joints, findings = [], []
    for joint in kit.joints:
        fit = planned_fit(joint, printed, workshop, wishes.get(joint.name, JointWish()))
        joints.append(joint if fit is None else replace(joint, fit=fit))
        if fit is not None and (fit.n > 0 or (_ELSEWHERE in fit.source and _NEIGHBOUR not in fit.source)):
            findings.append(_finding(joint, fit, planned_conditions(joint, printed, workshop)))
    return replace(kit, joints=tuple(joints)), tuple(findings)


def _finding(joint: BuiltJoint, fit: Fit, planned: Mapping[str, str]) -> Finding:
    x, y, z = (float(v) for v in joint.seated.frame.origin)
    if fit.n > 0:
        return Finding("fit.measured", joint.name, "pass", float(fit.n), 1.0, "joints felt", (x, y, z))
    here = ", ".join(
        f"{key} {value}" for key, value in planned.items() if value and getattr(fit, key) and getattr(fit, key) != value
    )
    felt = ", ".join(
        v for v in (fit.material, fit.build, f"supports {fit.supports}" if fit.supports else "", fit.cure) if v
    )
    words = here or "another material"
    advice = (
        f"its clearance was felt otherwise ({felt}) and is a first guess here ({words}), ±{fit.spread_mm:.2f} mm (1 sd): "
        "print its coupon this way and say so in the sheet, or lay its parts as the coupon stood ([parts.NAME] up)"
    )
    return Finding("fit.measured", joint.name, "unknown", 0.0, 1.0, "joints felt", (x, y, z), advice)
