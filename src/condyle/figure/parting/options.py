"""All plans that fit one joint's place, best liked first: every family, size, socket and side, against the sections."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import product

import numpy as np

from condyle.figure.parting.plan import Half, Lack, Plan, lack
from condyle.figure.parting.settle import limb_line
from condyle.figure.parting.site import Prospect, Site
from condyle.figure.skeleton import Range, SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.frame import Frame, frame_from_zx, unit
from condyle.joints import ball, double_hinge, hinge, peg, swivel
from condyle.joints.design import Cut
from condyle.joints.hinge import Pin
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_ROUND = 1.1  # the cut's radius over the limb's, so that the round end meets the skin at an angle and not along it
_ROUNDNESS = (_ROUND, 1.0)
_SLIDES_MM = (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 4.0, -4.0)
_SOCKET_LIKING = {"slit": 2.0, "split": 0.0, "plain": -3.0}
_HAND_N = 40.0  # what a hand pushes without a tool


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
    find = {"ball": _balls, "hinge": _hinges, "double_hinge": _double_hinges, "swivel": _swivels, "peg": _pegs}
    if kind not in find:
        return [], Lack(0.0, 0.0, 0.0, f"the family {kind} is not built in")
    plans, lacks = find[kind](site, joint, wish, fits, kerf, most_mm, stock)
    plans.sort(key=lambda p: -p.liking)
    least = min(lacks, key=lambda found: found.missing_mm, default=Lack(0.0, 0.0, 0.0))
    return plans, least


def _suits(size: float, ideal: float, weight: float = 1.2) -> float:
    """How well a size suits its limb: too small is a weak joint, too large eats the limb for nothing."""
    return -weight * max(0.0, ideal - size) - 0.3 * max(0.0, size - ideal)


def _flat(wide_mm: float) -> float:
    """A flange, however narrow, stops the joint from tilting; a wide one also eats the limb."""
    return 0.3 * wide_mm + (2.5 if wide_mm > 0.5 else 0.0)


def _sizes(series: tuple[float, ...], wish: JointWish, joint: SeatedJoint) -> tuple[float, ...]:
    """The series from large to small, or the one size that was asked for."""
    asked = wish.size_mm or joint.spec.size
    return (asked,) if asked else tuple(sorted(series, reverse=True))


def _sides(wish: JointWish, joint: SeatedJoint) -> tuple[bool, ...]:
    """Whether the knuckle may be the child (True), the parent (False), in order of liking."""
    asked = wish.convex or joint.spec.convex
    return (True, False) if asked is None else (asked == "child",)


def _names(knuckle_is_child: bool) -> tuple[str, str]:
    return ("parent", "child") if knuckle_is_child else ("child", "parent")


def _clearance(wish: JointWish, fits: Fits, kind: str, size: float) -> float:
    return fits.get(kind, size).clearance_mm if wish.clearance_mm is None else wish.clearance_mm


@lru_cache(maxsize=4096)
def _ball_shape(
    size: float, socket: ball.Socket, clearance: float, limb: float, stock: Stock, jaw: float
) -> ball.BallShape | None:
    return ball.shape(size, socket, clearance, limb, stock, jaw)


@lru_cache(maxsize=1024)
def _swivel_shape(size: float, clearance: float, stock: Stock, reach: float) -> swivel.SwivelShape | None:
    return swivel.shape(size, clearance, stock, reach)


def _balls(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    sockets: tuple[ball.Socket, ...] = (wish.socket,) if wish.socket else ("slit", "split", "plain")
    for side in _sides(wish, joint):
        seen = site.seen_from(side)
        cup, knuckle = _names(side)
        middle = [s for s in seen.between(-1.0, 1.0) if s.limb is not None]
        if not middle:
            lacks.append(Lack(0.0, 9.0, 0.0, "the centre lies outside the sculpt"))
            continue
        limb = round(min(s.inradius_mm for s in middle), 1) + flare
        reach = seen.at(0.0).reach_mm or limb
        forms = [(s, jaw) for s in sockets for jaw in (ball.JAWS if s == "split" else ball.JAWS[:1])]
        for socket, jaw in forms:
            for size in _sizes(ball.SIZES_MM, wish, joint):
                if size > 2.4 * limb:
                    continue
                clearance = _clearance(wish, fits, "ball", size)
                shape = _ball_shape(size, socket, clearance, limb, stock, jaw)
                if shape is None:
                    continue
                if socket == "split" and _too_wide_to_split(seen, shape.root_z, limb):
                    continue
                least = ball.smallest_cut_mm(shape, stock)
                wanted = max(least, min(_ROUND * reach, most[cup], 3.2 * size, 2.2 * limb))
                for share in (1.0, 0.5, 0.0):
                    radius = round(least + share * (wanted - least), 2)
                    cut = Cut("sphere", radius, kerf)
                    needs = ball.needs(shape, cut, stock)
                    missing, z = lack(seen, needs)
                    if missing > flare:
                        lacks.append(Lack(size, missing, z))
                        continue
                    wide = max(0.0, _ROUND * reach - radius)
                    # A lip lower than the printer's own error is no lip.
                    liking = (
                        -200.0 * max(0.0, 0.04 - shape.undercut)
                        - _running_off(seen, radius)
                        + _suits(size, min(1.2 * limb, 10.0))
                        + _SOCKET_LIKING[socket]
                        - _flat(wide)
                    )
                    liking -= (
                        0.5 * (1.4 - jaw)
                        + 3.0 * (shape.passing_n > _HAND_N)
                        + 0.1 * (not side)
                        + 3.0 * (radius > most[cup])
                    )
                    half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
                    plans.append(
                        Plan(
                            joint,
                            "ball",
                            size,
                            clearance,
                            (half,),
                            liking,
                            socket,
                            min(flare, missing),
                            wide,
                            (size, socket, jaw, side, share),
                        )
                    )
    return plans, lacks


def _too_wide_to_split(seen: Prospect, root_z: float, limb: float) -> bool:
    """A slit through a limb makes two jaws; through a shoulder girdle it would make a wound."""
    return any(s.limb is None or s.reach_mm > 2.6 * limb for s in seen.between(0.0, 0.5 * root_z))


def _running_off(seen: Prospect, radius: float) -> float:
    """How much further from the joint (mm) than on an even limb the cut leaves the skin.

    On a limb that widens away from the joint a large round cut comes out far from it, through a face or a belly.
    """
    for height in np.arange(0.0, radius, 1.0):
        if seen.inradius_mm(-float(height)) >= math.sqrt(radius**2 - height**2):
            return max(0.0, float(height) - 0.75 * radius)
    return 0.25 * radius


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
    half = Half(seen, seen.frame, names[0], names[1], shape, cut, needs, swing, skin, _inner_side(seen.frame))
    return half, missing, z, max(0.0, _ROUND * deep - radius)


def _inner_side(frame: Frame) -> int:
    """The side, in x, that looks to the figure's midline, where a pin's mouth is seen least."""
    return -1 if float(frame.x[1]) * float(frame.origin[1]) > 0 else 1


def _hinges(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    for side in _sides(wish, joint):
        seen = site.seen_from(side)
        low, high = _swing(joint, wish, 1.0)
        ideal = 1.4 * seen.inradius_mm(0.0)
        # The tongue turns against the knuckle: the other way round when the knuckle is what moves.
        swing = (-high, -low) if side else (low, high)
        for size, roundness in product(_sizes(hinge.SIZES_MM, wish, joint), _ROUNDNESS):
            shape = hinge.shape(size, _pin(wish, stock), stock)
            found = _half_hinge(seen, shape, _names(side), swing, kerf, most, stock, roundness)
            if isinstance(found, Lack) or found[1] > flare:
                lacks.append(found if isinstance(found, Lack) else Lack(size, found[1], found[2]))
                continue
            half, missing, _, wide = found
            liking = _suits(size, ideal, 1.6) - _flat(wide) - 0.1 * (not side)
            clearance = _clearance(wish, fits, "hinge", size)
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


def _double_hinges(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    low, high = _swing(joint, wish, 0.5)
    lines = _lines_of_link(site)
    ideal = 1.4 * site.at(0.0).inradius_mm
    slides = _SLIDES_MM[:5] if joint.source == "seated" else (0.0,)
    for size, slide, roundness in product(_sizes(double_hinge.SIZES_MM, wish, joint), slides, _ROUNDNESS):
        shape = hinge.shape(size, _pin(wish, stock), stock)
        # To the grid that sections are taken on.
        half_gap = math.ceil(0.5 * double_hinge.spacing_mm(shape, stock))
        upper_site = Site.seeing(lines[0], slide - half_gap)
        lower_site = Site.seeing(lines[1], slide + half_gap)
        # Seen from the link, both cups lie at -z: the parent's below the first axis, the child's beyond the second.
        upper = _half_hinge(
            upper_site.seen_from(True), shape, ("parent", "link"), (-high, -low), kerf, most, stock, roundness
        )
        lower = _half_hinge(
            lower_site.seen_from(False), shape, ("child", "link"), (low, high), kerf, most, stock, roundness
        )
        for found in (upper, lower):
            if isinstance(found, Lack):
                lacks.append(found)
            elif found[1] > flare:
                lacks.append(Lack(size, found[1], found[2]))
        if isinstance(upper, Lack) or isinstance(lower, Lack) or max(upper[1], lower[1]) > flare:
            continue
        wide = max(upper[3], lower[3])
        clearance = _clearance(wish, fits, "double_hinge", size)
        missing = min(flare, max(upper[1], lower[1]))
        liking = _suits(size, ideal, 1.6) - _flat(wide) - 0.3 * abs(slide)
        placed = _slid(joint, site, slide)
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


def _slid(joint: SeatedJoint, site: Site, slide_mm: float) -> SeatedJoint:
    """The joint moved along its limb."""
    origin = site.frame.to_outer(np.array([0.0, 0.0, slide_mm]))
    return replace(joint, frame=replace(joint.frame, origin=origin))


def _lines_of_link(site: Site) -> tuple[Site, Site]:
    """Sites for the two cuts of a double hinge: each along the limb on its own side, both with the joint's x.

    A sculpt rarely stands with straight elbows: the link takes up the bend.
    """
    found = []
    for sign in (-1.0, 1.0):
        origin, z = site.frame.origin, site.frame.z
        line = limb_line(site, *sorted((sign * 1.0, sign * 9.0)))
        if line is not None and float(line[1] @ z) > 0.85:
            point, direction = line
            z = unit(direction - site.frame.x * float(direction @ site.frame.x))
            origin = point - direction * (float((point - site.frame.origin) @ z) / float(direction @ z))
        found.append(site.moved(frame_from_zx(origin, z, site.frame.x)))
    return found[0], found[1]


def _swivels(
    site: Site,
    joint: SeatedJoint,
    wish: JointWish,
    fits: Fits,
    kerf: float,
    most: Mapping[str, float],
    stock: Stock,
) -> tuple[list[Plan], list[Lack]]:
    """Swivels turn about the limb itself, so a found one may also slide along it to where its neighbours leave room."""
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    cut = Cut("plane", 0.0, kerf)
    slides = _SLIDES_MM if joint.source == "seated" else (0.0,)
    for slide in slides:
        there = Site.seeing(site, slide)
        ideal = 0.9 * there.at(0.0).inradius_mm
        placed = _slid(joint, site, slide)
        for side in _sides(wish, joint):
            seen = there.seen_from(side)
            cup, knuckle = _names(side)
            for size in _sizes(swivel.SIZES_MM, wish, joint):
                clearance = _clearance(wish, fits, "swivel", size)
                for reach in swivel.REACHES:
                    shape = _swivel_shape(size, clearance, stock, reach)
                    if shape is None:
                        continue
                    needs = swivel.needs(shape, cut, stock)
                    missing, z = lack(seen, needs)
                    if missing > flare:
                        lacks.append(Lack(size, missing, z))
                        continue
                    half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
                    liking = _suits(size, ideal, 0.8) - 0.1 * (not side) - 0.3 * abs(slide) - 0.8 * (1.5 - reach)
                    plans.append(
                        Plan(
                            placed,
                            "swivel",
                            size,
                            clearance,
                            (half,),
                            liking,
                            "",
                            min(flare, missing),
                            0.0,
                            (size, reach, side, slide),
                        )
                    )
    return plans, lacks


def _pegs(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    cut = Cut("plane", 0.0, kerf)
    for side in _sides(wish, joint):
        seen = site.seen_from(side)
        for size in _sizes(peg.SIZES_MM, wish, joint):
            shape = peg.shape(size)
            needs = peg.needs(shape, cut, stock)
            missing, z = lack(seen, needs)
            if missing > flare:
                lacks.append(Lack(size, missing, z))
                continue
            cup, knuckle = _names(side)
            half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
            clearance = _clearance(wish, fits, "peg", size)
            liking = _suits(size, 0.9 * seen.inradius_mm(0.0))
            plans.append(
                Plan(
                    joint,
                    "peg",
                    size,
                    clearance,
                    (half,),
                    liking,
                    "",
                    min(flare, missing),
                    0.0,
                    (size, side),
                )
            )
    return plans, lacks
