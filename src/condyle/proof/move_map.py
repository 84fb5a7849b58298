"""How far does a ball swing in every direction, and how far does it twist there?

A swing is one turn about flex · x + abduct · y from the sculpt's pose (as in figure/pose/forward.py); its direction is the
angle of that vector, 0° for flexion, 90° for abduction. The map gives for sectors of directions the swing below which the
joint is free in *every* direction of the sector, each pair keeping the gap that move_case.py asks: cells of swings are proved whole
(geometry/cover.py), none of it is sampled. A cell's half widths, as turns: half its span of swing, and for its span of
directions 4 · asin(sin(s/2) · sin(d/2)), which is the turn between two swings by s whose directions differ by d (half-angle
formula of the product of two turns; derived).

Sectors are halved where that gives more, down to 3.75°, and the search ends at steps of 0.5°: the map lies up to about 4°
inside the true edge, never outside it (the ends on the axes are told more tightly in move.py). Twists are proved for cells of directions in the same way, swing first, then twist about the limb as it then
lies.
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
from condyle.geometry.cover import Cell
from condyle.geometry.frame import rotation_about
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.move import BEYOND_DEG, wanted_from_pose
from condyle.proof.move_case import Against, Case, Facing, able
from condyle.proof.move_cells import Cells

SECTOR_DEG, TWIST_SECTOR_DEG = 7.5, 45.0
RINGS = ((0.0, 0.35), (0.35, 0.7))
"""Shares of a sector's reach between which a twist is proved."""

_WIDEST_DEG, _NARROWEST_DEG = 15.0, 3.75
_FIRST_DEG, _LEAST_DEG, _MOST_DEG = 2.0, 0.5, 16.0
_TWIST_DEG, _LEAST_TWIST_DEG, _SPLITS = 15.0, 7.5, 1
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
    parts: list[Sector] = []
    for k in range(round(360.0 / _WIDEST_DEG)):
        parts += work.sector(k * _WIDEST_DEG, (k + 1) * _WIDEST_DEG, 0.0, _FIRST_DEG)
    sectors = _even(parts, SECTOR_DEG)
    limits = tuple(work.limit(s.low_deg, s.high_deg) for s in sectors)
    # A limb's twist is often a swivel's of its own; then none is wanted of the ball.
    twists = work.twists(sectors) if "twist" in work.wanted else ()
    return ReachMap(case.joint.name, sectors, limits, twists)


def _even(parts: Sequence[Sector], width: float) -> tuple[Sector, ...]:
    """Sectors of one width: each reaches as far as the least of those within it."""
    out = []
    for k in range(round(360.0 / width)):
        low, high = k * width, (k + 1) * width
        least = min((p for p in parts if p.low_deg < high and p.high_deg > low), key=lambda p: p.reach_deg)
        out.append(Sector(low, high, least.reach_deg, least.moving, least.staying, least.against, least.place))
    return tuple(out)


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
    """A ball's pairs as shells about its centre."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.centre = case.centres[0]
        self.x, self.y = (np.asarray(case.joint.seated.axes[m]) for m in ("flex", "abduct"))
        twist = case.joint.seated.axes.get("twist")
        self.z = None if twist is None else np.asarray(twist)
        self.wanted: dict[Motion, Range] = wanted_from_pose(case.joint.seated)
        self.cells = Cells(case.pairs, self.centre, turning=True)

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

    def blocked(self, swings: _Swings, twist: Range = (0.0, 0.0)) -> tuple[Facing, int] | None:
        """None where all of the swings, with all of the twists, are proved free; else a pair that may meet, and where."""
        direction, swing = swings.middle
        c, s = math.cos(math.radians(direction)), math.sin(math.radians(direction))
        rotation = rotation_about(c * self.x + s * self.y, swing)
        axis = None
        if self.z is not None:
            axis = rotation @ self.z
            rotation = rotation @ rotation_about(self.z, 0.5 * (twist[0] + twist[1]))
        m = np.eye(4)
        m[:3, :3] = rotation
        m[:3, 3] = self.centre - rotation @ self.centre
        cell = Cell(m, swings.wide, math.radians(0.5 * (twist[1] - twist[0])), self.centre, axis)
        return self.cells.blocked(cell)

    def sector(self, low: float, high: float, start: float, step: float) -> list[Sector]:
        """How far these directions reach, in parts where that gives more."""
        limit, at = self.limit(low, high), start
        met: tuple[Facing, int] | None = None
        while at < limit - 1e-9:
            swings = _Swings(low, high, at, min(at + step, limit))
            met = self.blocked(swings)
            if met is None:
                at = swings.outer
                step = min(2.0 * step, _MOST_DEG)
            elif swings.across > math.radians(0.5 * step) and high - low > _NARROWEST_DEG:
                break
            elif step > _LEAST_DEG:
                step = max(_LEAST_DEG, step / 2.0)
            else:
                break
        if met is None:
            return [Sector(low, high, at)]
        if high - low > _NARROWEST_DEG:
            middle = 0.5 * (low + high)
            return self.sector(low, middle, at, step) + self.sector(middle, high, at, step)
        pair, triangle = met
        x, y, z = (float(v) for v in pair.still.bvh.mesh.corners[triangle].mean(axis=0))
        against = self.case.against(pair.staying, (x, y, z))
        return [Sector(low, high, at, pair.moving, pair.staying, against, (x, y, z))]

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

    def _twist(self, cell: _Swings, sense: float, bound: float) -> float:
        at, step = 0.0, _TWIST_DEG
        bound = min(bound, 180.0)
        while at < bound - 1e-9:
            end = min(at + step, bound)
            low, high = sorted((sense * at, sense * end))
            if self._all_free(cell, (low, high), _SPLITS):
                at = end
            elif step > _LEAST_TWIST_DEG:
                step /= 2.0
            else:
                break
        return at

    def _all_free(self, cell: _Swings, twist: Range, splits: int) -> bool:
        if self.blocked(cell, twist) is None:
            return True
        if splits == 0:
            return False
        return all(self._all_free(half, twist, splits - 1) for part in cell.split() for half in part.split())
