"""Inserts: the ball stud or the socket of a joint as a body of its own, held by a keyed peg that goes in one way only.

Both are cut free from finished hardware in the knuckle frame of their joint, so they have exactly the bearing that the
built-in form has. The key is a flat on the peg's +y side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from condyle.geometry.primitives import Facets, box, cylinder, frustum, sphere
from condyle.geometry.solid import Solid, intersect, overlap, subtract, union
from condyle.joints.ball import BallShape
from condyle.joints.design import Cut, Need
from condyle.joints.mechanics.levered import burst_nmm
from condyle.joints.mechanics.release import pry_moment_nmm
from condyle.joints.stock import Stock

InsertKind = Literal["stud", "cup"]

LENGTHS: Final = (1.3, 1.0, 0.75)
"""Lengths of a stud's peg in its diameters, long first."""

LEAST_CLEARANCE_MM: Final = 0.03
"""An insert must come out again: its peg is never drawn tight."""

_DRAFT = 0.02
_FLAT = 0.6  # the flat stands at this share of a stud's peg radius
_END_MM = 0.15
_LEAD_IN_MM = 0.15


@dataclass(frozen=True, eq=False)
class Seat:
    """A peg and its hole, knuckle frame.

    room      what the host loses
    around    the same grown by a wall: what the host must have for it
    bearing   encloses the faces where peg and hole lie against each other
    mouth_z, end_z   heights of the peg's two ends; it is pushed from the mouth to the end
    """

    room: Solid
    around: Solid
    bearing: Solid
    size_mm: float
    clearance_mm: float
    mouth_z: float
    end_z: float


def stud_peg_mm(s: BallShape) -> float:
    """Radius of the peg under a ball's neck: a third stouter than the neck, which is to break first."""
    return max(1.3 * s.neck, s.neck + 0.3)


@dataclass(frozen=True)
class StudRoom:
    """What a keyed peg of one length needs in the cup, and what that does for it.

    need       flesh around it, a wall included
    share      the moment that its seat gets at most, levered out or broken off, over what bursts a seat of just that wall
    """

    length: float
    need: Need
    share: float


def stud_rooms(s: BallShape, cut: Cut, clearance_mm: float, stock: Stock) -> tuple[StudRoom, ...]:
    """The room of every length of peg, long first. ``s`` has the stud's own neck (``ball.as_insert``)."""
    gap = max(clearance_mm, LEAST_CLEARANCE_MM)
    r, wall = stud_peg_mm(s), 0.9 * stock.wall_mm
    pry = pry_moment_nmm(s.passing_n, 2.0 * (s.ball - s.undercut))
    most = pry / max(1.0, s.pop_share)
    out = []
    for length in LENGTHS:
        deep = 2.0 * r * length
        need = Need(-cut.cup_mm - deep - _END_MM - wall, -cut.cup_mm - 0.3, r + gap + wall, r + gap + wall)
        out.append(StudRoom(length, need, most / burst_nmm(2.0 * r, deep, wall, stock.across_mpa)))
    return tuple(out)


def stud(s: BallShape, cut: Cut, length: float, clearance_mm: float, stock: Stock) -> tuple[Solid, Seat]:
    """A ball on its neck with a keyed peg below it, and its seat in the cup's flesh.

    The peg begins at the cup's face and runs down the axis, ``length`` in peg diameters.
    """
    r = stud_peg_mm(s)
    mouth = -cut.cup_mm
    end = mouth - 2.0 * r * length
    gap = max(clearance_mm, LEAST_CLEARANCE_MM)
    body = union(
        [sphere(s.ball), cylinder(s.neck, mouth - 0.05, 0.0), _keyed(r, mouth, end, 0.0, "inside")], "ball stud"
    )
    wide = frustum(r + gap, mouth - _LEAD_IN_MM, r + gap + _LEAD_IN_MM, mouth + 0.5 * cut.kerf_mm, "outside")
    room = union([_keyed(r, mouth + 0.5 * cut.kerf_mm, end - _END_MM, gap, "outside"), wide], "keyed hole")
    # On through the kerf, so that no film is left across the mouth.
    room = union([room, cylinder(r + gap + _LEAD_IN_MM, mouth, mouth + 2.0 * cut.kerf_mm, "outside")], "keyed hole")
    wall = 0.9 * stock.wall_mm
    around = cylinder(r + gap + wall, end - _END_MM - wall, mouth - 1.0)
    bearing = cylinder(r + gap + _LEAD_IN_MM + 0.1, end - 0.5, mouth + 0.5 * cut.kerf_mm + 0.05, "outside")
    return body, Seat(room, around, bearing, 2.0 * r, gap, mouth, end)


