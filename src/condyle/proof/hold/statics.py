"""The moment that each joint of a posed figure has to hold: hanging from its root, or standing on its contacts.

Cut a joint, and what lies beyond it must balance: its weight, the ground's forces on it, and the joint's moment. In a
figure on one foot that settles all. On two feet the chain is closed and the shares of the ground's forces are not settled
by statics: then the figure stands as long as *some* share is held by all joints (the static theorem of limit analysis: the
joints' friction does not depend on their load; W. Prager and P. G. Hodge, from memory), so the share that strains
the worst joint least is found by linear programming. How low and how high each moment can be is told beside it. Friction
on the ground is no associated flow, so the theorem is only taken with a low coefficient.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from condyle.figure.kit import BuiltJoint, Kit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.resting import flat_hull
from condyle.proof.mass import PartMass
from condyle.units import GRAVITY_M_S2

_WAYS = np.array(
    [[i, j, k] for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if (i, j, k) != (0, 0, 0)], dtype=np.float64
)
_WAYS = _WAYS / np.linalg.norm(_WAYS, axis=1, keepdims=True)


@dataclass(frozen=True)
class Load:
    """What a joint has to hold, N·mm: about its axis for hinges and swivels, about its centre for balls.

    low_nmm, high_nmm   the least and the most that statics allow; both are the load itself where it is settled
    """

    nmm: float
    low_nmm: float
    high_nmm: float


@dataclass(frozen=True, eq=False)
class _Row:
    """One axle: its joint, where it is, the directions about which its moment counts, and what lies beyond."""

    joint: str
    centre: FloatArray
    ways: FloatArray
    free: bool
    parts: frozenset[str]


def held_loads(kit: Kit, masses: Mapping[str, PartMass], placed: Mapping[str, FloatArray]) -> dict[str, Load]:
    """Loads of a figure held by its root bone: gravity alone, all settled."""
    loads: dict[str, float] = {}
    for row in _rows(kit, placed):
        moment = _gravity(row, masses, placed)
        loads[row.joint] = max(loads.get(row.joint, 0.0), _measure(row, moment))
    return {name: Load(v, v, v) for name, v in loads.items()}


def standing_loads(
    kit: Kit,
    masses: Mapping[str, PartMass],
    placed: Mapping[str, FloatArray],
    contacts: Mapping[str, FloatArray],
    capacity_nmm: Mapping[str, float],
    friction: float,
    *,
    bounds: bool = True,
) -> dict[str, Load]:
    """Loads of a figure that stands: ``contacts`` are the points (k, 3) at which each part bears on the ground.

    ``capacity_nmm`` weighs the joints against each other where the share is free. Where the contacts cannot carry the
    figure (they always can when it was put down), loads are those of a figure held by its root.
    """
    rows = _rows(kit, placed)
    owners = [name for name in sorted(contacts) for _ in contacts[name]]
    points = np.concatenate([contacts[name] for name in sorted(contacts)])
    system = _System(rows, masses, placed, owners, points, friction)
    sharing = system.share({r.joint: max(capacity_nmm.get(r.joint, 0.0), 1e-2) for r in rows})
    if sharing is None:
        return held_loads(kit, masses, placed)
    out: dict[str, Load] = {}
    closed = len(set(owners)) > 1
    for index, row in enumerate(rows):
        load = _measure(row, system.moment(index, sharing))
        low = high = load
        if bounds and closed and system.open_share(index):
            low, high = system.bounds(index)
            low, high = min(low, load), max(high, load)
        old = out.get(row.joint)
        if old is None or load > old.nmm:
            out[row.joint] = Load(load, low, high)
    return out


def contact_points(
    corners: Mapping[str, FloatArray], placed: Mapping[str, FloatArray], within_mm: float
) -> dict[str, FloatArray]:
    """Where each part of a figure that was put down bears: the outline of its points within ``within_mm`` of z = 0."""
    out = {}
    for name in sorted(corners):
        points = corners[name] @ placed[name][:3, :3].T + placed[name][:3, 3]
        on = points[points[:, 2] <= within_mm]
        if len(on):
            flat = _thinned(flat_hull(on[:, :2]))
            out[name] = np.column_stack([flat, np.zeros(len(flat))])
    return out


def _thinned(polygon: FloatArray, most: int = 8) -> FloatArray:
    """The corners farthest along ``most`` directions: a polygon inside the given one."""
    angles = 2.0 * np.pi * np.arange(most) / most
    far = np.unique(np.argmax(polygon @ np.stack([np.cos(angles), np.sin(angles)]), axis=0))
    return np.asarray(polygon[far])


def _rows(kit: Kit, placed: Mapping[str, FloatArray]) -> list[_Row]:
    hangs: dict[str, list[str]] = {}
    for joint in kit.joints:
        for axle in joint.axles if joint.built else ():
            hangs.setdefault(axle.stays, []).append(axle.moves)

    def gather(part: str) -> frozenset[str]:
        return frozenset({part}).union(*(gather(p) for p in hangs.get(part, [])))

    out = []
    for joint in kit.joints:
        if not joint.built or not joint.seated.axes:
            continue
        for axle in joint.axles:
            m = placed[axle.stays]
            out.append(
                _Row(
                    joint.name,
                    m[:3, :3] @ np.asarray(axle.centre) + m[:3, 3],
                    _ways(joint) @ m[:3, :3].T,
                    len(joint.seated.axes) > 1,
                    gather(axle.moves),
                )
            )
    return out


def _ways(joint: BuiltJoint) -> FloatArray:
    """Directions about which a joint's moment counts, figure coordinates at rest: its axis both ways, or all around."""
    axes = [np.asarray(a, dtype=np.float64) for a in joint.seated.axes.values()]
    return np.stack([axes[0], -axes[0]]) if len(axes) == 1 else _WAYS


