"""How far a surface can move before it may come nearer than a clearance to another: rigid motions with one parameter.

Turns, turns about two parallel axles, shifts, and any of them taken up part of the way. The search itself is in arrival.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from condyle.geometry.arrival import Known, first_within
from condyle.geometry.follow import SHIFT, TURN, TWO_TURNS, Path
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.gap import EVERY_PAIR, Rule, Surface
from condyle.geometry.mesh import FloatArray


class Motion(Protocol):
    """A rigid motion with one parameter: degrees for turns, mm for shifts."""

    def matrix(self, at: float) -> FloatArray:
        """(4, 4) at a value of the parameter; the identity at 0."""

    def path(self, at: float, sense: float) -> Path:
        """The motion for the kernels, from ``at`` on towards +1 or −1."""


@dataclass(frozen=True, eq=False)
class Turn:
    """A right-handed turn about a line, ``share`` degrees for each degree of the parameter."""

    centre: FloatArray
    axis: FloatArray
    share: float = 1.0

    def matrix(self, at: float) -> FloatArray:
        return rotation_matrix_about(self.centre, self.axis, at * self.share)

    def path(self, at: float, sense: float) -> Path:
        centre = np.asarray(self.centre, dtype=np.float64)
        return Path(TURN, self.matrix(at), centre, unit(self.axis) * sense, centre, math.radians(self.share))


@dataclass(frozen=True, eq=False)
class TwoTurns:
    """A turn about a far line, carried by a turn about a near one, parallel to it, each by half the parameter.

    What a double hinge does to its child: the link turns half about ``near``, the child as much again about ``far``.
    """

    near: FloatArray
    far: FloatArray
    axis: FloatArray

    def matrix(self, at: float) -> FloatArray:
        return rotation_matrix_about(self.near, self.axis, at / 2) @ rotation_matrix_about(self.far, self.axis, at / 2)

    def path(self, at: float, sense: float) -> Path:
        near, far = (np.asarray(p, dtype=np.float64) for p in (self.near, self.far))
        m = rotation_matrix_about(near, self.axis, at / 2)
        carried = m[:3, :3] @ far + m[:3, 3]
        return Path(TWO_TURNS, self.matrix(at), carried, unit(self.axis) * sense, near, math.radians(1.0))


@dataclass(frozen=True, eq=False)
class Shift:
    """A straight move along a direction, 1 mm for each unit of the parameter."""

    direction: FloatArray

    def matrix(self, at: float) -> FloatArray:
        m = np.eye(4)
        m[:3, 3] = unit(self.direction) * at
        return m

    def path(self, at: float, sense: float) -> Path:
        return Path(SHIFT, self.matrix(at), np.zeros(3), unit(self.direction) * sense, np.zeros(3), 1.0)


@dataclass(frozen=True, eq=False)
class Onward:
    """A motion taken up from where the surface already lies: at ``offset`` of its parameter, moved by ``start`` before."""

    motion: Motion
    offset: float = 0.0
    start: FloatArray | None = None

    def matrix(self, at: float) -> FloatArray:
        m = self.motion.matrix(self.offset + at)
        return m if self.start is None else m @ self.start

    def path(self, at: float, sense: float) -> Path:
        return self.motion.path(self.offset + at, sense)._replace(start=self.matrix(at))


@dataclass(frozen=True, eq=False)
class Stop:
    """Where an advance ended: the last value known to be free, whether something stopped it, and which triangles.

    ``place`` lies between the two surfaces, in the still one's coordinates; NaN when the limit was reached.
    """

    reached: float
    blocked: bool
    moved_triangle: int
    still_triangle: int
    place: FloatArray


def advance(
    moved: Surface,
    still: Surface,
    motion: Motion,
    limit: float,
    *,
    clearance_mm: float,
    smallest_step: float,
    rule: Rule = EVERY_PAIR,
    known: Known | None = None,
) -> Stop:
    """Move from 0 towards ``limit`` (its sign is the direction) as far as the surfaces stay ``clearance_mm`` apart.

    Every value from 0 to ``reached`` is free. It stops where a step that is free for certain falls below
    ``smallest_step``: there the gap exceeds the clearance by no more than smallest_step times the lever.
    """
    sense = 1.0 if limit >= 0 else -1.0
    path = motion.path(0.0, sense)
    per = path.per
    reached, a, b, points = first_within(
        moved, still, path, abs(limit) * per, clearance_mm=clearance_mm, smallest_step=smallest_step * per, rule=rule,
        known=known,
    )  # fmt: skip
    if a < 0:
        return Stop(limit, False, -1, -1, np.full(3, np.nan))
    place = (points[:3] + points[3:]) / 2
    return Stop(sense * reached / per, True, int(moved.bvh.order[a]), int(still.bvh.order[b]), place)