def stud_room(s: BallShape, cut: Cut) -> Solid:
    """What encloses a built-in stud outside its host's flesh: to a hair short of the cup's face, and a shallow recess
    around its root, so that no film of it stays."""
    across = 1.5 * s.neck + 0.2
    recess = intersect(sphere(cut.cup_mm + 0.12), cylinder(across, -cut.cup_mm - 1.0, -0.5 * cut.cup_mm), "recess")
    return union([sphere(cut.cup_mm - 0.02), recess], "room of a stud")


def cup_radius_mm(s: BallShape, stock: Stock) -> float:
    """Radius of the plug that holds a whole socket with a wall around it."""
    return max(s.ring_outer, s.finger_outer) + 1.25 * stock.wall_mm


def cup(knuckle: Solid, s: BallShape, cut: Cut, clearance_mm: float, stock: Stock) -> tuple[Solid, Seat]:
    """The socket cut free from a knuckle (knuckle frame) as a keyed plug, and its seat in what is left.

    The plug is pushed in from the mouth. Only for sockets that end inside it: not for a split one, whose slit parts the
    whole limb.
    """
    r = cup_radius_mm(s, stock)
    gap = max(clearance_mm, LEAST_CLEARANCE_MM)
    mouth = -cut.radius_mm - 1.0
    end = s.top_z + 0.9 * stock.wall_mm if s.bore else s.root_z + 1.6 * stock.wall_mm
    key = r - 0.25 * stock.wall_mm
    plug = subtract(cylinder(r, mouth, end), [box((-r, key, mouth - 1.0), (r, 2.0 * r, end + 1.0))], "plug")
    out = r + gap
    room = subtract(
        cylinder(out, -cut.radius_mm - 2.0, end + _END_MM, "outside"),
        [box((-2.0 * r, key + gap, -cut.radius_mm - 3.0), (2.0 * r, 3.0 * r, end + 1.0))],
        "keyed bore",
    )
    mouth = _whole_from(intersect(knuckle, plug, "socket"), r, 0.9 * stock.wall_mm, mouth, s.lip_z)
    body = intersect(knuckle, plug.trimmed((0.0, 0.0, 1.0), mouth), "socket insert")
    wall = 0.9 * stock.wall_mm
    around = cylinder(out + wall, s.lip_z, end + _END_MM + wall)
    bearing = cylinder(out + 0.1, mouth - 0.05, end + _END_MM + 0.05, "outside")
    return body, Seat(room, around, bearing, 2.0 * r, gap, s.lip_z, end)


def _whole_from(body: Solid, r: float, wall_mm: float, low: float, high: float) -> float:
    """The height from which on a plug's outer wall is whole, so that its mouth does not run out to a feather."""
    at = low
    while at < high:
        slab = subtract(cylinder(r - 0.05, at, at + 0.2), [cylinder(r - wall_mm, at - 1.0, at + 1.0)], "rim")
        there = overlap(slab, body)
        # The key's flat takes some of the ring.
        if there is not None and there.volume_mm3 >= 0.86 * slab.volume_mm3:
            return at
        at += 0.2
    return high


def _keyed(r: float, z_high: float, z_low: float, grow: float, facets: Facets) -> Solid:
    """A peg from its thick end at ``z_high`` down to ``z_low``, tapering, with its flat on +y; grown for the hole."""
    length = z_high - z_low
    body = frustum(r + grow - _DRAFT * length, z_low, r + grow, z_high, facets)
    flat = _FLAT * r + grow
    return subtract(body, [box((-2.0 * r, flat, z_low - 1.0), (2.0 * r, 4.0 * r, z_high + 1.0))], "keyed peg")
