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
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import block_diag

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
    closed = bounds and len(set(owners)) > 1
    shared = [i for i in range(len(rows)) if system.open_share(i)] if closed else []
    between = system.bounds(shared) if shared else {}
    out: dict[str, Load] = {}
    for index, row in enumerate(rows):
        load = _measure(row, system.moment(index, sharing))
        low, high = between.get(index, (load, load))
        old = out.get(row.joint)
        if old is None or load > old.nmm:
            out[row.joint] = Load(load, min(low, load), max(high, load))
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
        arm = placed[name][:2, :3] @ body.centre_mm + placed[name][:2, 3] - row.centre[:2]
        out[:2] += _weight_n(body.mass_g) * np.array([-arm[1], arm[0]])  # arm × (0, 0, -weight)
    return out


class _System:
    """All moments as straight functions of the ground's forces: at each contact four pushes along the edges of its cone
    of friction (a pyramid of four sides inside the round one), none negative."""

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
        ways = np.array([[friction, 0, 1], [-friction, 0, 1], [0, friction, 1], [0, -friction, 1]], dtype=np.float64)
        force = np.tile(ways, (len(points), 1))
        at = np.repeat(points, len(ways), axis=0)
        self._fixed = [_gravity(row, masses, placed) for row in rows]
        self._slope = []
        for row in rows:
            on = np.repeat(np.array([o in row.parts for o in owners], dtype=np.float64), len(ways))
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
        n = self._equal.shape[1]
        equal = np.column_stack([self._equal, np.zeros(6)])
        found = _least(np.eye(n + 1)[-1], equal, self._sums, np.vstack(rows), np.concatenate(limits))
        return None if found is None else found[:-1]

    def bounds(self, indices: Sequence[int]) -> dict[int, tuple[float, float]]:
        """Least and most of each moment: the least of its largest component, the length of its largest components."""
        lows, highs = self._lows(indices), self._highs(indices)
        return {index: (low, high) for index, low, high in zip(indices, lows, highs, strict=True)}

    def _lows(self, indices: Sequence[int]) -> list[float]:
        n = self._equal.shape[1]
        equal = np.column_stack([self._equal, np.zeros(6)])
        above = [
            np.column_stack([r.ways @ self._slope[i], -np.ones(len(r.ways))])
            for i, r in ((i, self._rows[i]) for i in indices)
        ]
        limits = [-self._rows[i].ways @ self._fixed[i] for i in indices]
        found = _least(
            np.tile(np.eye(n + 1)[-1], len(indices)),
            block_diag([equal] * len(indices), format="csr"),
            np.tile(self._sums, len(indices)),
            block_diag(above, format="csr"),
            np.concatenate(limits),
        )
        if found is None:
            return [0.0] * len(indices)
        forces = found.reshape(len(indices), n + 1)[:, :-1]
        return [_measure(self._rows[i], self.moment(i, f)) for i, f in zip(indices, forces, strict=True)]

    def _highs(self, indices: Sequence[int]) -> list[float]:
        """Every component's largest value either way: programs that know nothing of each other, handed over as one."""
        n = self._equal.shape[1]
        ways = [np.eye(3) if self._rows[i].free else self._rows[i].ways[:1] for i in indices]
        owner = np.repeat(np.arange(len(indices)), [2 * len(w) for w in ways])
        both = np.concatenate([np.concatenate([w, -w]) for w in ways])
        slopes = np.stack([w @ self._slope[indices[k]] for w, k in zip(both, owner.tolist(), strict=True)])
        found = _least(
            -slopes.ravel(), block_diag([self._equal] * len(slopes), format="csr"), np.tile(self._sums, len(slopes))
        )
        fixed = np.array([w @ self._fixed[indices[k]] for w, k in zip(both, owner.tolist(), strict=True)])
        value = np.zeros(len(slopes)) if found is None else fixed + (slopes * found.reshape(len(slopes), n)).sum(axis=1)
        out = []
        for k in range(len(indices)):
            told = np.maximum(value[owner == k], 0.0)
            most = np.maximum(told[: len(told) // 2], told[len(told) // 2 :])
            out.append(float(np.linalg.norm(most)))
        return out


def _least(
    cost: FloatArray, equal: Any, sums: FloatArray, above: Any = None, limits: FloatArray | None = None
) -> FloatArray | None:
    """The x ≥ 0 of least cost with equal · x = sums and above · x ≤ limits; None where there is none."""
    found = linprog(cost, above, limits, equal, sums, (0.0, None), method="highs")
    return np.asarray(found.x) if found.status == 0 else None
