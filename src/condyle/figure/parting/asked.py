"""What was asked of a joint, and how much an answer is liked: shared by the families' options."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from condyle.figure.parting.site import Site, cut_frame
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.joints.ball import LIP_MM
from condyle.workshop.fits import Fits

ROUND = 1.1  # the cut's radius over the limb's, so that the round end meets the skin at an angle and not along it
HAND_N = 40.0  # what a hand pushes without a tool
SLIDES_MM = (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 4.0, -4.0)


def suits(size: float, ideal: float, weight: float = 1.2) -> float:
    """How well a size suits its limb: too small is a weak joint, too large eats the limb for nothing."""
    return -weight * max(0.0, ideal - size) - 0.3 * max(0.0, size - ideal)


def flat(wide_mm: float) -> float:
    """A flange, however narrow, stops the joint from tilting; a wide one also eats the limb."""
    return 0.3 * wide_mm + (2.5 if wide_mm > 0.5 else 0.0)


def sizes(series: tuple[float, ...], wish: JointWish, joint: SeatedJoint) -> tuple[float, ...]:
    """The series from large to small, or the one size that was asked for."""
    asked = wish.size_mm or joint.spec.size
    return (asked,) if asked else tuple(sorted(series, reverse=True))


def sides(wish: JointWish, joint: SeatedJoint) -> tuple[bool, ...]:
    """Whether the knuckle may be the child (True), the parent (False), in order of liking."""
    asked = wish.convex or joint.spec.convex
    return (True, False) if asked is None else (asked == "child",)


def names_of(knuckle_is_child: bool) -> tuple[str, str]:
    return ("parent", "child") if knuckle_is_child else ("child", "parent")


def clearance_of(wish: JointWish, fits: Fits, kind: str, size: float) -> float:
    return (wish.fits or fits).get(kind, size).clearance_mm if wish.clearance_mm is None else wish.clearance_mm


def slid(joint: SeatedJoint, site: Site, slide_mm: float) -> SeatedJoint:
    """The joint moved along its limb."""
    origin = site.frame.to_outer(np.array([0.0, 0.0, slide_mm]))
    return replace(joint, frame=replace(joint.frame, origin=origin))


def shifted(joint: SeatedJoint, site: Site, slide_mm: float) -> tuple[SeatedJoint, Site] | None:
    """The joint moved along its cut axis and back into the limb's middle, with its site; None where there is no limb.

    The middle is that of the largest inscribed circle, where it lies within that circle's radius of the axis: further
    off it belongs to a branch.
    """
    limb = site.at(slide_mm).limb
    if limb is None:
        return None
    middle, radius = limb.inscribed_circle()
    if float(np.linalg.norm(middle)) > radius:
        return None
    origin = site.frame.to_outer(np.array([middle[0], middle[1], slide_mm]))
    placed = replace(joint, frame=replace(joint.frame, origin=origin))
    return placed, site.moved(cut_frame(placed, origin))


def low_lip(undercut_mm: float) -> float:
    """How much a lip is disliked that the printer's own error may swallow."""
    return 0.0 if undercut_mm >= LIP_MM else 1.0 + 40.0 * (LIP_MM - undercut_mm) + 200.0 * max(0.0, 0.04 - undercut_mm)
