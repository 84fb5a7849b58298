"""The flesh that a plan claims in each bone, and whether two plans claim the same.

Claims are simple forms filled with points half a wall apart; two claims clash when a point of one lies in the other. The
wall that each claim carries is wider than that spacing, so what slips between points is not yet a hole in a wall.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.figure.parting.plan import Half, Plan
from condyle.geometry.forms import Form, half_ball, half_barrel, packed, pillar, square_pillar
from condyle.geometry.formsets import FormSets, Known, first_beside, sets_clash
from condyle.geometry.mesh import FloatArray, IntArray
from condyle.joints.design import Need

_SPACING_MM = 0.7
_SIDES = ("parent", "child")


class Claims:
    """Claims of plans, made when asked for and kept."""

    def __init__(self, wall_mm: float) -> None:
        self._wall = wall_mm
        self._plans: list[Plan] = []
        self._numbers: dict[int, int] = {}
        self._bones: dict[str, int] = {}
        self._forms: list[tuple[Form, bool]] = []
        self._rows: list[tuple[int, ...]] = []
        self._table: FormSets | None = None

    def clash(self, a: Plan, b: Plan) -> bool:
        """Whether two joints want the same flesh of a bone that they share."""
        return self._clash(a, b, np.zeros(3))

    def overlap_mm(self, own: Plan, other: Plan) -> float:
        """How far along its cut axis a plan would have to stand off from another for the two not to clash.

        To half a millimetre, 8 mm where that is not enough.
        """
        axis = np.asarray(own.joint.cut_axis, dtype=np.float64)
        away = own.joint.frame.origin - other.joint.frame.origin
        step = axis * (0.5 if float(away @ axis) >= 0.0 else -0.5)
        return next((0.5 * k for k in range(16) if not self._clash(own, other, step * k)), 8.0)

    def numbered(self, sets: Sequence[Sequence[Plan]]) -> IntArray:
        """Sets of one or two plans as numbers, (n, 2), for ``best_beside``; -1 where there is no second."""
        rows = [[*(self._number(p) for p in plans), -1][:2] for plans in sets]
        return np.array(rows, dtype=np.int32).reshape(-1, 2)

    def best_beside(
        self, sets: IntArray, wanted: IntArray, others: IntArray, order: IntArray, known: Known
    ) -> IntArray:
        """For each wanted set the first in ``order`` of the other sets that it does not clash with.

        ``order`` holds one number more than there are other sets, which stands for none of them and clashes with nothing.
        What is found out about clashes is kept in ``known`` (sets, others).
        """
        return np.asarray(first_beside(self._tabled(), sets, wanted, others, order, known))

    def _clash(self, a: Plan, b: Plan, moved_mm: FloatArray) -> bool:
        one, two = self._number(a), self._number(b)
        return bool(sets_clash(self._tabled(), one, two, moved_mm))

    def _number(self, plan: Plan) -> int:
        if id(plan) not in self._numbers:
            self._table = None
            self._numbers[id(plan)] = len(self._plans)
            self._plans.append(plan)  # kept, so that its id is not given to another
            bones = [self._bones.setdefault(getattr(plan.joint.spec, side), len(self._bones)) for side in _SIDES]
            begins = [len(self._forms)]
            for side in _SIDES:
                self._forms += [f for half in plan.halves for f in _forms(half, side, self._wall)]
                begins.append(len(self._forms))
            self._rows.append((*bones, *begins))
        return self._numbers[id(plan)]

    def _tabled(self) -> FormSets:
        if self._table is None:
            rows = np.array(self._rows, dtype=np.int32).reshape(-1, 5)
            hollow = np.array([hollow for _, hollow in self._forms], dtype=np.bool_)
            forms = packed([form for form, _ in self._forms])
            bones, begins = np.ascontiguousarray(rows[:, :2]), np.ascontiguousarray(rows[:, 2:])
            self._table = FormSets(bones, begins, hollow, forms)
        return self._table


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
    if not half.cut.radius_mm and side in (half.cup_side, half.knuckle_side):
        # Nothing may grow through the slit of a plane cut.
        across = max(n.half_x for n in half.needs) + 0.5 * wall
        out.append((pillar(half.frame, -half.cut.kerf_mm - 0.2, 0.2, across, _SPACING_MM), True))
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
