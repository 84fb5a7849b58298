"""Kernels under claims: sets of forms at places, tested against each other until the first that leaves room."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.forms import Forms, meet
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray

Known = NDArray[np.int8]  # whether two sets clash: 1 yes, 0 no, -1 not yet looked at


class FormSets(NamedTuple):
    """The forms of many owners, each at two places.

    places  (n, 2) the places by number
    begins  (n, 3) where the forms of each place begin, and the end
    hollow  for each form whether it must be left alone; forms that are not hollow may grow into each other
    """

    places: IntArray
    begins: IntArray
    hollow: BoolArray
    forms: Forms


@njit(cache=True)
def sets_clash(table: FormSets, a: int, b: int, moved_mm: FloatArray) -> bool:
    """Whether two owners' forms meet at a place that both have, one of the two forms being hollow.

    The first owner's forms are moved before (figure coordinates).
    """
    for side_a in range(2):
        for side_b in range(2):
            if table.places[a, side_a] != table.places[b, side_b]:
                continue
            for i in range(table.begins[a, side_a], table.begins[a, side_a + 1]):
                for j in range(table.begins[b, side_b], table.begins[b, side_b + 1]):
                    if (table.hollow[i] or table.hollow[j]) and meet(table.forms, i, j, moved_mm):
                        return True
    return False


@njit(cache=True)
def first_beside(
    table: FormSets, sets: IntArray, wanted: IntArray, others: IntArray, order: IntArray, known: Known
) -> IntArray:
    """For each wanted set of owners the first in ``order`` of the other sets that it does not clash with.

    sets, others  owners of each set, (n, 2); -1 where there is no second
    order         numbers of the other sets, and their count, which stands for none of them and clashes with nothing
    known         (sets, others), filled in as clashes are found out
    """
    best = np.empty(len(wanted), dtype=np.int32)
    still = np.zeros(3)
    for n in range(len(wanted)):
        k = wanted[n]
        for at in range(len(order)):
            j = order[at]
            best[n] = j
            if j == len(others):
                break
            if known[k, j] < 0:
                clash = False
                for p in sets[k]:
                    for q in others[j]:
                        if p >= 0 and q >= 0 and not clash:
                            clash = sets_clash(table, p, q, still)
                known[k, j] = 1 if clash else 0
            if known[k, j] == 0:
                break
    return best
