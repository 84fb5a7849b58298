"""Plans for ball joints that fit a joint's place: every socket, jaw, size, side and cut, and places along the limb."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
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
from condyle.joints import ball, insert
from condyle.joints.design import Cut
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_SOCKET_LIKING = {"slit": 2.0, "split": 0.0, "plain": -3.0}
# A stud of its own is a part more, a seam, and flesh for its peg; a thick neck costs tilt, 10 degrees for a tenth of the ball.
_STUD, _TILT = 1.0, 10.0
_LARGE_ENOUGH = (
    0.6  # of the limb's radius: for smaller balls no gentler grip is looked for, a larger one is liked better
)
# With a ball of this size that lets go before it breaks there is no need to look further along the limb.
_ENOUGH_MM = 4.0
_BREAKS = 0.75  # from this share of what breaks its neck on, a ball that is levered out is as likely to break
_STEPS = 7


@dataclass(frozen=True)
class _Form:
    """A socket with how far its jaws, or its long fingers, run behind the ball's middle (ball diameters)."""

    socket: ball.Socket
    jaw: float = ball.JAWS[0]
    depth: float = 0.0


def _forms(sockets: Iterable[ball.Socket]) -> list[_Form]:
    out: list[_Form] = []
    for socket in sockets:
        if socket == "split":
            out += [_Form(socket, jaw=jaw) for jaw in ball.JAWS]
        else:
            out.append(_Form(socket))
        if socket == "slit":
            out += [_Form(socket, depth=depth) for depth in ball.DEPTHS]
    return out


def _shape(
    size: float, form: _Form, clearance: float, limb: float, stock: Stock, protect: bool
) -> ball.BallShape | None:
    # The fingers of a slit socket stand free inside their ring: how thick the limb is around it is nothing to them.
    return _kept(size, form, clearance, 0.0 if form.socket == "slit" else limb, stock, protect)


@lru_cache(maxsize=4096)
def _kept(
    size: float, form: _Form, clearance: float, limb: float, stock: Stock, protect: bool
) -> ball.BallShape | None:
    if form.depth and not (protect and _breaks(_kept(size, _Form("slit"), clearance, limb, stock, protect))):
        return None
    shape = ball.shape(size, form.socket, clearance, limb, stock, form.jaw, form.depth, protect=protect)
    # Long fingers are gentle: too gentle is no grip.
    return None if form.depth and shape is not None and shape.passing_n < ball.LEAST_PULL_N else shape


def _breaks(short: ball.BallShape | None) -> bool:
    """Whether fingers that end beside the ball do not do: they cannot be bent so far, or the neck breaks first."""
    return short is None or short.pop_share > ball.MOST_POP


def balls(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    """Balls where the joint was seated; a found joint of a thin limb may also move along it."""
    plans: list[Plan] = []
    lacks: list[Lack] = []
    for placed, there, slide in _places(joint, site):
        plans += _here(placed, there, slide, wish, fits, kerf, most, stock, lacks)
        # Else every place is looked at, so that left and right find the same one.
        if slide == 0.0 and any(p.size_mm >= _ENOUGH_MM and _outlives(p) for p in plans):
            break
    # A stud that was asked for is planned with the flesh for its peg, where any place has it.
    return ([p for p in plans if p.insert] if wish.insert == "stud" else []) or plans, lacks


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
        for form in _forms(sockets):
            socket = form.socket
            for size in sizes(ball.SIZES_MM, wish, joint):
                if size > 2.4 * limb:
                    lacks.append(Lack(size, 0.5 * size + stock.wall_mm - limb, 0.0))
                    continue
                if form.depth and size < _LARGE_ENOUGH * limb:
                    continue
                clearance = clearance_of(wish, fits, "ball", size)
                shape = _shape(size, form, clearance, limb, stock, wish.protect)
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
                        - 0.5 * (abs(1.4 - form.jaw) + form.depth)
                        - 3.0 * (shape.passing_n > HAND_N)
                        - _TILT * max(0.0, 2.0 * shape.neck / size - ball.MOST_NECK_RATIO - 1e-9)
                        - 0.1 * (not side)
                        - 3.0 * (radius > most[cup])
                        - 0.5 * abs(slide)
                    )
                    half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
                    built = Plan(
                        joint,
                        "ball",
                        size,
                        clearance,
                        (half,),
                        liking - _breaks_first(shape.pop_share),
                        socket,
                        min(flare, missing),
                        wide,
                        (size, socket, form.jaw, form.depth, side, share, slide, ""),
                    )
                    plans.append(built)
                    breaks = shape.pop_share > ball.MOST_POP and wish.protect and wish.insert is None
                    if breaks or wish.insert == "stud":
                        plans += _on_a_stud(built, liking, wish.fits or fits, stock)
    return plans


def _on_a_stud(built: Plan, liking: float, fits: Fits, stock: Stock) -> list[Plan]:
    """The same ball on a stud of its own, where the cup has the flesh for its peg."""
    half = built.halves[0]
    assert isinstance(half.shape, ball.BallShape)
    shape = ball.as_insert(half.shape, stock)
    clearance = fits.get("peg", 2.0 * insert.stud_peg_mm(shape)).clearance_mm
    own = ball.needs(shape, half.cut, stock)
    rooms = insert.stud_rooms(shape, half.cut, clearance, stock)
    # The shortest peg whose seat outlives the stud leaves the limb most room.
    for room in sorted(rooms, key=lambda r: (r.share > ball.MOST_POP, r.length)):
        needs = (*own, room.need)
        if lack(half.prospect, needs)[0] == 0.0:
            cost = _STUD + 0.5 * (room.share > ball.MOST_POP)
            halves = (replace(half, shape=shape, needs=needs),)
            variant = (*built.variant[:-1], f"stud {room.length}")
            return [replace(built, halves=halves, liking=liking - cost, variant=variant, insert="stud")]
    return []


def _outlives(plan: Plan) -> bool:
    """Whether a ball lets go before it breaks as it is built in, with fingers that end beside it or with jaws."""
    shape = plan.halves[0].shape
    return isinstance(shape, ball.BallShape) and not plan.insert and not shape.bore and shape.pop_share <= _BREAKS


def _breaks_first(share: float) -> float:
    """How much a ball is disliked whose neck may break before its socket lets go: two for each doubling over half, three at
    most, for one that surely breaks breaks whatever its share is; and always more than a stud that fits in its place."""
    if share <= ball.MOST_POP:
        return 0.0
    return max(1.1 * (_STUD + 0.5), min(3.0, 2.0 * math.log2(share / ball.MOST_POP)))


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
