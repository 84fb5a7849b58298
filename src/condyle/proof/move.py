"""How far does each joint move, and what stops it?

Each motion is followed from the sculpt's pose either way by conservative advancement: every angle inside a reported range
is free, none of it sampled. What counts as free:

- between all parts that move and all that stay, the gap stays at least ``clearance``: half the kerf, or half of what the
  pair has at rest where that is less (hardware runs closer than skin); the other half is for coats and for the printer;
- bearing faces of the joint itself touch by design and are left out against each other (see bodies.py), not against
  anything else: the neck of a ball meets the lip, and that is a stop.

A range is tight to the step at which the search ends, 0.02°, plus what the facets give. A ball's ranges are each taken
with the other angles at 0. The turn of a double hinge is shared equally by its two axles.

Verdict of move.MOTION: the share of the wanted range that is reached; pass from 90 %, caution from 25 %, below it fails:
such a joint is built but does not do its work. (Common practice, no source: a choice.)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion, Range, SeatedJoint
from condyle.finding import Finding, Point, Verdict
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.geometry.gap import EVERY_PAIR, Rule, Surface, smallest_gap
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.profile import never_meet
from condyle.proof.bodies import APART, BEARING, Meeting, PartBody

PASS_SHARE, CAUTION_SHARE = 0.9, 0.25
BEYOND_DEG = 10.0
"""How far past the wanted range the search goes on."""

_STEP_DEG = 0.02
_TOUCHING_MM = 0.005
_NOT_BEARING = Rule(skip_any=APART, skip_both=BEARING)
_ON_SKIN_MM = 0.03
_PROFILE_MM = 20.0


@dataclass(frozen=True)
class End:
    """One end of a range: the angle, and what stops it there: nothing within the range searched, or a place.

    against  "sculpt" (skin), "hardware" (near the joint), or "cut face"
    """

    deg: float
    moving: str | None = None
    staying: str | None = None
    against: str | None = None
    place: Point | None = None

    @property
    def words(self) -> str | None:
        if self.staying is None:
            return None
        return f"{self.staying} {self.against} at {self.deg:+.1f}°"


@dataclass(frozen=True)
class Reach:
    """A joint's range in one motion, degrees from the sculpt's pose; wanted is None where the skeleton asks nothing."""

    joint: str
    motion: Motion
    wanted: Range | None
    low: End
    high: End

    @property
    def reached(self) -> Range:
        return (self.low.deg, self.high.deg)

    @property
    def share(self) -> float | None:
        """The part of the wanted range that is reached, 0 to 1."""
        if self.wanted is None:
            return None
        low, high = self.wanted
        if high <= low:
            return 1.0
        return max(0.0, min(high, self.high.deg) - max(low, self.low.deg)) / (high - low)


def wanted_from_pose(seated: SeatedJoint) -> dict[Motion, Range]:
    """What the skeleton wants, counted from the sculpt's pose and not from the human zero."""
    out: dict[Motion, Range] = {}
    for motion in seated.axes:
        if motion in seated.spec.wanted:
            low, high = seated.spec.wanted[motion]
            rest = seated.rest.get(motion, 0.0)
            out[motion] = (low - rest, high - rest)
    return out


def ranges(
    kit: Kit,
    bodies: Mapping[str, PartBody],
    meetings: Sequence[Meeting],
    skin: Bvh,
    kerf_mm: float,
    *,
    workers: int = 2,
) -> dict[str, dict[Motion, Reach]]:
    """The reach of every built joint in each of its motions, by the joint's name. ``skin`` is the whole sculpt."""
    whole = {p.name for p in kit.parts}
    built = [j for j in kit.joints if j.built and j.axles and whole >= {n for a in j.axles for n in (a.moves, a.stays)}]

    def one(joint: BuiltJoint) -> dict[Motion, Reach]:
        return _Case(kit, joint, bodies, [m for m in meetings if m.joint is joint], skin, kerf_mm).reaches()

    for body in bodies.values():
        body.bare  # noqa: B018 - built before the threads share it
    with ThreadPoolExecutor(workers) as pool:
        found = list(pool.map(one, built))
    return {joint.name: reach for joint, reach in zip(built, found, strict=True)}


@dataclass(frozen=True, eq=False)
class _Pair:
    """Two surfaces, how one moves against the other, and the gap to keep."""

    moving: str
    staying: str
    moved: Surface
    still: Surface
    motion: adv.Motion
    clearance_mm: float
    rule: Rule
    first_deg: float
    touching_at: Point | None


