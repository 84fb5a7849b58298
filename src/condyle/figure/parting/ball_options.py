"""Plans for ball joints that fit a joint's place: every socket, jaw, size, side and cut, and places along the limb."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np

from condyle.figure.parting.asked import (
    HAND_N,
    ROUND,
    SLIDES_MM,
    clearance_of,
    flat,
    low_lip,
    names_of,
    shifted,
    sides,
    sizes,
    suits,
)
from condyle.figure.parting.plan import Half, Lack, Plan, lack
from condyle.figure.parting.site import Prospect, Site
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.joints import ball
from condyle.joints.design import Cut
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_SOCKET_LIKING = {"slit": 2.0, "split": 0.0, "plain": -3.0}
# With a ball of this size that lets go before it breaks there is no need to look further along the limb.
_ENOUGH_MM = 4.0
_BREAKS = 0.75  # from this share of what breaks its neck on, a ball that is levered out is as likely to break
_STEPS = 7


def _shape(
    size: float, socket: ball.Socket, clearance: float, limb: float, stock: Stock, jaw: float
) -> ball.BallShape | None:
    # The fingers of a slit socket stand free inside their ring: how thick the limb is around it is nothing to them.
    return _kept(size, socket, clearance, 0.0 if socket == "slit" else limb, stock, jaw)


@lru_cache(maxsize=4096)
def _kept(
    size: float, socket: ball.Socket, clearance: float, limb: float, stock: Stock, jaw: float
) -> ball.BallShape | None:
    return ball.shape(size, socket, clearance, limb, stock, jaw)


def balls(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    """Balls where the joint was seated; a found joint of a thin limb may also move along it."""
    plans: list[Plan] = []
    lacks: list[Lack] = []
    for placed, there, slide in _places(joint, site):
        plans += _here(placed, there, slide, wish, fits, kerf, most, stock, lacks)
        # Else every place is looked at, so that left and right find the same one.
        if slide == 0.0 and any(p.size_mm >= _ENOUGH_MM and _pop_share(p) <= _BREAKS for p in plans):
            break
    return plans, lacks


def _places(joint: SeatedJoint, site: Site) -> Iterator[tuple[SeatedJoint, Site, float]]:
    yield joint, site, 0.0
    # A shoulder or hip does not lie along its cut axis: it was put at the narrowest section already.
    if joint.source != "seated" or float(np.asarray(joint.cut_axis) @ joint.frame.z) < 0.985:
        return
    for slide in SLIDES_MM[1:_STEPS]:
        moved = shifted(joint, site, slide)
        if moved is not None:
            yield *moved, slide


def _here(
    joint: SeatedJoint,
    site: Site,
    slide: float,
    wish: JointWish,
    fits: Fits,
    kerf: float,
    most: Mapping[str, float],
    stock: Stock,
    lacks: list[Lack],
) -> list[Plan]:
    plans: list[Plan] = []
    flare = wish.flare_mm or 0.0
    sockets: tuple[ball.Socket, ...] = (wish.socket,) if wish.socket else ("slit", "split", "plain")
    for side in sides(wish, joint):
        seen = site.seen_from(side)
        cup, knuckle = names_of(side)
        middle = [s for s in seen.between(-1.0, 1.0) if s.limb is not None]
        if not middle:
            lacks.append(Lack(0.0, 9.0, 0.0, "the centre lies outside the sculpt"))
            continue
        limb = round(min(s.inradius_mm for s in middle), 1) + flare
        reach = seen.at(0.0).reach_mm or limb
        forms = [(s, jaw) for s in sockets for jaw in (ball.JAWS if s == "split" else ball.JAWS[:1])]
        for socket, jaw in forms:
            for size in sizes(ball.SIZES_MM, wish, joint):
                if size > 2.4 * limb:
                    lacks.append(Lack(size, 0.5 * size + stock.wall_mm - limb, 0.0))
                    continue
                clearance = clearance_of(wish, fits, "ball", size)
                shape = _shape(size, socket, clearance, limb, stock, jaw)
                if shape is None:
                    continue
                if socket == "split" and _too_wide_to_split(seen, shape.root_z, limb):
                    continue
                least = ball.smallest_cut_mm(shape, stock)
                wanted = max(least, min(ROUND * reach, most[cup], 3.2 * size, 2.2 * limb))
                for share in (1.0, 0.5, 0.0):
                    radius = round(least + share * (wanted - least), 2)
                    cut = Cut("sphere", radius, kerf)
                    needs = ball.needs(shape, cut, stock)
                    missing, z = lack(seen, needs)
                    if missing > flare:
                        lacks.append(Lack(size, missing, z))
                        continue
                    wide = max(0.0, ROUND * reach - radius)
                    liking = (
                        -low_lip(shape.undercut)
                        - _running_off(seen, radius)
                        + suits(size, min(1.2 * limb, 10.0), 2.4 if joint.spec.side == "middle" else 1.2)
                        + _SOCKET_LIKING[socket]
                        - flat(wide)
                        - 0.5 * abs(1.4 - jaw)
                        - 3.0 * (shape.passing_n > HAND_N)
                        - _breaks_first(shape.pop_share)
                        - 0.1 * (not side)
                        - 3.0 * (radius > most[cup])
                        - 0.5 * abs(slide)
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
                            (size, socket, jaw, side, share, slide),
                        )
                    )
    return plans


def _pop_share(plan: Plan) -> float:
    shape = plan.halves[0].shape
    return shape.pop_share if isinstance(shape, ball.BallShape) else 0.0


def _breaks_first(share: float) -> float:
    """How much a ball is disliked whose neck may break before its socket lets go: two for each doubling over half, three at
    most, for one that surely breaks breaks whatever its share is."""
    return min(3.0, 2.0 * max(0.0, math.log2(share / 0.5)))


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
