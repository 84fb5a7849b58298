"""Is there a way from one pose to another along which nothing meets?

A way is a row of poses. Between two neighbours of the row every joint turns evenly about one axis (as an animation of the
GLB plays it), a double hinge about both. Nothing is sampled: the two sides of a joint are followed by conservative
advancement with the true lever of each pair of triangles (geometry/advance.py); parts farther off each other on the
skeleton by a bound on their speed, the sum over the joints between of turn times reach, the reach being the longest way
along the limb from the joint to any point of the part.

Tried are: all joints together; the outer joints first; the inner first. Where each meets something the answer is that no
way was found, not that there is none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from scipy.spatial.transform import Rotation

from condyle.figure.pose import Pose, carried, joint_turn, part_turns
from condyle.figure.skeleton import Motion, SeatedJoint
from condyle.finding import Point
from condyle.geometry import advance as adv
from condyle.geometry.gap import smallest_gap
from condyle.geometry.mesh import FloatArray
from condyle.proof.pose_contact import Contact, Figure, Pair

Order = Literal["together", "outer first", "inner first"]

_KEY_DEG = 30.0
_SMALLEST_DEG = 0.02
_SMALLEST_MM = 0.002


@dataclass(frozen=True)
class Way:
    """The poses of the row, first and last included; in which order the joints go; what stops it, None where nothing was
    met; and whether it was followed at all."""

    keys: tuple[Pose, ...]
    order: Order
    stopped: Contact | None = None
    followed: bool = True

    @property
    def free(self) -> bool:
        return self.followed and self.stopped is None


def straight_way(figure: Figure, start: Pose, end: Pose) -> Way:
    """All joints together, not followed: for showing only."""
    return Way(_keys(figure, start, end, "together"), "together", followed=False)


def find_way(figure: Figure, start: Pose, end: Pose) -> Way:
    """The first order in which the figure comes from one pose to the other without contact; else the straight one."""
    first: Way | None = None
    orders: tuple[Order, ...] = ("together", "outer first", "inner first")
    for order in orders:
        keys = _keys(figure, start, end, order)
        way = Way(keys, order, _stop(figure, keys))
        if way.free:
            return way
        first = first or way
    assert first is not None
    return first


def _keys(figure: Figure, start: Pose, end: Pose, order: Order) -> tuple[Pose, ...]:
    """The row of poses. No step turns a joint with one axis past a multiple of 30° from where the sculpt holds it, nor a
    ball further than 30°: so ways to several poses share their steps."""
    seated = {n: j.seated for n, j in figure.joints.items()}
    goal = {n: end.of(j) for n, j in seated.items()}
    depth = {n: len(figure.trail(j.axles[0].stays)) for n, j in figure.joints.items()}
    groups = [sorted(depth)]
    if order != "together":
        levels = sorted(set(depth.values()), reverse=order == "outer first")
        groups = [[n for n in sorted(depth) if depth[n] == level] for level in levels]
    keys = [Pose(start.name, {n: start.of(j) for n, j in seated.items()})]
    for group in groups:
        last = keys[-1]
        rows = {n: _row(seated[n], last.of(seated[n]), goal[n]) for n in group}
        for k in range(max((len(row) for row in rows.values()), default=0)):  # no joint built: no step
            angles = {**last.angles, **{n: row[min(k, len(row) - 1)] for n, row in rows.items()}}
            if any(angles[n] != keys[-1].angles[n] for n in group):
                keys.append(Pose(end.name, angles))
    return tuple(keys)


def _row(seated: SeatedJoint, start: dict[Motion, float], end: dict[Motion, float]) -> list[dict[Motion, float]]:
    """The angles of one joint at the ends of its steps."""
    if start == end:
        return [end]
    if len(end) == 1:
        ((motion, a),), b = start.items(), next(iter(end.values()))
        rest = seated.rest.get(motion, 0.0)
        low, high = sorted((a, b))
        marks = (
            np.arange(math.floor((low - rest) / _KEY_DEG) + 1, math.ceil((high - rest) / _KEY_DEG)) * _KEY_DEG + rest
        )
        inner = [float(v) for v in marks if low < v < high]
        return [{motion: v} for v in (inner if b > a else inner[::-1])] + [end]
    swing = math.hypot(*(end[m] - start[m] for m in end if m != "twist"))
    turned = swing + abs(end.get("twist", 0.0) - start.get("twist", 0.0))
    steps = max(1, math.ceil(turned / _KEY_DEG))
    return [{m: start[m] + k / steps * (end[m] - start[m]) for m in end} for k in range(1, steps)] + [end]


def _stop(figure: Figure, keys: Sequence[Pose]) -> Contact | None:
    for a, b in pairwise(keys):
        step = _Step(figure, a, b)
        found = step.own() or step.others()
        if found is not None:
            return found
    return None


class _Step:
    """One step of a way: from one pose to the next, every joint turning evenly."""

    def __init__(self, figure: Figure, a: Pose, b: Pose) -> None:
        self.figure, self.a, self.b = figure, a, b
        self.base = part_turns(figure.kit, a)
        self.turns: dict[str, FloatArray] = {}
        for name, joint in figure.joints.items():
            one, two = a.of(joint.seated), b.of(joint.seated)
            if one == two:
                continue
            if len(joint.axles) == 2:
                turn = (two["flex"] - one["flex"]) * np.asarray(joint.seated.axes["flex"])
            else:
                back = joint_turn(joint.seated, one).T
                turn = Rotation.from_matrix(joint_turn(joint.seated, two) @ back).as_rotvec(degrees=True)
            if float(np.linalg.norm(turn)) > 1e-9:
                self.turns[name] = turn

    def own(self) -> Contact | None:
        """What the two sides of a turning joint meet with."""
        for name, turn in self.turns.items():
            for pair in self.figure.of_joint(name):
                seated = self.figure.joints[name].seated
                one, two = self.a.of(seated), self.b.of(seated)
                key: tuple[str | float, ...] = (pair.first, pair.second, *one.values(), *two.values())
                if key not in self.figure.followed:
                    self.figure.followed[key] = self._along(pair, name, turn)
                share, place = self.figure.followed[key]
                if place is not None:
                    return self._contact(pair, np.asarray(place), share)
        return None

    def _along(self, pair: Pair, name: str, turn: FloatArray) -> tuple[float, Point | None]:
        """How far the two sides come, as a share of the step, and where they meet (second part's rest coordinates)."""
        size = float(np.linalg.norm(turn))
        stop = adv.advance(
            *pair.surfaces,
            self._motion(pair, name, turn),
            size,
            clearance_mm=pair.keep_mm,
            smallest_step=_SMALLEST_DEG,
            rule=pair.rule,
        )
        if stop.blocked and size - stop.reached > _SMALLEST_DEG:
            x, y, z = (float(v) for v in stop.place)
            return stop.reached / size, (x, y, z)
        return 1.0, None

    def _motion(self, pair: Pair, name: str, turn: FloatArray) -> adv.Onward:
        """The pair's first part against its second, in the second's rest coordinates."""
        joint = self.figure.joints[name]
        axis, centres = turn / np.linalg.norm(turn), [np.asarray(a.centre, dtype=float) for a in joint.axles]
        start = self.base
        if len(joint.axles) == 1:
            return adv.Onward(adv.Turn(centres[0], axis), 0.0, start[joint.axles[0].moves])
        for axle, centre in zip(joint.axles, centres, strict=True):
            if (pair.first, pair.second) == (axle.moves, axle.stays):
                return adv.Onward(adv.Turn(centre, axis, 0.5), 0.0, start[axle.moves])
        stands = self.a.of(joint.seated)["flex"] - joint.seated.rest.get("flex", 0.0)
        sense = 1.0 if float(axis @ np.asarray(joint.seated.axes["flex"])) > 0 else -1.0
        ends = (joint.axles[0].stays, joint.axles[1].moves)
        if (pair.first, pair.second) == ends:
            # The first part stays: turned about, it goes back about the far axle, then the near one.
            return adv.Onward(adv.TwoTurns(centres[1], centres[0], -axis), sense * stands)
        return adv.Onward(adv.TwoTurns(centres[0], centres[1], axis), sense * stands)

    def others(self) -> Contact | None:
        """What any other two parts meet with on the way."""
        moving = set(self.turns)
        for pair in self.figure.pairs:
            if len(pair.between) > 1 and moving.intersection(pair.between):
                met = self._follow(pair)
                if met is not None:
                    return met
        return None

    def _follow(self, pair: Pair) -> Contact | None:
        speed = sum(
            math.radians(float(np.linalg.norm(self.turns[j]))) * self.figure.reach_mm(j, pair)
            for j in pair.between
            if j in self.turns
        )
        at = 0.0
        while at < 1.0:
            placed = self.placed(at)
            matrix = np.linalg.inv(placed[pair.second]) @ placed[pair.first]
            gap = smallest_gap(*pair.surfaces, matrix, limit_mm=pair.keep_mm + speed * (1.0 - at))
            if not np.isfinite(gap.distance_mm):
                return None
            spare = gap.distance_mm - pair.keep_mm
            if spare < _SMALLEST_MM and (1.0 - at) * speed > 0.02:
                return self._contact(pair, np.asarray(gap.middle), at)
            at += max(spare, _SMALLEST_MM) / speed
        return None

    def placed(self, share: float) -> dict[str, FloatArray]:
        """Where the parts are at a share of the step."""
        turns = dict(self.base)
        for name, turn in self.turns.items():
            joint = self.figure.joints[name]
            rotation = Rotation.from_rotvec(turn * share / len(joint.axles), degrees=True).as_matrix()
            for axle in joint.axles:
                centre = np.asarray(axle.centre, dtype=float)
                m = np.eye(4)
                m[:3, :3] = rotation
                m[:3, 3] = centre - rotation @ centre
                turns[axle.moves] = m @ turns[axle.moves]
        return carried(self.figure.kit, turns)

    def _contact(self, pair: Pair, place: FloatArray, share: float) -> Contact:
        there = self.placed(share)[pair.second]
        at: Point = tuple(float(v) for v in there[:3, :3] @ place + there[:3, 3])  # type: ignore[assignment]
        return Contact(pair.first, pair.second, pair.keep_mm, pair.keep_mm, at)
