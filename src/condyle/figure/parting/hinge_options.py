"""Plans for hinges and double hinges that fit a joint's place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import product

import numpy as np

from condyle.figure.parting.asked import ROUND, SLIDES_MM, clearance_of, flat, names_of, sides, sizes, slid, suits
from condyle.figure.parting.plan import Half, Lack, Plan, lack
from condyle.figure.parting.settle import limb_line
from condyle.figure.parting.site import Prospect, Site
from condyle.figure.skeleton import Range, SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.frame import Frame, frame_from_zx, unit
from condyle.joints import double_hinge, hinge
from condyle.joints.design import Cut
from condyle.joints.hinge import Pin
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_ROUNDNESS = (ROUND, 1.0)


def _swing(joint: SeatedJoint, wish: JointWish, share: float) -> Range:
    """What the child's flexion needs of the slot, from the sculpt's own pose, with two degrees to spare at each end."""
    wanted = (wish.wanted or joint.spec.wanted).get("flex", (0.0, 90.0))
    rest = joint.rest.get("flex", 0.0)
    low = float(np.clip((wanted[0] - rest) * share, -100.0, 0.0))
    high = float(np.clip((wanted[1] - rest) * share, 0.0, 110.0))
    return low - 2.0, high + 2.0


def _half_hinge(
    seen: Prospect,
    shape: hinge.HingeShape,
    names: tuple[str, str],
    swing: Range,
    kerf: float,
    most: Mapping[str, float],
    stock: Stock,
    roundness: float,
    detent_deg: float,
) -> tuple[Half, float, float, float] | Lack:
    """One hinge; also what it lacks, where, and how much wider the limb is than a fully round cut."""
    there = seen.at(0.0)
    if there.limb is None:
        return Lack(shape.size, 9.0, 0.0, "the axis lies outside the sculpt")
    deep = float(np.abs(there.limb.bounds[:, 1]).max())
    least = hinge.smallest_cut_mm(shape, stock)
    radius = max(least, min(roundness * deep, most[names[0]]))
    cut = Cut("cylinder", round(radius, 2), kerf)
    skin = (there.limb.span((0, 0), (-1, 0)), there.limb.span((0, 0), (1, 0)))
    needs = hinge.needs(shape, cut, stock)
    missing, z = lack(seen, needs)
    half = Half(
        seen, seen.frame, names[0], names[1], shape, cut, needs, swing, skin, _inner_side(seen.frame), detent_deg
    )
    return half, missing, z, max(0.0, ROUND * deep - radius)


def _inner_side(frame: Frame) -> int:
    """The side, in x, that looks to the figure's midline, where a pin's mouth is seen least."""
    return -1 if float(frame.x[1]) * float(frame.origin[1]) > 0 else 1


def hinges(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    for side in sides(wish, joint):
        seen = site.seen_from(side)
        low, high = _swing(joint, wish, 1.0)
        ideal = 1.4 * seen.inradius_mm(0.0)
        # The tongue turns against the knuckle: the other way round when the knuckle is what moves.
        swing = (-high, -low) if side else (low, high)
        for size, roundness in product(sizes(hinge.SIZES_MM, wish, joint), _ROUNDNESS):
            shape = hinge.shape(size, _pin(wish, stock), stock)
            found = _half_hinge(seen, shape, names_of(side), swing, kerf, most, stock, roundness, joint.spec.detent_deg)
            if isinstance(found, Lack) or found[1] > flare:
                lacks.append(found if isinstance(found, Lack) else Lack(size, found[1], found[2]))
                continue
            half, missing, _, wide = found
            liking = suits(size, ideal, 1.6) - flat(wide) - 0.1 * (not side)
            clearance = clearance_of(wish, fits, "hinge", size)
            if wish.clearance_mm is None:
                clearance = hinge.gentle_mm(shape, clearance, half.skin_mm, stock)
            plans.append(
                Plan(
                    joint,
                    "hinge",
                    size,
                    clearance,
                    (half,),
                    liking,
                    "",
                    min(flare, missing),
                    wide,
                    (size, side, roundness),
                )
            )
    return plans, lacks


def _pin(wish: JointWish, stock: Stock) -> Pin:
    return wish.pin or ("filament" if stock.process == "filament" else "metal")


def double_hinges(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    low, high = _swing(joint, wish, 0.5)
    lines: dict[float, tuple[Site, Site]] = {}
    ideal = 1.4 * site.at(0.0).inradius_mm
    slides = SLIDES_MM[:7] if joint.source == "seated" else (0.0,)
    for size, slide, roundness in product(sizes(double_hinge.SIZES_MM, wish, joint), slides, _ROUNDNESS):
        shape = hinge.shape(size, _pin(wish, stock), stock)
        half_gap = 0.5 * math.ceil(double_hinge.spacing_mm(shape, stock))
        # Sections are taken on a grid of whole millimetres, so a half one shifts the grid.
        half = half_gap % 1.0
        if half not in lines:
            lines[half] = _lines_of_link(site, half)
        upper_site = Site.seeing(lines[half][0], slide - (half_gap - half))
        lower_site = Site.seeing(lines[half][1], slide + (half_gap - half))
        # Each axle turns half of the way, so it rests at half of the steps.
        step = 0.5 * joint.spec.detent_deg
        # Seen from the link, both cups lie at -z: the parent's below the first axis, the child's beyond the second.
        upper = _half_hinge(
            upper_site.seen_from(True), shape, ("parent", "link"), (-high, -low), kerf, most, stock, roundness, step
        )
        lower = _half_hinge(
            lower_site.seen_from(False), shape, ("child", "link"), (low, high), kerf, most, stock, roundness, step
        )
        for found in (upper, lower):
            if isinstance(found, Lack):
                lacks.append(found)
            elif found[1] > flare:
                lacks.append(Lack(size, found[1], found[2]))
        if isinstance(upper, Lack) or isinstance(lower, Lack) or max(upper[1], lower[1]) > flare:
            continue
        wide = max(upper[3], lower[3])
        clearance = clearance_of(wish, fits, "double_hinge", size)
        if wish.clearance_mm is None:
            clearance = max(double_hinge.gentle_mm(shape, clearance, h[0].skin_mm, stock) for h in (upper, lower))
        missing = min(flare, max(upper[1], lower[1]))
        liking = suits(size, ideal, 1.6) - flat(wide) - 0.3 * abs(slide)
        placed = slid(joint, site, slide)
        plans.append(
            Plan(
                placed,
                "double_hinge",
                size,
                clearance,
                (upper[0], lower[0]),
                liking,
                "",
                missing,
                wide,
                (size, slide, roundness),
            )
        )
    return plans, lacks


def _lines_of_link(site: Site, apart_mm: float) -> tuple[Site, Site]:
    """Sites for the two cuts of a double hinge: each along the limb on its own side, both with the joint's x.

    A sculpt rarely stands with straight elbows: the link takes up the bend. Each starts ``apart_mm`` from the joint.
    """
    found = []
    for sign in (-1.0, 1.0):
        origin, z = site.frame.origin, site.frame.z
        line = limb_line(site, *sorted((sign * 1.0, sign * 9.0)))
        if line is not None and float(line[1] @ z) > 0.85:
            point, direction = line
            z = unit(direction - site.frame.x * float(direction @ site.frame.x))
            origin = point - direction * (float((point - site.frame.origin) @ z) / float(direction @ z))
        found.append(site.moved(frame_from_zx(origin + z * (sign * apart_mm), z, site.frame.x)))
    return found[0], found[1]