def _measure(row: _Row, moment: FloatArray) -> float:
    return float(np.linalg.norm(moment)) if row.free else float(np.abs(row.ways[0] @ moment))


def _weight_n(mass_g: float) -> float:
    return mass_g * 1e-3 * GRAVITY_M_S2


def _gravity(row: _Row, masses: Mapping[str, PartMass], placed: Mapping[str, FloatArray]) -> FloatArray:
    """Moment of gravity on all beyond, about the axle's centre."""
    out = np.zeros(3)
    for name in sorted(row.parts):
        body = masses[name].printed
        arm = placed[name][:3, :3] @ body.centre_mm + placed[name][:3, 3] - row.centre
        out += np.cross(arm, [0.0, 0.0, -_weight_n(body.mass_g)])
    return out


class _System:
    """All moments as straight functions of the ground's forces: at each contact a push and four slips, none negative."""

    def __init__(
        self,
        rows: Sequence[_Row],
        masses: Mapping[str, PartMass],
        placed: Mapping[str, FloatArray],
        owners: Sequence[str],
        points: FloatArray,
        friction: float,
    ) -> None:
        self._rows = rows
        ways = np.array([[0, 0, 1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]], dtype=np.float64)
        k = len(points)
        force = np.tile(ways, (k, 1))
        at = np.repeat(points, 5, axis=0)
        self._fixed = [_gravity(row, masses, placed) for row in rows]
        self._slope = []
        for row in rows:
            on = np.repeat(np.array([o in row.parts for o in owners], dtype=np.float64), 5)
            self._slope.append(np.cross(at - row.centre, force).T * on)
        weight = sum(_weight_n(m.printed.mass_g) for m in masses.values())
        centre = (
            sum(
                _weight_n(m.printed.mass_g) * (placed[n][:3, :3] @ m.printed.centre_mm + placed[n][:3, 3])
                for n, m in masses.items()
            )
            / weight
        )
        self._equal = np.vstack([force.T, np.cross(at, force).T])
        self._sums = np.concatenate([[0.0, 0.0, weight], np.cross(centre, [0.0, 0.0, weight])])
        cone = np.zeros((k, 5 * k))
        for i in range(k):
            cone[i, 5 * i] = -friction
            cone[i, 5 * i + 1 : 5 * i + 5] = 1.0
        self._cone = cone

    def moment(self, index: int, forces: FloatArray) -> FloatArray:
        return np.asarray(self._fixed[index] + self._slope[index] @ forces)

    def open_share(self, index: int) -> bool:
        """Whether the ground's forces reach this joint, and not all of them."""
        reach = np.abs(self._slope[index]).sum(axis=0) > 0.0
        return bool(reach.any() and not reach.all())

    def share(self, capacity: Mapping[str, float]) -> FloatArray | None:
        """The forces that strain the joint nearest to slipping least; None where the contacts cannot carry."""
        rows, limits = [], []
        for index, row in enumerate(self._rows):
            rows.append(np.column_stack([row.ways @ self._slope[index], np.full(len(row.ways), -capacity[row.joint])]))
            limits.append(-row.ways @ self._fixed[index])
        return self._solve(rows, limits)

    def bounds(self, index: int) -> tuple[float, float]:
        """Least and most of one moment: the least of its largest component, the length of its largest components."""
        row, slope, fixed = self._rows[index], self._slope[index], self._fixed[index]
        best = self._solve([np.column_stack([row.ways @ slope, -np.ones(len(row.ways))])], [-row.ways @ fixed])
        low = _measure(row, self.moment(index, best)) if best is not None else 0.0
        ways = np.eye(3) if row.free else row.ways[:1]
        most = [
            max(self._extreme(w @ slope, float(w @ fixed)), self._extreme(-w @ slope, float(-w @ fixed))) for w in ways
        ]
        return low, float(np.linalg.norm(most))

    def _solve(self, rows: list[FloatArray], limits: list[FloatArray]) -> FloatArray | None:
        """Least t with rows · (forces, t) ≤ limits."""
        n = self._equal.shape[1]
        cost = np.zeros(n + 1)
        cost[-1] = 1.0
        above = np.vstack([*rows, np.column_stack([self._cone, np.zeros(len(self._cone))])])
        right = np.concatenate([*limits, np.zeros(len(self._cone))])
        found = linprog(
            cost, above, right, np.column_stack([self._equal, np.zeros(6)]), self._sums, (0.0, None), method="highs"
        )
        return np.asarray(found.x[:-1]) if found.status == 0 else None

    def _extreme(self, cost: FloatArray, fixed: float) -> float:
        found = linprog(
            -cost, self._cone, np.zeros(len(self._cone)), self._equal, self._sums, (0.0, None), method="highs"
        )
        return max(0.0, fixed - float(found.fun)) if found.status == 0 else 0.0
