"""How far does each joint move, and what stops it?

Each motion is followed from the sculpt's pose either way by conservative advancement: every angle inside a reported range
is free, none of it sampled. What counts as free, and which gap is kept, stands in
move_case.py: the neck of a ball meets the lip, and that is a stop.

A range is tight to the step at which the search ends, 0.02°, plus what the facets give. A ball's ranges are each taken
with the other angles at 0. The turn of a double hinge is shared equally by its two axles.

Verdict of move.MOTION: the share of the wanted range that is reached; pass from 90 %, caution from 25 %, below it fails:
such a joint is built but does not do its work. (Common practice, no source: a choice.)
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion, Range, SeatedJoint
from condyle.finding import Finding, Point, Verdict
from condyle.geometry import advance as adv
from condyle.geometry.arrival import Known
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.rings import rings_about
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.move_case import Against, Case, Facing, able

PASS_SHARE, CAUTION_SHARE = 0.9, 0.25
BEYOND_DEG = 10.0
"""How far past the wanted range the search goes on."""

STEP_DEG = 0.02


@dataclass(frozen=True)
class End:
    """One end of a range: the angle, and what stops it there: nothing within the range searched, or a place.

    against  "sculpt" (skin), "hardware" (near the joint), or "cut face"
    """

    deg: float
    moving: str | None = None
    staying: str | None = None
    against: Against | None = None
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
    only: Collection[str] | None = None,
) -> dict[str, dict[Motion, Reach]]:
    """The reach of every built joint in each of its motions, by the joint's name. ``skin`` is the whole sculpt.

    With ``only``, of these joints alone; ``meetings`` then need to hold no more than theirs.
    """
    asked = [a for a in able(kit, bodies, meetings) if only is None or a[0].name in only]

    def one(joint: BuiltJoint, own: list[Meeting]) -> dict[Motion, Reach]:
        return _reaches(Case(kit, joint, bodies, own, skin, kerf_mm))

    with ThreadPoolExecutor(workers) as pool:
        found = list(pool.map(lambda a: one(*a), asked))
    return {joint.name: reach for (joint, _), reach in zip(asked, found, strict=True)}


def _reaches(case: Case) -> dict[Motion, Reach]:
    wanted = wanted_from_pose(case.joint.seated)
    out = {}
    for motion, axis in case.joint.seated.axes.items():
        low, high = wanted.get(motion, (0.0, 0.0))
        pairs = sides_about(case, np.asarray(axis, dtype=np.float64))
        ends = []
        for sense, bound in ((-1.0, -low), (1.0, high)):
            limit = min(180.0, max(bound, 0.0) + BEYOND_DEG)
            ends.append(follow(case, pairs, sense * limit))
        out[motion] = Reach(case.joint.name, motion, wanted.get(motion), ends[0], ends[1])
    return out


@dataclass(frozen=True, eq=False)
class Turning:
    """A pair about one axis, and what is known of its surfaces there."""

    pair: Facing
    motion: adv.Motion
    known: Known | None


def sides_about(case: Case, axis: FloatArray) -> list[Turning]:
    """Every pair of a joint made ready to be followed about an axis, nearest trouble first."""
    out = []
    for pair in case.pairs:
        motion, known = case.motion(pair, axis), None
        if pair.meeting is not None and isinstance(motion, adv.Turn):
            rings = (rings_about(pair.moved, motion.centre, axis), rings_about(pair.still, motion.centre, axis))
            known = Known(case.spans(pair), rings) if len(case.joint.seated.axes) > 1 else Known(rings=rings)
        out.append(Turning(pair, motion, known))
    return out


def follow(case: Case, pairs: Sequence[Turning], limit: float, *, more_mm: float = 0.0) -> End:
    """How far the joint goes towards ``limit`` degrees. Each pair keeps its gap, and ``more_mm`` of it."""
    best, stopped, where = limit, None, None
    for turning in pairs:
        pair = turning.pair
        if pair.touching_at is not None:
            return End(0.0, pair.moving, pair.staying, case.against(pair.staying, pair.touching_at), pair.touching_at)
        stop = adv.advance(
            pair.moved,
            pair.still,
            turning.motion,
            best,
            clearance_mm=max(0.0, pair.keep_mm + more_mm),
            smallest_step=STEP_DEG,
            rule=pair.rule,
            known=turning.known,
        )
        if stop.blocked:
            best, stopped, where = stop.reached, pair, stop
        if best == 0.0:
            break
    if stopped is None or where is None:
        return End(float(best))
    place = (float(where.place[0]), float(where.place[1]), float(where.place[2]))
    return End(float(best), stopped.moving, stopped.staying, case.against(stopped.staying, place), place)


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
        unit="°",
        place=place,
        advice=advice,
    )


_ADVICE = {
    "sculpt": "take flesh away there in the sculpt, move the joint's centre, or ask for less",
    "hardware": "take the next smaller size, or a wider mouth for its neck",
    "cut face": "move the joint along the limb, or widen its kerf",
    "": "look at the place",
}
