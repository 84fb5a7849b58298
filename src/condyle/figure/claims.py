"""The flesh that a plan claims in each bone, and whether two plans claim the same.

Claims are simple forms filled with points half a wall apart; two claims clash when a point of one lies in the other. The
wall that each claim carries is wider than that spacing, so what slips between points is not yet a hole in a wall.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from condyle.figure.plan import Half, Plan
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.joints.design import Need

_SPACING_MM = 0.7


@dataclass(frozen=True, eq=False)
class Form:
    """A form in a frame: its points in figure coordinates, and a test whether other points lie in it."""

    frame: Frame
    points: FloatArray
    holds: Callable[[FloatArray], BoolArray]
    low: FloatArray
    high: FloatArray


class Claims:
    """Claims of plans, made when asked for and kept."""

    def __init__(self, wall_mm: float) -> None:
        self._wall = wall_mm
        self._forms: dict[tuple[int, str], list[Form]] = {}
        self._clashes: dict[tuple[int, int], bool] = {}

    def clash(self, a: Plan, b: Plan) -> bool:
        """Whether two joints want the same flesh of a bone that they share."""
        key = (id(a), id(b)) if id(a) < id(b) else (id(b), id(a))
        if key not in self._clashes:
            self._clashes[key] = self._clash(a, b)
        return self._clashes[key]

    def _clash(self, a: Plan, b: Plan) -> bool:
        for side_a in ("parent", "child"):
            for side_b in ("parent", "child"):
                if getattr(a.joint.spec, side_a) != getattr(b.joint.spec, side_b):
                    continue
                for one in self._of(a, side_a):
                    for two in self._of(b, side_b):
                        if _meet(one, two):
                            return True
        return False

    def _of(self, plan: Plan, side: str) -> list[Form]:
        key = (id(plan), side)
        if key not in self._forms:
            self._forms[key] = [f for half in plan.halves for f in _forms(half, side, self._wall)]
        return self._forms[key]


def _meet(a: Form, b: Form) -> bool:
    if (a.low > b.high).any() or (b.low > a.high).any():
        return False
    return bool(b.holds(b.frame.to_local(a.points)).any() or a.holds(a.frame.to_local(b.points)).any())


def _forms(half: Half, side: str, wall: float) -> list[Form]:
    out = []
    if side == half.cup_side:
        out += [_form(half.frame, n) for n in half.needs if n.z1 <= -0.1]
        if half.cut.radius_mm:
            out.append(_hollow(half, wall))
    if side == half.knuckle_side:
        out += [_form(half.frame, n) for n in half.needs if n.z1 > -0.1]
    return out


def _form(frame: Frame, need: Need) -> Form:
    half_y = need.half_x if need.rounded else need.half_y

    def holds(p: FloatArray) -> BoolArray:
        level = (p[:, 2] > need.z0) & (p[:, 2] < need.z1)
        if need.rounded:
            return np.asarray(level & (p[:, 0] ** 2 + p[:, 1] ** 2 < need.half_x**2))
        return np.asarray(level & (np.abs(p[:, 0]) < need.half_x) & (np.abs(p[:, 1]) < half_y))

    return _filled(frame, (-need.half_x, -half_y, need.z0), (need.half_x, half_y, need.z1), holds)


def _hollow(half: Half, wall: float) -> Form:
    """The cup's hollow with a wall around it."""
    r = half.cut.cup_mm + 0.75 * wall
    reach = r if half.cut.shape == "sphere" else max(1.0, *half.skin_mm)

    def holds(p: FloatArray) -> BoolArray:
        if half.cut.shape == "sphere":
            return np.asarray((p[:, 2] < 0) & ((p**2).sum(axis=1) < r * r))
        return np.asarray((p[:, 2] < 0) & (p[:, 1] ** 2 + p[:, 2] ** 2 < r * r) & (np.abs(p[:, 0]) < reach))

    # Sparse: what meets the hollow is itself filled closely.
    return _filled(half.frame, (-reach, -r, -r), (reach, r, 0.0), holds, 2.0 * _SPACING_MM)


def _filled(
    frame: Frame,
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    holds: Callable[[FloatArray], BoolArray],
    spacing: float = _SPACING_MM,
) -> Form:
    axes = [
        np.linspace(a + 1e-6, b - 1e-6, max(2, int(np.ceil((b - a) / spacing)) + 1))
        for a, b in zip(low, high, strict=True)
    ]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    points = frame.to_outer(grid[holds(grid)])
    return Form(frame, points, holds, points.min(axis=0), points.max(axis=0))
