"""Plans for a double ball: a link with a ball at either end between a socket in the parent and one in the child.

The link is shaped from the sculpt between two round cuts, so the joint stays closed; it snaps out of both sockets and
can be printed again by itself. It turns half of every angle at each end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from condyle.figure.parting.asked import ROUND, clearance_of, flat, sizes, suits
from condyle.figure.parting.plan import Half, Lack, Plan, lack
from condyle.figure.parting.site import Site
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.joints import ball
from condyle.joints.design import Cut, Need
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_SOCKET_LIKING = {"slit": 2.0, "split": 0.0, "plain": -3.0}


def double_balls(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    """Every size and socket whose two balls and the link between them find room about the joint's place."""
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    here = site.at(0.0)
    if here.limb is None:
        return [], [Lack(0.0, 9.0, 0.0, "the centre lies outside the sculpt")]
    sockets: tuple[ball.Socket, ...] = (wish.socket,) if wish.socket else ("slit", "split")
    for size in sizes(ball.SIZES_MM, wish, joint):
        for socket in sockets:
            limb = round(here.inradius_mm, 1) + flare
            if size > 2.4 * limb:
                lacks.append(Lack(size, 0.5 * size + stock.wall_mm - limb, 0.0))
                continue
            clearance = clearance_of(wish, fits, "ball", size)
            shape = ball.shape(size, socket, clearance, limb, stock)
            if shape is None:
                continue
            least = ball.smallest_cut_mm(shape, stock)
            wanted = max(least, min(ROUND * here.reach_mm, 2.2 * limb))
            for share in (1.0, 0.5, 0.0):
                radius = round(least + share * (wanted - least), 2)
                found = _pair(site, shape, Cut("sphere", radius, kerf), stock)
                missing, z = max((lack(h.prospect, h.needs) for h in found), key=lambda f: f[0])
                if missing > flare:
                    lacks.append(Lack(size, missing, z))
                    continue
                wide = max(0.0, ROUND * here.reach_mm - radius)
                liking = suits(size, min(1.2 * limb, 10.0)) + _SOCKET_LIKING[socket] - flat(wide)
                liking -= 3.0 * (radius > min(most.values()))
                plans.append(
                    Plan(
                        joint, "ball", size, clearance, found, liking, socket, min(flare, missing), wide,
                        (size, socket, share, "double"),
                    )
                )  # fmt: skip
    return plans, lacks


def _pair(site: Site, shape: ball.BallShape, cut: Cut, stock: Stock) -> tuple[Half, Half]:
    """The parent's ball and the child's, as far apart as the link between their cups needs."""
    thick = max(2.5 * stock.wall_mm, 1.5 * shape.neck + 0.4)
    # To the grid that sections are taken on.
    off = math.ceil(cut.cup_mm + 0.5 * thick)
    halves = []
    for knuckle_is_child, knuckle in ((False, "parent"), (True, "child")):
        seen = Site.seeing(site, off if knuckle_is_child else -off).seen_from(knuckle_is_child)
        halves.append(Half(seen, seen.frame, "link", knuckle, shape, cut, _needs(shape, cut, off, stock)))
    return halves[0], halves[1]


def _needs(shape: ball.BallShape, cut: Cut, off: float, stock: Stock) -> tuple[Need, ...]:
    """As for one ball, but the neck's root is sought in the link alone."""
    own = [n for n in ball.needs(shape, cut, stock) if n.z1 > -cut.cup_mm]
    root = shape.neck + 0.6 * stock.wall_mm
    return (*own, Need(-float(off), -cut.cup_mm - 0.3, root, root))