class _Case:
    """One joint with all that moves and all that stays."""

    def __init__(
        self,
        kit: Kit,
        joint: BuiltJoint,
        bodies: Mapping[str, PartBody],
        meetings: Sequence[Meeting],
        skin: Bvh,
        kerf_mm: float,
    ) -> None:
        self.joint, self.bodies, self.meetings, self.skin = joint, bodies, meetings, skin
        self.clearance = (joint.kerf_mm or kerf_mm) / 2
        self.child = beyond(kit, joint.axles[-1].moves)
        self.link = {joint.axles[0].moves} if len(joint.axles) == 2 else set()
        self.stays = [n for n in bodies if n not in self.child and n not in self.link]
        self.near = [_facing_each_other(m, 3.0 * self.clearance) for m in meetings]
        self.gaps = [smallest_gap(m.moved, m.still, rule=_NOT_BEARING) for m in meetings]

    def reaches(self) -> dict[Motion, Reach]:
        wanted = wanted_from_pose(self.joint.seated)
        out = {}
        for motion, axis in self.joint.seated.axes.items():
            low, high = wanted.get(motion, (0.0, 0.0))
            pairs = self._pairs(np.asarray(axis, dtype=np.float64))
            ends = []
            for sense, bound in ((-1.0, -low), (1.0, high)):
                limit = min(180.0, max(bound, 0.0) + BEYOND_DEG)
                ends.append(self._follow(pairs, sense * limit))
            out[motion] = Reach(self.joint.name, motion, wanted.get(motion), ends[0], ends[1])
        return out

    def _pairs(self, axis: FloatArray) -> list[_Pair]:
        """Nearest trouble first: the joint's own neighbours, then every other pair by its gap at rest."""
        centres = [np.asarray(a.centre, dtype=np.float64) for a in self.joint.axles]
        own, others = [], []
        share = 0.5 if self.link else 1.0
        for meeting, gap, near, centre in zip(self.meetings, self.gaps, self.near, centres, strict=True):
            keep = min(self.clearance, gap.distance_mm / 2)
            moved, still = _apart_while_turning(meeting, near, axis, keep)
            touching = gap.middle if gap.distance_mm < _TOUCHING_MM else None
            turn = adv.Turn(centre, axis, share)
            own.append(
                _Pair(meeting.moves.name, meeting.stays.name, moved, still, turn, keep, _NOT_BEARING, 4.0, touching)
            )
        met = {(p.moving, p.staying) for p in own}
        groups: list[tuple[set[str], Sequence[str], adv.Motion]]
        if self.link:
            groups = [
                (self.link, self.stays, adv.Turn(centres[0], axis, 0.5)),
                (self.child, sorted(self.link), adv.Turn(centres[1], axis, 0.5)),
                (self.child, self.stays, adv.TwoTurns(centres[0], centres[1], axis)),
            ]
        else:
            groups = [(self.child, self.stays, adv.Turn(centres[0], axis))]
        for moving, staying, motion in groups:
            for m in sorted(moving):
                for s in staying:
                    if (m, s) in met:
                        continue
                    a, b = self.bodies[m].bare, self.bodies[s].bare
                    gap = smallest_gap(a, b, limit_mm=2 * self.clearance)
                    keep = min(self.clearance, gap.distance_mm / 2)
                    touching = gap.middle if gap.distance_mm < _TOUCHING_MM else None
                    others.append((gap.distance_mm, _Pair(m, s, a, b, motion, keep, EVERY_PAIR, 20.0, touching)))
        return own + [p for _, p in sorted(others, key=lambda o: o[0])]

    def _follow(self, pairs: Sequence[_Pair], limit: float) -> End:
        best, stopped, where = limit, None, None
        for pair in pairs:
            if pair.touching_at is not None:
                return End(0.0, pair.moving, pair.staying, self._against(pair, pair.touching_at), pair.touching_at)
            stop = adv.advance(
                pair.moved,
                pair.still,
                pair.motion,
                best,
                clearance_mm=pair.clearance_mm,
                smallest_step=_STEP_DEG,
                first_step=pair.first_deg,
                rule=pair.rule,
            )
            if stop.blocked:
                best, stopped, where = stop.reached, pair, stop
            if best == 0.0:
                break
        if stopped is None or where is None:
            return End(float(best))
        place = (float(where.place[0]), float(where.place[1]), float(where.place[2]))
        return End(float(best), stopped.moving, stopped.staying, self._against(stopped, place), place)

    def _against(self, pair: _Pair, place: Point) -> str:
        """Skin, hardware or cut face: by the staying side's surface at the place."""
        body = self.bodies[pair.staying]
        on = body.bvh.closest(np.array([place]))[1]
        if self.skin.closest(on)[0][0] <= _ON_SKIN_MM:
            return "sculpt"
        size = self.joint.size_mm or 0.0
        near = min(float(np.linalg.norm(np.asarray(a.centre) - on[0])) for a in self.joint.axles)
        return "hardware" if near <= size else "cut face"


