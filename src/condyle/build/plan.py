"""A part from search to proof: the direction chosen by columns is held to its layers, and given up where another does better.

The search sees simplified copies on a grid. So the chosen direction is worked out by layers on the true part and, where it
leaves bearings touched, many supports without a sound stand, or a part that leans over its foot, so is the next best: two of
them where bearings are touched and columns alone see a way around that, none where touched bearings are all that is wrong and
columns see none, else one. Of these the one that comes first by ``tradeoff.rank``, columns without a sound stand counted, is
kept. Measures that the layers tell better replace those of the search.
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
from condyle.build.tradeoff import UNTOUCHED_MM2, costs, criteria, rank
from condyle.build.weigh import COLUMN, MEASURES
from condyle.geometry.mesh import FloatArray
from condyle.workshop.material import Material

_HOPELESS_MM2 = 3.0
_FEW = 6.0
_TIPS_DEG = 8.0
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
    if not found.pinned and not _sound(best[1], rules):
        tried = [best]
        spoiled = _touched(best[1]) > UNTOUCHED_MM2
        hopeless = all(_seen(o) > max(_HOPELESS_MM2, 0.7 * _touched(best[1])) for o in found.runners_up)
        stands = _stands(best[1], rules)
        for lying in found.runners_up[: (0 if stands else 1) if not spoiled or hopeless else 2]:
            tried.append((lying, supports(part, lying.transform, rules)))
            if _sound(tried[-1][1], rules):
                break
        best = _least_bad(tried, part, rules)
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
    tips = np.array([growth(s, rules.column_mm).tip_deg for _, s in tried])
    wanted = criteria(rules, part.solid.volume_mm3, part.area_mm2(SHOW), part.area_mm2(BEARING), bool(part.necks))
    rows = np.array([[_proved(lying, s)[name] for name in MEASURES] for lying, s in tried])
    rows[:, COLUMN["tip_deg"]] = tips
    unsound = np.array([_unsound(s) for _, s in tried])[:, None] / _UNSOUND
    cost = np.concatenate([costs(rows, wanted), unsound], axis=1)
    return tried[int(np.argmin(rank(cost, rows)))]


def _sound(held: Supports, rules: Rules) -> bool:
    """Whether columns stand, bearings are left alone, and the growing part does not lean over its foot."""
    return _touched(held) <= UNTOUCHED_MM2 and _stands(held, rules)


def _stands(held: Supports, rules: Rules) -> bool:
    return _unsound(held) <= _FEW and growth(held, rules.column_mm).tip_deg >= _TIPS_DEG


def _seen(lying: Lying) -> float:
    """Bearing face that columns alone see touched."""
    return sum(lying.measures[name] for name in ("bearing_mm2", "feet_bearing_mm2", "first_bearing_mm2"))


def _touched(held: Supports) -> float:
    return held.bearing_mm2 + held.feet_bearing_mm2


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
