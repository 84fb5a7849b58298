"""What does one joint's range leave of another's, where two joints share a limb: a ball, and the swivel that follows it?

Each range of motion stands for its axis alone, the other joints as sculpted. A hip's flexion changes when the thigh is turned:
its knee and foot come elsewhere. So the swivel's range is cut into slabs, and for each the ball's flexion and abduction
are followed again. They are free for every turn of the swivel inside the slab: slabs are followed whole, as bundles of turns
(geometry/arrival.py), none of it is sampled, and cut until they lie within 0.5° of what one turn of the swivel leaves. Each pair keeps the gap that move_case.py asks. What lies between ball and swivel does not
turn with it, so there the ball's own range holds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion, Range
from condyle.geometry.bvh import Bvh
from condyle.geometry.follow import TURN, Path
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.rings import arms_about
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.move_bundle import Sides, least
from condyle.proof.move_case import Case, able, beyond

SLAB_DEG = 15.0
TIGHT_DEG = 0.5
_NARROWEST_DEG, _MOST_CUTS = 0.5, 40

Reached = Mapping[str, Mapping[Motion, Range]]


@dataclass(frozen=True)
class CoupledRow:
    """The ball's ranges while the swivel stands anywhere between two angles, degrees from the sculpt's pose.

    stopped  by motion, low and high end: the two parts in the way, None where the ball's own range ends it
    """

    twist_deg: Range
    reached: dict[Motion, Range]
    stopped: dict[Motion, tuple[tuple[str, str] | None, tuple[str, str] | None]]


@dataclass(frozen=True)
class Coupled:
    """A ball, the swivel that follows it, and the ball's ranges in slabs of the swivel's."""

    joint: str
    swivel: str
    rows: tuple[CoupledRow, ...]


def coupled_ranges(
    kit: Kit,
    bodies: Mapping[str, PartBody],
    meetings: Sequence[Meeting],
    skin: Bvh,
    kerf_mm: float,
    reached: Reached,
    *,
    workers: int = 2,
) -> tuple[Coupled, ...]:
    """Every ball that a swivel follows on the same limb. ``reached`` holds the range of each motion alone."""
    ready = able(kit, bodies, meetings)
    by_parent = {j.axles[0].stays: j for j, _ in ready if set(j.seated.axes) == {"twist"}}
    asked = []
    for joint, own in ready:
        swivel = by_parent.get(joint.axles[-1].moves)
        if swivel is not None and len(joint.axles) == 1 and {"flex", "abduct"} <= set(joint.seated.axes):
            asked.append((joint, own, swivel))

    def one(joint: BuiltJoint, own: list[Meeting], swivel: BuiltJoint) -> Coupled:
        return _Work(kit, Case(kit, joint, bodies, own, skin, kerf_mm), swivel, reached).coupled()

    with ThreadPoolExecutor(workers) as pool:
        return tuple(pool.map(lambda a: one(*a), asked))


class _Work:
    """One ball and its swivel: the pairs that both of them move."""

    def __init__(self, kit: Kit, case: Case, swivel: BuiltJoint, reached: Reached) -> None:
        self.case, self.swivel = case, swivel
        self.centre = case.centres[0]
        self.point = np.asarray(swivel.axles[0].centre, dtype=np.float64)
        self.axis = np.asarray(swivel.seated.axes["twist"], dtype=np.float64)
        self.twist = reached[swivel.name]["twist"]
        self.reached = reached[case.joint.name]
        turned = beyond(kit, swivel.axles[-1].moves)
        pairs = [p for p in case.others if p.moving in turned]
        arms: dict[int, tuple[FloatArray, FloatArray]] = {}
        for pair in pairs:
            if id(pair.moved) not in arms:
                arms[id(pair.moved)] = arms_about(pair.moved, self.point, self.axis)
        self.sides = Sides(pairs, [arms[id(p.moved)] for p in pairs])

    def coupled(self) -> Coupled:
        low, high = self.twist
        inner = [SLAB_DEG * k for k in range(math.ceil(low / SLAB_DEG), math.floor(high / SLAB_DEG) + 1)]
        marks = [low, *(v for v in inner if low + 1.0 < v < high - 1.0), high]
        rows = tuple(self._row((a, b)) for a, b in pairwise(marks))
        return Coupled(self.case.joint.name, self.swivel.name, rows)

    def _row(self, twist: Range) -> CoupledRow:
        spans: dict[Motion, Range] = {}
        stopped: dict[Motion, tuple[tuple[str, str] | None, tuple[str, str] | None]] = {}
        motions: tuple[Motion, ...] = ("flex", "abduct")
        for motion in motions:
            axis = np.asarray(self.case.joint.seated.axes[motion], dtype=np.float64)
            low, below = self._end(axis, twist, self.reached[motion][0])
            high, above = self._end(axis, twist, self.reached[motion][1])
            spans[motion], stopped[motion] = (low, high), (below, above)
        return CoupledRow(twist, spans, stopped)

    def _end(self, axis: FloatArray, twist: Range, bound: float) -> tuple[float, tuple[str, str] | None]:
        sense = 1.0 if bound >= 0.0 else -1.0

        def path(part: Range) -> Path:
            start = rotation_matrix_about(self.point, self.axis, 0.5 * (part[0] + part[1]))
            return Path(TURN, start, self.centre, sense * unit(axis), self.centre, 1.0)

        def halves(part: Range) -> Sequence[Range]:
            middle = 0.5 * (part[0] + part[1])
            return ((part[0], middle), (middle, part[1])) if part[1] - part[0] > _NARROWEST_DEG else ()

        found = least(
            (twist,), halves,
            lambda part, limit: self.sides.first(path(part), limit, math.radians(0.5 * (part[1] - part[0]))),
            lambda part, limit, like: self.sides.once(path(part), limit, like),
            math.radians(abs(bound)), tight=math.radians(TIGHT_DEG), most=_MOST_CUTS,
        )  # fmt: skip
        if found.pair is None:
            return bound, None
        return sense * math.degrees(found.at), (found.pair.moving, found.pair.staying)
