"""All plans that fit one joint's place, best liked first: every family, size, socket and side, against the sections."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from condyle.figure.parting.ball_options import balls
from condyle.figure.parting.custom_options import customs
from condyle.figure.parting.double_ball_options import double_balls
from condyle.figure.parting.hinge_options import double_hinges, hinges
from condyle.figure.parting.plan import Lack, Plan
from condyle.figure.parting.settle import limb_line
from condyle.figure.parting.site import Site, cut_frame
from condyle.figure.parting.turning_options import pegs, swivels
from condyle.figure.skeleton import MOTIONS, Kind, SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.frame import frame_from_zx
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_FIND = {
    "ball": balls,
    "hinge": hinges,
    "double_hinge": double_hinges,
    "swivel": swivels,
    "peg": pegs,
    "custom": customs,
}

# What a joint becomes where its own family finds no room, with what that costs in liking: a hinge keeps the bend, a
# swivel only the turn.
_INSTEAD: dict[Kind, tuple[tuple[Kind, float], ...]] = {
    "ball": (("hinge", 8.0), ("swivel", 12.0)),
    "double_hinge": (("hinge", 6.0),),
}
_STRAIGHT = 0.985
_LOOK_MM = ((-9.0, -1.0), (1.0, 9.0), (-5.0, 5.0))  # stretches of the limb whose middle line a swivel may follow


def options(
    site: Site,
    joint: SeatedJoint,
    wish: JointWish,
    fits: Fits,
    kerf_mm: float,
    most_mm: Mapping[str, float],
    stock: Stock,
) -> tuple[list[Plan], Lack]:
    """Plans for a joint, best first, and what the smallest size lacks (for the finding when there are none).

    ``most_mm`` is the largest radius that the cut may take beside its neighbours, by the side that is hollowed.
    """
    kind = wish.kind or joint.spec.kind
    kerf = wish.kerf_mm or kerf_mm
    if kind not in _FIND:
        return [], Lack(0.0, 0.0, 0.0, f"the family {kind} is not built in")
    find = double_balls if wish.insert == "double_ball" and kind == "ball" else _FIND[kind]
    plans, lacks = find(site, joint, wish, fits, kerf, most_mm, stock)
    plans.sort(key=lambda p: -p.liking)
    least = min(lacks, key=lambda found: (found.missing_mm, found.size_mm), default=Lack(0.0, 0.0, 0.0))
    return plans, least


def instead(
    site: Site,
    joint: SeatedJoint,
    wish: JointWish,
    fits: Fits,
    kerf_mm: float,
    most_mm: Mapping[str, float],
    stock: Stock,
) -> list[Plan]:
    """Plans of simpler families, for a joint whose own finds no room; none where the maker named a kind or a size.

    Only for joints that were found: one that the maker or a skinned file placed is the maker's to change.
    """
    if wish.kind is not None or wish.size_mm or joint.spec.size or joint.source != "seated":
        return []
    asked = joint.spec.kind
    plans: list[Plan] = []
    for kind, cost in _INSTEAD.get(asked, ()):
        wanted = {m: r for m, r in joint.spec.wanted.items() if m in MOTIONS[kind]}
        other = replace(joint, spec=replace(joint.spec, kind=kind, wanted=wanted))
        for placed, there in _along(other, site) if kind == "swivel" else [(other, site)]:
            found, _ = _FIND[kind](there, placed, wish, fits, wish.kerf_mm or kerf_mm, most_mm, stock)
            plans += [replace(p, liking=p.liking - cost, instead_of=asked) for p in found]
    return sorted(plans, key=lambda p: -p.liking)


def _along(joint: SeatedJoint, site: Site) -> list[tuple[SeatedJoint, Site]]:
    """The joint as a swivel about the limb's own line on the parent's side, and on the child's.

    Where the cut slants to the limb (shoulders, hips) the swivel turns about the cut axis, as it stands.
    """
    (x, y, z) = joint.cut_axis
    if float(joint.frame.z @ np.array([x, y, z])) < _STRAIGHT:
        return [(joint, site)]
    out = []
    for low, high in _LOOK_MM:
        line = limb_line(site, low, high)
        if line is None or float(line[1] @ site.frame.z) < 0.85:
            continue
        point, along = line
        origin = point + along * (0.4 * (low + high))
        axis = (float(along[0]), float(along[1]), float(along[2]))
        placed = replace(joint, frame=frame_from_zx(origin, along, joint.frame.x), cut_axis=axis)
        out.append((placed, site.moved(cut_frame(placed, origin))))
    return out
