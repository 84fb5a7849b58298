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
    best = _tried(part, found.chosen, rules)
    if not found.pinned and not best.sound:
        tried = [best]
        spoiled = best.touched_mm2 > UNTOUCHED_MM2
        hopeless = all(_seen(o) > max(_HOPELESS_MM2, 0.7 * best.touched_mm2) for o in found.runners_up)
        for other in found.runners_up[: (0 if best.stands else 1) if not spoiled or hopeless else 2]:
            tried.append(_tried(part, other, rules))
            if tried[-1].sound:
                break
        best = _least_bad(tried, part, rules)
    lying, held, grown = best.lying, best.held, best.grown
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


@dataclass(frozen=True, eq=False)
class _Tried:
    """A direction held to its layers."""

    lying: Lying
    held: Supports
    grown: Growth

    @property
    def touched_mm2(self) -> float:
        return self.held.bearing_mm2 + self.held.feet_bearing_mm2

    @property
    def stands(self) -> bool:
        """Whether columns stand, and the growing part does not lean over its foot."""
        return _unsound(self.held) <= _FEW and self.grown.tip_deg >= _TIPS_DEG

    @property
    def sound(self) -> bool:
        """Whether it stands, and bearings are left alone."""
        return self.touched_mm2 <= UNTOUCHED_MM2 and self.stands


def _tried(part: PrintPart, lying: Lying, rules: Rules) -> _Tried:
    held = supports(part, lying.transform, rules)
    return _Tried(lying, held, growth(held, rules.column_mm))


def _least_bad(tried: list[_Tried], part: PrintPart, rules: Rules) -> _Tried:
    """The position whose worst criterion, columns without a sound stand among them, is least bad."""
    wanted = criteria(rules, part.solid.volume_mm3, part.area_mm2(SHOW), part.area_mm2(BEARING), bool(part.necks))
    rows = np.array([[_proved(t.lying, t.held)[name] for name in MEASURES] for t in tried])
    rows[:, COLUMN["tip_deg"]] = [t.grown.tip_deg for t in tried]
    unsound = np.array([_unsound(t.held) for t in tried])[:, None] / _UNSOUND
    cost = np.concatenate([costs(rows, wanted), unsound], axis=1)
    return tried[int(np.argmin(rank(cost, rows)))]


def _seen(lying: Lying) -> float:
    """Bearing face that columns alone see touched."""
    return sum(lying.measures[name] for name in ("bearing_mm2", "feet_bearing_mm2", "first_bearing_mm2"))


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
