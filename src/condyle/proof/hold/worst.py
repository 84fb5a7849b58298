"""The worst moment of gravity on a joint anywhere in its reach, held by the root bone: found by search, bounded above.

The search walks one angle at a time, of the joint, of those before it and of those beyond, to the best of a few values, until
nothing gets worse; ranges are boxes, each motion by itself. It finds a bad case, not surely the worst; no case exceeds the
bound: the weight beyond times the length of the way, bone by bone, from the joint to each centre of mass.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.pose import joint_turn
from condyle.figure.skeleton import Motion, Range
from condyle.geometry.frame import rotation_about
from condyle.geometry.mesh import FloatArray
from condyle.proof.mass import PartMass
from condyle.units import GRAVITY_M_S2

Reach = Mapping[str, Mapping[Motion, Range]]
"""Degrees by joint and motion, from the sculpt's own pose."""

_VALUES = 5
_SWEEPS = 3
_DOWN = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True)
class Worst:
    """found_nmm of the search, bound_nmm that nothing exceeds, and the angles (from the sculpt's pose) of what was found."""

    found_nmm: float
    bound_nmm: float
    angles: Mapping[str, Mapping[Motion, float]]


@dataclass(frozen=True, eq=False)
class _Link:
    """One axle on the way: the part that it moves, its centre, its joint and how many axles share the flex."""

    moves: str
    stays: str
    centre: FloatArray
    joint: BuiltJoint


def worst_reach(kit: Kit, masses: Mapping[str, PartMass], reach: Reach) -> dict[str, Worst]:
    """Of every built joint that moves, by name."""
    links = {
        a.moves: _Link(a.moves, a.stays, np.asarray(a.centre, dtype=np.float64), j)
        for j in kit.joints
        if j.built
        for a in j.axles
    }
    hangs: dict[str, list[str]] = {}
    for name in sorted(links):
        hangs.setdefault(links[name].stays, []).append(name)
    out: dict[str, Worst] = {}
    for joint in kit.joints:
        if not joint.built or not joint.seated.axes:
            continue
        for axle in joint.axles:
            found = _Search(links, hangs, masses, reach, axle.moves).run()
            if joint.name not in out or found.found_nmm > out[joint.name].found_nmm:
                out[joint.name] = found
    return out


class _Search:
    """One axle."""

    def __init__(
        self,
        links: Mapping[str, _Link],
        hangs: Mapping[str, list[str]],
        masses: Mapping[str, PartMass],
        reach: Reach,
        moves: str,
    ) -> None:
        self._links, self._hangs, self._masses, self._reach = links, hangs, masses, reach
        self._at = links[moves]
        self._up = self._chain(self._at.stays)
        self._axes = [np.asarray(a) for a in self._at.joint.seated.axes.values()]
        order = [*self._beyond(moves), *self._up]
        self._joints = {links[m].joint.name: links[m].joint for m in order}
        self._turns = {m: np.eye(3) for m in order}
        self._angles: dict[str, dict[Motion, float]] = {
            n: dict.fromkeys(j.seated.axes, 0.0) for n, j in self._joints.items()
        }

    def run(self) -> Worst:
        best = self._load()
        for _ in range(_SWEEPS):
            before = best
            for name in self._joints:
                for motion in self._angles[name]:
                    low, high = self._reach.get(name, {}).get(motion, (0.0, 0.0))
                    kept = self._angles[name][motion]
                    for value in np.linspace(low, high, _VALUES):
                        self._set(name, motion, float(value))
                        load = self._load()
                        if load > best * (1.0 + 1e-9):
                            best, kept = load, float(value)
                    self._set(name, motion, kept)
            if best <= before * 1.001:
                break
        return Worst(best, self._bound(), {n: dict(a) for n, a in self._angles.items()})

    def _chain(self, part: str) -> list[str]:
        out = []
        while part in self._links:
            out.append(part)
            part = self._links[part].stays
        return out

    def _beyond(self, part: str) -> list[str]:
        return [part, *(p for child in self._hangs.get(part, []) for p in self._beyond(child))]

    def _set(self, name: str, motion: Motion, value: float) -> None:
        self._angles[name][motion] = value
        joint = self._joints[name]
        seated = joint.seated
        if len(joint.axles) > 1:
            turn = rotation_about(np.asarray(seated.axes["flex"]), value / len(joint.axles))
        else:
            told: dict[Motion, float] = {m: a + seated.rest.get(m, 0.0) for m, a in self._angles[name].items()}
            turn = joint_turn(seated, told)
        for axle in joint.axles:
            if axle.moves in self._turns:
                self._turns[axle.moves] = turn

    def _load(self) -> float:
        mass, centre = self._hung(self._at.moves)
        arm = self._turns[self._at.moves] @ (centre - self._at.centre)
        down = _DOWN
        for part in reversed(self._up):
            down = self._turns[part].T @ down
        moment = np.cross(arm, down) * (mass * 1e-3 * GRAVITY_M_S2)
        return float(np.linalg.norm(moment)) if len(self._axes) > 1 else float(abs(self._axes[0] @ moment))

    def _hung(self, part: str) -> tuple[float, FloatArray]:
        """Mass and centre of a part and all that hangs on it, in the part's rest coordinates."""
        body = self._masses[part].printed
        mass, first = body.mass_g, body.mass_g * body.centre_mm
        for child in self._hangs.get(part, []):
            link = self._links[child]
            more, centre = self._hung(child)
            first = first + more * (link.centre + self._turns[child] @ (centre - link.centre))
            mass += more
        return mass, first / mass

    def _bound(self) -> float:
        def ways(part: str, start: FloatArray, so_far: float) -> float:
            body = self._masses[part].printed
            total = body.mass_g * (so_far + float(np.linalg.norm(body.centre_mm - start)))
            for child in self._hangs.get(part, []):
                centre = self._links[child].centre
                total += ways(child, centre, so_far + float(np.linalg.norm(centre - start)))
            return total

        return ways(self._at.moves, self._at.centre, 0.0) * 1e-3 * GRAVITY_M_S2
