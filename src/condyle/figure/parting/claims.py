"""The flesh that a plan claims in each bone, and whether two plans claim the same.

Claims are simple forms filled with points half a wall apart; two claims clash when a point of one lies in the other. The
wall that each claim carries is wider than that spacing, so what slips between points is not yet a hole in a wall.
"""

from __future__ import annotations

import numpy as np

from condyle.figure.parting.plan import Half, Plan
from condyle.geometry.forms import Form, half_ball, half_barrel, pillar, square_pillar
from condyle.geometry.mesh import FloatArray
from condyle.joints.design import Need

_SPACING_MM = 0.7


class Claims:
    """Claims of plans, made when asked for and kept."""

    def __init__(self, wall_mm: float) -> None:
        self._wall = wall_mm
        self._forms: dict[tuple[int, str], list[tuple[Form, bool]]] = {}
        self._clashes: dict[tuple[int, int], bool] = {}

    def clash(self, a: Plan, b: Plan) -> bool:
        """Whether two joints want the same flesh of a bone that they share."""
        key = (id(a), id(b)) if id(a) < id(b) else (id(b), id(a))
        if key not in self._clashes:
            self._clashes[key] = self._clash(a, b)
        return self._clashes[key]

    def overlap_mm(self, own: Plan, other: Plan) -> float:
        """How far along its cut axis a plan would have to stand off from another for the two not to clash.

        To half a millimetre, 8 mm where that is not enough.
        """
        axis = np.asarray(own.joint.cut_axis, dtype=np.float64)
        away = own.joint.frame.origin - other.joint.frame.origin
        step = axis * (0.5 if float(away @ axis) >= 0.0 else -0.5)
        return next((0.5 * k for k in range(16) if not self._clash(own, other, step * k)), 8.0)

    def _clash(self, a: Plan, b: Plan, moved_mm: FloatArray | None = None) -> bool:
        for side_a in ("parent", "child"):
            for side_b in ("parent", "child"):
                if getattr(a.joint.spec, side_a) != getattr(b.joint.spec, side_b):
                    continue
                for form, hollow in self._of(a, side_a):
                    one = form if moved_mm is None else form.moved(moved_mm)
                    for two, other in self._of(b, side_b):
                        if (hollow or other) and one.meets(two):
                            return True
        return False

    def _of(self, plan: Plan, side: str) -> list[tuple[Form, bool]]:
        key = (id(plan), side)
        if key not in self._forms:
            self._forms[key] = [f for half in plan.halves for f in _forms(half, side, self._wall)]
        return self._forms[key]


def _forms(half: Half, side: str, wall: float) -> list[tuple[Form, bool]]:
    """Forms, and whether each is hollow: a cavity with its walls. What is added to a bone may grow into what is added
    there by another joint; only hollows must be left alone.
    """
    out: list[tuple[Form, bool]] = []
    if side == half.cup_side:
        out += [(_form(half, n), False) for n in half.needs if n.z1 <= -0.1]
        if half.cut.radius_mm:
            out.append((_hollow(half, wall), True))
    if side == half.knuckle_side:
        out += [(_form(half, n), True) for n in half.needs if n.z1 > -0.1]
    return out


def _form(half: Half, need: Need) -> Form:
    if need.rounded:
        return pillar(half.frame, need.z0, need.z1, need.half_x, _SPACING_MM)
    return square_pillar(half.frame, need.z0, need.z1, need.half_x, need.half_y, _SPACING_MM)


def _hollow(half: Half, wall: float) -> Form:
    """The cup's hollow with a wall around it, filled sparsely: what meets it is itself filled closely."""
    r = half.cut.cup_mm + 0.75 * wall
    if half.cut.shape == "sphere":
        return half_ball(half.frame, r, 2.0 * _SPACING_MM)
    return half_barrel(half.frame, r, max(1.0, *half.skin_mm), 2.0 * _SPACING_MM)
