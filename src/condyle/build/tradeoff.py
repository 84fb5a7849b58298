"""The trade-off between build directions: nothing added up that does not belong together, and how one is chosen.

Each criterion turns measures into a cost that is 0 where nothing is wrong and 1 where a maker would call it bad. The
numbers at which that happens are our choice and stand in one table below. A direction is on the *front* when no other is at
least as good in every criterion and better in one. The choice is the direction whose worst criterion is the least bad, the
sum deciding between equals: the augmented weighted Chebyshev method of Steuer & Choo, Mathematical Programming 26 (1983)
326-344 (from memory), whose choice always lies on the front.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from condyle.build.process import Rules
from condyle.build.weigh import COLUMN
from condyle.geometry.mesh import BoolArray, FloatArray

_SUM_SHARE = 0.12
_SAME = 0.02
UNTOUCHED_MM2 = 0.8
"""Bearing face over supports, at feet and in the first layer that counts as left alone: less than one column's head, so that
columns beside it hold it."""


@dataclass(frozen=True)
class Criterion:
    """name; ``better`` what a direction is called that is good at it; ``cost`` of measures (n, k) -> (n,)."""

    name: str
    better: str
    cost: Callable[[FloatArray], FloatArray]


def criteria(
    rules: Rules, volume_mm3: float, show_mm2: float, bearing_mm2: float, has_necks: bool
) -> tuple[Criterion, ...]:
    """What counts for a part of this volume, show area and bearing area on this process."""
    filament = rules.process == "filament"
    steps_um = 250.0 * rules.layer_mm

    def of(*names: str) -> Callable[[FloatArray], FloatArray]:
        return lambda m: m[:, [COLUMN[n] for n in names]].sum(axis=1)

    def over(what: Callable[[FloatArray], FloatArray], bad: float) -> Callable[[FloatArray], FloatArray]:
        return lambda m: what(m) / bad

    tip, contact = of("tip_deg"), of("contact_mm2")
    out = [
        Criterion("support", "least support", over(of("support_mm3"), 60.0 + 0.15 * volume_mm3)),
        Criterion("show", "cleanest show faces", over(of("show_mm2"), 30.0 + 0.10 * show_mm2)),
        Criterion(
            "bearing",
            "bearings untouched",
            over(of("bearing_mm2", "feet_bearing_mm2", "first_bearing_mm2"), 3.0 + 0.02 * bearing_mm2),
        ),
        Criterion("feet", "no feet on show faces", over(of("feet_show_mm2"), 10.0 + 0.03 * show_mm2)),
        Criterion("stand", "supports on sound feet", over(of("steep_mm2"), 40.0)),
        Criterion("islands", "fewest islands", over(of("islands"), 6.0)),
        Criterion("height", "lowest", over(of("height_mm"), 90.0)),
        Criterion("tip", "steadiest", lambda m: np.clip((35.0 - tip(m)) / 25.0, 0.0, None)),
        Criterion("rough", "smoothest show faces", over(of("rough_um"), 0.9 * steps_um)),
        Criterion("plate", "fits the plate", over(of("over_plate_mm"), 1e-3)),
    ]
    if filament:
        out.append(Criterion("contact", "best first layer", lambda m: np.clip(1.0 - contact(m) / 25.0, 0.0, None)))
    else:
        out.append(Criterion("peel", "least peel", over(of("peel_mm2"), 600.0)))
    if has_necks:
        out.append(Criterion("neck", "strongest necks", over(of("neck_share"), 0.45)))
    return tuple(out)


def costs(measures: FloatArray, wanted: tuple[Criterion, ...]) -> FloatArray:
    """(n, criteria)."""
    return np.stack([c.cost(measures) for c in wanted], axis=1)


def front(cost: FloatArray) -> BoolArray:
    """Which rows (n, k) no other row beats: differences below 0.02 do not count."""
    steps = np.ceil(cost / _SAME - 1e-9)
    _, first = np.unique(steps, axis=0, return_index=True)
    out = np.zeros(len(cost), dtype=bool)
    order = first[np.argsort(steps[first].sum(axis=1), kind="stable")]
    # What adds up to more cannot beat what adds up to less: in this order, who is not beaten yet stays, and beats others.
    while len(order):
        k = order[0]
        out[k] = True
        order = order[~np.all(steps[k] <= steps[order], axis=1)]
    return out


def badness(cost: FloatArray) -> FloatArray:
    """(n,): the worst criterion, and a share of the sum."""
    return np.asarray(cost.max(axis=1) + _SUM_SHARE * cost.sum(axis=1))


def touched_mm2(measures: FloatArray) -> FloatArray:
    """(n,): bearing face that supports or the first layer touch."""
    return np.asarray(
        measures[:, [COLUMN[n] for n in ("bearing_mm2", "feet_bearing_mm2", "first_bearing_mm2")]].sum(axis=1)
    )


def rank(cost: FloatArray, measures: FloatArray) -> FloatArray:
    """(n,), lower is better: first what fits the plate, then what leaves bearings alone, then ``badness``.

    Marks on a bearing spoil the joint, and no finish mends them; whatever else is wrong costs time or looks.
    """
    spoiled = touched_mm2(measures) > UNTOUCHED_MM2
    return np.asarray(1e6 * (measures[:, COLUMN["over_plate_mm"]] > 0.0) + 1e3 * spoiled + badness(cost))
