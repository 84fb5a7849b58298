"""A part from search to proof: the direction chosen by columns is held to its layers, and given up where another does better.

The search sees a simplified copy on a grid. So the chosen direction is worked out by layers on the true part and, where it
leaves supports without a sound stand or on bearing faces, the next best, at most two, are worked out by layers too, on a copy
within 0.05 mm, until one is sound; of these the one whose worst criterion is least bad is worked out on the true part, and is
kept where it still does better. Measures that the layers tell better replace those of the search.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from condyle.build.faces import BEARING, SHOW, PrintPart
from condyle.build.orientation import Lying, Orientation, orient
from condyle.build.process import Rules
from condyle.build.reasons import reasons
from condyle.build.stability import Growth, growth
from condyle.build.supports import Column, Supports, supports
from condyle.build.tradeoff import badness, costs, criteria
from condyle.build.weigh import MEASURES
from condyle.geometry.mesh import FloatArray
from condyle.workshop.material import Material

_TOUCH_MM2 = 2.0
_UNSOUND = 4.0
"""So many columns that stand on nothing, or on a hair, are as bad as any other criterion at its worst: our choice."""


@dataclass(frozen=True, eq=False)
class PartPlan:
    """How a part lies, proved by layers."""

    part: PrintPart
    orientation: Orientation
    supports: Supports
    growth: Growth

    @property
    def unsound(self) -> tuple[Column, ...]:
        """Columns that stand on nothing, a hair or a slope."""
        return tuple(c for c in self.supports.columns if c.foot in ("nothing", "hair", "slope"))


def plan_part(
    part: PrintPart, rules: Rules, material: Material, pin: FloatArray | None = None, *, workers: int = 1
) -> PartPlan:
    """Search, then layers. Raises what ``orient`` raises."""
    found = orient(part, rules, material, pin, workers=workers)
    best = (found.chosen, supports(part, found.transform, rules))
    if not found.pinned and not _sound(best[1]):
        copy = replace(part, solid=part.plain)
        tried = [best]
        for lying in found.runners_up:
            tried.append((lying, supports(copy, lying.transform, rules)))
            if _sound(tried[-1][1]):
                break
        other = _least_bad(tried, part, rules)
        if other is not best:
            best = _least_bad([best, (other[0], supports(part, other[0].transform, rules))], part, rules)
    lying, held = best
    grown = growth(held, rules.column_mm)
    measures = {**_proved(lying, held), "tip_deg": grown.tip_deg, "contact_mm2": grown.contact_mm2}
    away = [a for a in found.alternatives if float(np.dot(a.direction, lying.direction)) < 0.94]
    others = tuple([found.chosen, *away] if lying is not found.chosen else away)[:2]
    told = reasons(measures, bool(part.necks), rules, pinned=found.pinned)
    if lying is not found.chosen:
        told = ("its supports stand better than in the direction that columns alone would choose", *told)
    orientation = replace(
        found,
        chosen=replace(lying, measures=measures, better_at=""),
        reasons=told,
        alternatives=tuple(a if a.better_at else replace(a, better_at="better by columns alone") for a in others),
    )
    return PartPlan(part, orientation, held, grown)


def _least_bad(tried: list[tuple[Lying, Supports]], part: PrintPart, rules: Rules) -> tuple[Lying, Supports]:
    """The position whose worst criterion, columns without a sound stand among them, is least bad."""
    wanted = criteria(rules, part.solid.volume_mm3, part.area_mm2(SHOW), part.area_mm2(BEARING), bool(part.necks))
    rows = np.array([[_proved(lying, s)[name] for name in MEASURES] for lying, s in tried])
    unsound = np.array([_unsound(s) for _, s in tried])[:, None] / _UNSOUND
    return tried[int(np.argmin(badness(np.concatenate([costs(rows, wanted), unsound], axis=1))))]


def _sound(held: Supports) -> bool:
    """Whether all columns stand, and bearings are left alone."""
    return _unsound(held) == 0.0 and held.bearing_mm2 + held.feet_bearing_mm2 <= _TOUCH_MM2


def _unsound(held: Supports) -> float:
    weight = {"nothing": 1.0, "hair": 1.0, "slope": 0.5}
    return sum(weight.get(c.foot, 0.0) for c in held.columns)


def _proved(lying: Lying, held: Supports) -> dict[str, float]:
    """The measures with what the layers say in the place of what the columns said."""
    return {
        **lying.measures,
        "support_mm3": held.volume_mm3,
        "footprint_mm2": held.footprint_mm2,
        "show_mm2": held.show_mm2,
        "bearing_mm2": held.bearing_mm2,
        "feet_show_mm2": held.feet_show_mm2,
        "feet_bearing_mm2": held.feet_bearing_mm2,
        "islands": float(len(held.of("island"))),
        "contact_mm2": held.layers.regions[0].area_mm2,
    }
