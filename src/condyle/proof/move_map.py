"""How far does a ball swing in every direction, and how far does it twist there?

A swing is one turn about flex · x + abduct · y from the sculpt's pose (as in figure/pose/forward.py); its direction is the
angle of that vector, 0° for flexion, 90° for abduction. The map gives for sectors of directions the swing below which the
joint is free in *every* direction of the sector, each pair keeping the gap that move_case.py asks. A sector is a bundle of
turns about one axis (geometry/arrival.py): by s its swings differ from the middle one by a turn of up to
4 · asin(sin(s/2) · sin(d/2)), d half the sector's width (half-angle formula of the product of two turns; derived). None of
it is sampled; a sector is cut until its reach lies within 3° of what one of its directions reaches, or it is 1° narrow.

Twists are told for cells of swings in the same way, swing first, then twist about the limb as it then lies: to 6°, or a
cell of 3°.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion, Range
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.follow import TURN, Path
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.mesh import FloatArray
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.move import BEYOND_DEG, wanted_from_pose
from condyle.proof.move_bundle import Sides, Stopped, least
from condyle.proof.move_case import Against, Case, able

SECTOR_DEG, TWIST_SECTOR_DEG = 7.5, 45.0
RINGS = ((0.0, 0.35), (0.35, 0.7))
"""Shares of a sector's reach between which a twist is proved."""

TIGHT_DEG, TWIST_TIGHT_DEG = 3.0, 6.0
_HALVED_DEG = 29.0  # a sector that reaches further is never tight as a whole
_NARROWEST_DEG, _NARROWEST_WIDE, _MOST_CUTS = 1.0, math.radians(3.0), 12
_FARTHEST_DEG = 170.0


@dataclass(frozen=True)
class Sector:
    """Directions from ``low`` to ``high`` degrees, and the swing up to which all of them are free; what stops it, where it
    is not the end of the search."""

    low_deg: float
    high_deg: float
    reach_deg: float
    moving: str | None = None
    staying: str | None = None
    against: Against | None = None
    place: Point | None = None


@dataclass(frozen=True)
class TwistCell:
    """Swings between two angles in the directions from ``low`` to ``high``, and the twists that are free at all of them."""

    low_deg: float
    high_deg: float
    inner_deg: float
    outer_deg: float
    twist_deg: Range


@dataclass(frozen=True)
class ReachMap:
    """The whole reach of a ball from the sculpt's pose. ``limits_deg``: how far was searched, by direction, for each sector;
    ``twists`` is empty where no twist is wanted."""

    joint: str
    sectors: tuple[Sector, ...]
    limits_deg: tuple[float, ...]
    twists: tuple[TwistCell, ...]

    @property
    def solid_angle_share(self) -> float:
        """The part of the searched directions' area (degrees squared in the plane of swings) that is reached."""
        reached = sum(s.reach_deg**2 for s in self.sectors)
        asked = sum(limit**2 for limit in self.limits_deg)
        return reached / asked if asked > 0.0 else 0.0


def reach_maps(
    kit: Kit,
    bodies: Mapping[str, PartBody],
    meetings: Sequence[Meeting],
    skin: Bvh,
    kerf_mm: float,
    *,
    workers: int = 2,
) -> dict[str, ReachMap]:
    """The map of every built joint that flexes and abducts about one point, by name."""
    asked = [
        (j, m) for j, m in able(kit, bodies, meetings) if len(j.axles) == 1 and {"flex", "abduct"} <= set(j.seated.axes)
    ]

    def one(joint: BuiltJoint, own: list[Meeting]) -> ReachMap:
        return reach_map(Case(kit, joint, bodies, own, skin, kerf_mm))

    with ThreadPoolExecutor(workers) as pool:
        found = list(pool.map(lambda a: one(*a), asked))
    return {m.joint: m for m in found}


def reach_map(case: Case) -> ReachMap:
    """The map of one ball."""
    work = _Work(case)
    found: list[Sector] = []
    for k in range(round(360.0 / SECTOR_DEG)):
        # The next sector reaches about as far as the one before.
        found.append(work.sector(k * SECTOR_DEG, (k + 1) * SECTOR_DEG, found[-1].reach_deg if found else 0.0))
    sectors = tuple(found)
    limits = tuple(work.limit(s.low_deg, s.high_deg) for s in sectors)
    # A limb's twist is often a swivel's of its own; then none is wanted of the ball.
    twists = work.twists(sectors) if "twist" in work.wanted else ()
    return ReachMap(case.joint.name, sectors, limits, twists)


@dataclass(frozen=True)
class _Swings:
    """Swings between two angles in a span of directions, degrees."""

    low: float
    high: float
    inner: float
    outer: float

    @property
    def middle(self) -> tuple[float, float]:
        return 0.5 * (self.low + self.high), 0.5 * (self.inner + self.outer)

    @property
    def wide(self) -> float:
        """How far any swing of the cell turns from the middle one, at most, radians."""
        return math.radians(0.5 * (self.outer - self.inner)) + self.across

    @property
    def across(self) -> float:
        swing = math.radians(self.middle[1])
        return 4.0 * math.asin(math.sin(swing / 2.0) * math.sin(math.radians(self.high - self.low) / 4.0))

    def split(self) -> tuple[_Swings, _Swings]:
        if self.across > math.radians(0.5 * (self.outer - self.inner)):
            middle = self.middle[0]
            return _Swings(self.low, middle, self.inner, self.outer), _Swings(middle, self.high, self.inner, self.outer)
        middle = self.middle[1]
        return _Swings(self.low, self.high, self.inner, middle), _Swings(self.low, self.high, middle, self.outer)