def beyond(kit: Kit, part: str) -> set[str]:
    """The part and all that hang on it: whatever moves when it moves."""
    carried: dict[str, list[str]] = {}
    for joint in kit.joints:
        for axle in joint.axles if joint.built else ():
            carried.setdefault(axle.stays, []).append(axle.moves)
    whole = {p.name for p in kit.parts}
    out: set[str] = set()
    open_ = [part]
    while open_:
        name = open_.pop()
        if name not in out and name in whole:
            out.add(name)
            open_ += carried.get(name, [])
    return out


def _facing_each_other(meeting: Meeting, within_mm: float) -> tuple[tuple[BoolArray, BoolArray], float]:
    """Which pieces of each side have their middle near the other, and how far from the axle's centre they reach."""
    bodies = (meeting.moves, meeting.stays)
    near, reach = [], 1.0
    for k in range(2):
        low, high = bodies[1 - k].pieces.bounds + np.array([[-within_mm], [within_mm]])
        middles = bodies[k].middles
        asked = np.all((middles >= low) & (middles <= high), axis=1)
        index = np.flatnonzero(asked)
        asked[index] = np.isfinite(bodies[1 - k].bvh.closest(middles[index], within_mm)[0])
        near.append(asked)
        if asked.any():
            reach = max(reach, float(np.linalg.norm(middles[asked] - meeting.centre, axis=1).max()) + 1.5)
    return (near[0], near[1]), min(reach, _PROFILE_MM)


def _apart_while_turning(
    meeting: Meeting, near: tuple[tuple[BoolArray, BoolArray], float], axis: FloatArray, clearance_mm: float
) -> tuple[Surface, Surface]:
    """The two surfaces with the faces marked that can never meet while one turns about the axis."""
    sides = (meeting.moved, meeting.still)
    apart = never_meet(
        meeting.moves.pieces.corners,
        meeting.stays.pieces.corners,
        meeting.centre,
        axis,
        clearance_mm,
        asked=near[0],
        free_pairs=(sides[0].marks & BEARING != 0, sides[1].marks & BEARING != 0),
        reach_mm=near[1],
    )
    out = [s.marked(s.marks | np.where(a, np.uint8(APART), np.uint8(0))) for s, a in zip(sides, apart, strict=True)]
    return out[0], out[1]


def findings_of(reaches: Mapping[str, Mapping[Motion, Reach]]) -> list[Finding]:
    """One finding for each motion that the skeleton wants."""
    out = []
    for name, by_motion in reaches.items():
        for motion, reach in by_motion.items():
            share = reach.share
            if share is None:
                continue
            out.append(_finding(name, motion, reach, share))
    return out


def _finding(name: str, motion: Motion, reach: Reach, share: float) -> Finding:
    assert reach.wanted is not None
    verdict: Verdict = "pass" if share >= PASS_SHARE else ("caution" if share >= CAUTION_SHARE else "fail")
    low, high = reach.wanted
    short = []
    for end, bound, missing in ((reach.low, low, reach.low.deg - low), (reach.high, high, high - reach.high.deg)):
        if missing > 0.05 and end.staying is not None:
            short.append((missing, end, bound))
    place, advice = None, ""
    if short:
        missing, end, bound = max(short, key=lambda s: s[0])
        place = end.place
        if verdict != "pass":
            advice = (
                f"{end.moving} meets {end.staying} ({end.against}) at {end.deg:+.1f}° of {bound:+.1f}°: "
                + _ADVICE[end.against or ""]
            )
    return Finding(
        f"move.{motion}",
        name,
        verdict,
        measured=float(min(high, reach.high.deg) - max(low, reach.low.deg)) if share > 0 else 0.0,
        target=float(high - low),
        unit="deg",
        place=place,
        advice=advice,
    )


_ADVICE = {
    "sculpt": "take flesh away there in the sculpt, move the joint's centre, or ask for less",
    "hardware": "take the next smaller size, or a wider mouth for its neck",
    "cut face": "move the joint along the limb, or widen its kerf",
    "": "look at the place",
}
