"""One joint as the proofs of motion see it: every part that moves against every part that stays, with the gap to keep.

Between all parts that move and all that stay the gap stays at least half the kerf, or half of what the pair has at rest
where that is less (hardware runs closer than skin); the other half is for coats and for the printer. Bearing faces of the
joint itself touch by design and are left out against each other (see bodies.py), not against anything else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.finding import Point
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.geometry.gap import EVERY_PAIR, Rule, Surface, smallest_gap
from condyle.geometry.mesh import FloatArray
from condyle.geometry.rings import Spans, spans_about
from condyle.proof.bodies import BEARING, Meeting, PartBody

NOT_BEARING = Rule(skip_both=BEARING)
TOUCHING_MM = 0.005
_ON_SKIN_MM = 0.03

Against = Literal["sculpt", "hardware", "cut face"]


@dataclass(frozen=True, eq=False)
class Facing:
    """A part that moves and one that stays.

    axle         the axle between them; None for both axles of a double hinge, one carried by the other
    meeting      which of the joint's meetings it is: its own neighbours; None for any other pair
    touching_at  a place where they touch at rest outside their bearing
    """

    moving: str
    staying: str
    moved: Surface
    still: Surface
    keep_mm: float
    gap_mm: float
    rule: Rule
    axle: int | None
    meeting: int | None
    touching_at: Point | None


class Case:
    """A joint with all that moves and all that stays. ``skin`` is the whole sculpt."""

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
        self.centres = [np.asarray(a.centre, dtype=np.float64) for a in joint.axles]
        self.child = beyond(kit, joint.axles[-1].moves)
        self.link = {joint.axles[0].moves} if len(joint.axles) == 2 else set()
        self.stays = [n for n in bodies if n not in self.child and n not in self.link]
        self._known: dict[int, Spans] = {}
        self.own = [self._neighbours(k) for k in range(len(meetings))]
        self.others = self._others()

    def _neighbours(self, k: int) -> Facing:
        meeting = self.meetings[k]
        gap = smallest_gap(meeting.moved, meeting.still, limit_mm=2 * self.clearance, rule=NOT_BEARING)
        return Facing(
            meeting.moves.name, meeting.stays.name, meeting.moved, meeting.still,
            min(self.clearance, gap.distance_mm / 2), gap.distance_mm, NOT_BEARING, meeting.axle, k,
            gap.middle if gap.distance_mm < TOUCHING_MM else None,
        )  # fmt: skip

    def _others(self) -> list[Facing]:
        """Every other pair, nearest first."""
        met = {(p.moving, p.staying) for p in self.own}
        groups: list[tuple[set[str], Sequence[str], int | None]] = [(self.child, self.stays, 0)]
        if self.link:
            groups = [(self.link, self.stays, 0), (self.child, sorted(self.link), 1), (self.child, self.stays, None)]
        out = []
        for moving, staying, axle in groups:
            for m in sorted(moving):
                for s in staying:
                    if (m, s) in met:
                        continue
                    a, b = self.bodies[m].bare, self.bodies[s].bare
                    gap = smallest_gap(a, b, limit_mm=2 * self.clearance)
                    keep = min(self.clearance, gap.distance_mm / 2)
                    touching = gap.middle if gap.distance_mm < TOUCHING_MM else None
                    out.append(Facing(m, s, a, b, keep, gap.distance_mm, EVERY_PAIR, axle, None, touching))
        return sorted(out, key=lambda o: o.gap_mm)

    @property
    def pairs(self) -> list[Facing]:
        """Nearest trouble first: the joint's own neighbours, then the others by their gap at rest."""
        return self.own + self.others

    def motion(self, pair: Facing, axis: FloatArray) -> adv.Motion:
        """How the pair moves for each degree of the joint about an axis."""
        if not self.link:
            return adv.Turn(self.centres[0], axis)
        if pair.axle is None:
            return adv.TwoTurns(self.centres[0], self.centres[1], axis)
        return adv.Turn(self.centres[pair.axle], axis, 0.5)

    def spans(self, pair: Facing) -> tuple[Spans, Spans]:
        """Of both sides of a pair, distances from the first axle's centre."""
        return self._spans(pair.moved), self._spans(pair.still)

    def _spans(self, surface: Surface) -> Spans:
        key = id(surface.bvh)
        if key not in self._known:
            self._known[key] = spans_about(surface, self.centres[0])
        return self._known[key]

    def against(self, staying: str, place: Point) -> Against:
        """Skin, hardware or cut face: by the staying side's surface at the place."""
        on = self.bodies[staying].bvh.closest(np.array([place]))[1]
        if self.skin.closest(on)[0][0] <= _ON_SKIN_MM:
            return "sculpt"
        size = self.joint.size_mm or 0.0
        near = min(float(np.linalg.norm(c - on[0])) for c in self.centres)
        return "hardware" if near <= size else "cut face"


def able(
    kit: Kit, bodies: Mapping[str, PartBody], meetings: Sequence[Meeting]
) -> list[tuple[BuiltJoint, list[Meeting]]]:
    """Every built joint whose parts are all there, with its meetings; the bodies made ready for threads to share."""
    for body in bodies.values():
        body.bare  # noqa: B018 - built before the threads share it
    whole = {p.name for p in kit.parts}
    built = [j for j in kit.joints if j.built and j.axles and whole >= {n for a in j.axles for n in (a.moves, a.stays)}]
    return [(j, [m for m in meetings if m.joint is j]) for j in built]


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