class _Work:
    """A ball's pairs, with their distances from its centre."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.centre = case.centres[0]
        self.x, self.y = (np.asarray(case.joint.seated.axes[m]) for m in ("flex", "abduct"))
        twist = case.joint.seated.axes.get("twist")
        self.z = None if twist is None else np.asarray(twist)
        self.wanted: dict[Motion, Range] = wanted_from_pose(case.joint.seated)
        met = []
        for pair in case.pairs:
            moved, still = case.spans(pair)
            if max(moved.nodes[0, 0] - still.nodes[0, 1], still.nodes[0, 0] - moved.nodes[0, 1]) <= pair.keep_mm:
                met.append((pair, moved, still))
        levers = {id(m): (m.triangles[:, 1].copy(), m.nodes[:, 1].copy()) for _, m, _ in met}
        self.sides = Sides([p for p, _, _ in met], [levers[id(m)] for _, m, _ in met], [(m, s) for _, m, s in met])

    def limit(self, low_deg: float, high_deg: float) -> float:
        """How far the search goes in all of these directions: an ellipse through the wanted ends and 10° more."""
        return min(self._limit(low_deg), self._limit(high_deg))

    def _limit(self, deg: float) -> float:
        c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
        ends = []
        for motion, share in (("flex", c), ("abduct", s)):
            low, high = self.wanted.get(motion, (0.0, 0.0))  # type: ignore[call-overload]
            ends.append(max(high if share >= 0 else -low, 0.0) + BEYOND_DEG)
        return min(_FARTHEST_DEG, 1.0 / math.hypot(c / ends[0], s / ends[1]))

    def _axis(self, deg: float) -> FloatArray:
        return unit(math.cos(math.radians(deg)) * self.x + math.sin(math.radians(deg)) * self.y)

    def sector(self, low: float, high: float, about_deg: float) -> Sector:
        """How far all of these directions reach; ``about_deg`` is a guess at it, that saves work."""

        def path(part: Range) -> Path:
            return Path(TURN, np.eye(4), self.centre, self._axis(0.5 * (part[0] + part[1])), self.centre, 1.0)

        def bound(part: Range, limit: float) -> Stopped:
            return self.sides.first(path(part), limit, 0.0, math.sin(math.radians(part[1] - part[0]) / 4.0))

        def halves(part: Range) -> Sequence[Range]:
            middle = 0.5 * (part[0] + part[1])
            return ((part[0], middle), (middle, part[1])) if part[1] - part[0] > _NARROWEST_DEG else ()

        found = least(
            halves((low, high)) if about_deg > _HALVED_DEG else ((low, high),), halves, bound,
            lambda part, limit, like: self.sides.once(path(part), limit, like),
            math.radians(self.limit(low, high)), tight=math.radians(TIGHT_DEG), most=_MOST_CUTS,
        )  # fmt: skip
        pair, reach = found.pair, math.degrees(found.at)
        if pair is None:
            return Sector(low, high, reach)
        x, y, z = (float(v) for v in pair.still.bvh.mesh.corners[found.triangle].mean(axis=0))
        return Sector(
            low, high, reach, pair.moving, pair.staying, self.case.against(pair.staying, (x, y, z)), (x, y, z)
        )

    def twists(self, sectors: Sequence[Sector]) -> tuple[TwistCell, ...]:
        """Twists in rings of wide sectors."""
        low, high = self.wanted.get("twist", (0.0, 0.0))
        bounds = max(-low, 0.0) + BEYOND_DEG, max(high, 0.0) + BEYOND_DEG
        out = []
        for k in range(round(360.0 / TWIST_SECTOR_DEG)):
            first, last = k * TWIST_SECTOR_DEG, (k + 1) * TWIST_SECTOR_DEG
            reach = min(s.reach_deg for s in sectors if s.low_deg < last and s.high_deg > first)
            for inner, outer in RINGS:
                cell = _Swings(first, last, inner * reach, outer * reach)
                span = (-self._twist(cell, -1.0, bounds[0]), self._twist(cell, 1.0, bounds[1]))
                out.append(TwistCell(first, last, cell.inner, cell.outer, span))
        return tuple(out)

    def _twist(self, cell: _Swings, sense: float, bound_deg: float) -> float:
        """How far the limb twists, at every swing of a cell."""

        def path(part: _Swings) -> Path:
            direction, swing = part.middle
            start = rotation_matrix_about(self.centre, self._axis(direction), swing)
            assert self.z is not None
            return Path(TURN, start, self.centre, sense * unit(start[:3, :3] @ self.z), self.centre, 1.0)

        found = least(
            (cell,), lambda part: part.split() if part.wide > _NARROWEST_WIDE else (),
            lambda part, limit: self.sides.first(path(part), limit, part.wide),
            lambda part, limit, like: self.sides.once(path(part), limit, like),
            math.radians(min(bound_deg, 180.0)), tight=math.radians(TWIST_TIGHT_DEG), most=_MOST_CUTS,
        )  # fmt: skip
        return math.degrees(found.at)
