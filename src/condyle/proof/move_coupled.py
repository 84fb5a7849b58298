"""What does one joint's range leave of another's, where two joints share a limb: a ball, and the swivel that follows it?

Each range of motion stands for its axis alone, the other joints as sculpted. A hip's flexion changes when the thigh is turned:
its knee and foot come elsewhere. So the swivel's range is cut into slabs, and for each the ball's flexion and abduction
are followed again. They are free for every turn of the swivel inside the slab: cells of both angles are proved whole
(geometry/cover.py), none of it is sampled. Each pair keeps the gap that move_case.py asks. What lies between ball and swivel does not
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
from condyle.geometry.cover import Cell
from condyle.geometry.frame import rotation_about, rotation_matrix_about
from condyle.geometry.mesh import FloatArray
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.move_case import Case, Facing, able, beyond
from condyle.proof.move_cells import Cells

SLAB_DEG = 15.0
_FIRST_DEG, _LEAST_DEG, _MOST_DEG = 2.0, 0.5, 15.0
_SPLITS = 3

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
        self.cells = Cells([p for p in case.others if p.moving in turned], self.centre, turning=False)

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
        at, step, met = 0.0, _FIRST_DEG, None
        while at < abs(bound) - 1e-9:
            end = min(at + step, abs(bound))
            low, high = sorted((sense * at, sense * end))
            met = self._blocked(axis, (low, high), twist, _SPLITS)
            if met is None:
                at, step = end, min(2.0 * step, _MOST_DEG)
            elif step > _LEAST_DEG:
                step = max(_LEAST_DEG, step / 2.0)
            else:
                break
        return sense * at, None if met is None else (met.moving, met.staying)

    def _blocked(self, axis: FloatArray, turn: Range, twist: Range, splits: int) -> Facing | None:
        """None where both angles may be anything between theirs; cells that fail are halved along the swivel's."""
        first = np.eye(4)
        first[:3, :3] = rotation_about(axis, 0.5 * (turn[0] + turn[1]))
        first[:3, 3] = self.centre - first[:3, :3] @ self.centre
        m = first @ rotation_matrix_about(self.point, self.axis, 0.5 * (twist[0] + twist[1]))
        cell = Cell(
            m,
            math.radians(0.5 * (turn[1] - turn[0])),
            math.radians(0.5 * (twist[1] - twist[0])),
            first[:3, :3] @ self.point + first[:3, 3],
            first[:3, :3] @ self.axis,
        )
        found = self.cells.blocked(cell)
        if found is None:
            return None
        if splits == 0:
            return found[0]
        middle = 0.5 * (twist[0] + twist[1])
        below = self._blocked(axis, turn, (twist[0], middle), splits - 1)
        return below or self._blocked(axis, turn, (middle, twist[1]), splits - 1)
