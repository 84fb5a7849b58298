"""Which pose is the nearest that a figure can take, and what had to change?

The angles asked are first brought inside the joints' limits, and those of a detented joint to its nearest rest (a contact may
still stop it between two). Then each joint alone goes as far towards them as its own
two sides allow. Where parts that only hang on the same figure still meet, the joint between them whose turn costs least
gives way (degrees, times the root of the number of parts that it carries), pair after pair. At last every angle goes back
towards what was asked as far as all stays clear. That is a descent, one angle at a time: the result is free and cannot be
bettered by changing one angle, but a combined change might come nearer. A pose is judged where it stands; whether there
is a way to it is pose_way.py's question.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from condyle.figure.kit import BuiltJoint
from condyle.figure.pose import Angles, Pose, axle_turns, carried
from condyle.figure.skeleton import Motion
from condyle.geometry.mesh import FloatArray
from condyle.proof.pose_contact import Contact, Figure, Pair

Reason = Literal["limit", "contact", "not built", "stuck", "rest"]

_SLACK = 1.05
"""A search keeps this much more than the gap to keep, so that rounding the angles leaves the pose free."""
_FINE_DEG = 0.2
_STEPS_DEG = (1.0, 2.0, 3.5, 5.0, 7.5, 10.0, 14.0, 19.0, 25.0, 32.0, 40.0, 50.0, 65.0, 80.0)
_ROUNDS = 40


@dataclass(frozen=True)
class Change:
    """One angle that is not as asked, degrees from the human zero; for a contact, the two parts and where they meet."""

    joint: str
    motion: Motion
    asked_deg: float
    reached_deg: float
    reason: Reason
    contact: Contact | None = None

    @property
    def by_deg(self) -> float:
        return self.reached_deg - self.asked_deg


@dataclass(frozen=True)
class Solution:
    """The pose that was found, what was changed for it, and the contacts that are left (none unless the rest is not free)."""

    pose: Pose
    changes: tuple[Change, ...]
    left: tuple[Contact, ...]


Table = dict[str, dict[Motion, float]]


def nearest(figure: Figure, asked: Pose) -> Solution:
    """The nearest pose that the descent finds. UsageError for joints and motions that the kit does not have."""
    return _Search(figure, asked).solution()


class _Search:
    """The state of one search: the goal, the angles now, and each part's turn."""

    def __init__(self, figure: Figure, asked: Pose) -> None:
        self.figure, self.name = figure, asked.name
        self.asked: Table = {j.name: asked.of(j.seated) for j in figure.kit.joints if j.name in asked.angles}
        self.rest: Table = {n: Pose("").of(j.seated) for n, j in figure.joints.items()}
        self.why: dict[tuple[str, Motion], Contact] = {}
        self.fixed = {n for n in figure.joints if n in figure.stuck}
        self.goal: Table = {n: self._within(j, self.asked.get(n, self.rest[n])) for n, j in figure.joints.items()}
        self.now: Table = {n: dict(a) for n, a in self.rest.items()}
        self._turns: dict[str, FloatArray] = {}
        for name in figure.joints:
            self._set(name, self.now[name])
        self._weight = {n: math.sqrt(max(1, _carried(figure, j))) for n, j in figure.joints.items()}

    def _within(self, joint: BuiltJoint, angles: Angles) -> dict[Motion, float]:
        """Inside the limits; the sculpt's own pose is always inside."""
        rest = self.rest[joint.name]
        if joint.name in self.fixed:
            return dict(rest)
        out: dict[Motion, float] = {}
        for motion, angle in angles.items():
            low, high = joint.seated.spec.wanted.get(motion, (-180.0, 180.0))
            low, high = min(low, rest[motion]), max(high, rest[motion])
            out[motion] = min(max(angle, low), high)
            if joint.detents:
                out[motion] = _at_rest(out[motion], rest[motion], joint.seated.spec.detent_deg, low, high)
        return out

    def _set(self, joint: str, angles: Angles) -> None:
        self.now[joint] = dict(angles)
        self._turns.update(axle_turns(self.figure.joints[joint], angles))

    def _contacts(self, pairs: Iterable[Pair] | None = None, first_only: bool = False) -> list[Contact]:
        placed = carried(self.figure.kit, self._turns)
        return self.figure.meeting(placed, pairs, stretch=_SLACK, first_only=first_only)

    def _free(self, joint: str, angles: Angles, pairs: Iterable[Pair]) -> Contact | None:
        """What these pairs meet with when the joint stands so; the joint goes back to where it was."""
        before = self.now[joint]
        self._set(joint, angles)
        met = self._contacts(pairs, first_only=True)
        self._set(joint, before)
        return met[0] if met else None

    def solution(self) -> Solution:
        for name in self.figure.joints:
            self._alone(name)
        self._make_room()
        self._return()
        self._round()
        return Solution(Pose(self.name, {n: self.now[n] for n in self.now}), self._changes(), tuple(self._contacts()))

    def _alone(self, name: str) -> None:
        """As far towards the goal as the joint's own sides allow, the other joints aside."""
        pairs, goal = self.figure.of_joint(name), self.goal[name]
        if goal == self.now[name]:
            return
        self._towards(name, goal, pairs)
        if len(goal) > 1 and self.now[name] != goal:
            for _ in range(2):
                for motion in goal:
                    self._towards(name, {**self.now[name], motion: goal[motion]}, pairs)

    def _towards(self, name: str, goal: Angles, pairs: list[Pair]) -> None:
        """Move one joint on a straight line of its angles as far as it stays free, by halving."""
        start = self.now[name]
        span = max((abs(goal[m] - start[m]) for m in goal), default=0.0)
        if span < 1e-9:
            return
        stop = self._free(name, goal, pairs)
        if stop is None:
            self._set(name, goal)
            return
        low, high = 0.0, 1.0
        while (high - low) * span > _FINE_DEG:
            middle = (low + high) / 2
            met = self._free(name, _mix(start, goal, middle), pairs)
            if met is None:
                low = middle
            else:
                high, stop = middle, met
        for motion in goal:
            if abs(goal[motion] - start[motion]) > _FINE_DEG:
                self.why[name, motion] = stop
        self._set(name, _mix(start, goal, low))

    def _make_room(self) -> None:
        """Let joints give way until no two parts meet; in the end the whole pose goes towards the sculpt's."""
        for _ in range(_ROUNDS):
            met = self._contacts()
            if not met:
                return
            if not any(self._give_way(contact, met) for contact in met):
                break
        else:
            if not self._contacts():
                return
        there = {n: dict(a) for n, a in self.now.items()}
        for step in range(19, -1, -1):
            for name, angles in there.items():
                self._set(name, _mix(self.rest[name], angles, step / 20.0))
            if not self._contacts(first_only=True):
                return

    def _give_way(self, contact: Contact, met: list[Contact]) -> bool:
        """The cheapest turn of one joint that parts a pair and lets no other meet."""
        pair = next(p for p in self.figure.pairs if (p.first, p.second) == (contact.first, contact.second))
        allowed = {(c.first, c.second) for c in met}
        tries = []
        for name in pair.between:
            if name in self.fixed:
                continue
            joint = self.figure.joints[name]
            for motion in self.now[name]:
                for sense in (-1.0, 1.0):
                    for step in _STEPS_DEG:
                        tries.append((step * self._weight[name], name, joint, motion, sense * step))
        tries.sort(key=lambda t: (t[0], t[1], t[3], t[4]))
        for _, name, joint, motion, turn in tries:
            angles = {**self.now[name], motion: self.now[name][motion] + turn}
            if self._within(joint, angles) != angles or self._free(name, angles, [pair]) is not None:
                continue
            before = self.now[name]
            self._set(name, angles)
            others = [p for p in self.figure.crossed_by(name) if (p.first, p.second) not in allowed]
            if self._contacts(others, first_only=True):
                self._set(name, before)
                continue
            self.why[name, motion] = contact
            return True
        return False

    def _return(self) -> None:
        """Take back, angle by angle, what was not needed after all."""
        for _ in range(2):
            off = [
                (abs(self.goal[n][m] - self.now[n][m]), n, m)
                for n in self.now
                for m in self.now[n]
                if abs(self.goal[n][m] - self.now[n][m]) > _FINE_DEG
            ]
            for _, name, motion in sorted(off, reverse=True):
                goal = {**self.now[name], motion: self.goal[name][motion]}
                self._towards(name, goal, self.figure.crossed_by(name))

    def _round(self) -> None:
        """To a tenth of a degree, where that stays free: a maker sets no finer angle."""
        for name in self.now:
            rounded: dict[Motion, float] = {
                m: a if a in (self.goal[name][m], self.rest[name][m]) else round(a, 1) + 0.0
                for m, a in self.now[name].items()
            }
            if rounded != self.now[name] and self._free(name, rounded, self.figure.crossed_by(name)) is None:
                self._set(name, rounded)

    def _changes(self) -> tuple[Change, ...]:
        out = []
        for name, asked in self.asked.items():
            now = self.now.get(name)
            for motion, angle in asked.items():
                if now is None:
                    at = {j.name: j.seated for j in self.figure.kit.joints}[name].rest.get(motion, 0.0)
                    if abs(at - angle) > _FINE_DEG:
                        out.append(Change(name, motion, angle, at, "not built"))
                    continue
                at = now[motion]
                if abs(at - angle) <= _FINE_DEG:
                    continue
                reason: Reason = "contact"
                if name in self.fixed:
                    reason = "stuck"
                elif abs(at - self.goal[name][motion]) <= _FINE_DEG:
                    within = self.figure.joints[name].seated.spec.wanted.get(motion, (-180.0, 180.0))
                    clicks = bool(self.figure.joints[name].detents) and within[0] <= angle <= within[1]
                    reason = "rest" if clicks else "limit"
                contact = self.why.get((name, motion)) if reason == "contact" else None
                out.append(Change(name, motion, angle, at, reason, contact))
        return tuple(sorted(out, key=lambda c: (-abs(c.by_deg), c.joint, c.motion)))


def _at_rest(angle: float, zero: float, step: float, low: float, high: float) -> float:
    """The rest of a detented joint that lies nearest, rests counted from the sculpt's pose, inside the limits."""
    k = min(max(round((angle - zero) / step), math.ceil((low - zero) / step)), math.floor((high - zero) / step))
    return zero + k * step


def _mix(a: Angles, b: Angles, share: float) -> dict[Motion, float]:
    return {m: a[m] + share * (b[m] - a[m]) for m in b}


def _carried(figure: Figure, joint: BuiltJoint) -> int:
    """How many parts hang beyond a joint."""
    return sum(1 for p in figure.kit.parts if figure.hangs_on(p.name, joint.name))
