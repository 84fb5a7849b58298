"""The build orientation of a part: every direction searched, the whole trade-off kept, the choice with its reasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.build.directions import apart_deg, around, even, flats, outermost, square_to
from condyle.build.faces import PrintPart
from condyle.build.process import Rules
from condyle.build.reasons import reasons, side_down
from condyle.build.tradeoff import Criterion, costs, criteria, front, rank
from condyle.build.weigh import FINE_CELLS, MEASURES, ROUGH_CELLS, scales_of, upright, weigh
from condyle.errors import UsageError
from condyle.finding import Point
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.workshop.material import Material

_SEEDS = 5
_RINGS_DEG = (5.0, 2.5, 1.2)
_APART_DEG = 20.0
_AGAIN, _FINALISTS, _FLATS, _FINAL_APART_DEG = 60, 12, 6, 4.0

_COARSE = 1e9
"""Directions weighed on the light copy alone come after those weighed closely."""

NEXT_BEST = "next best on the whole"


@dataclass(frozen=True, eq=False)
class Lying:
    """One build direction of a part.

    direction  unit vector, figure coordinates, that points up on the plate
    transform  (4, 4) figure coordinates to the plate's: the lowest point at z = 0, the middle of its bounds at x = y = 0
    measures   by name, see ``weigh.MEASURES``; ``costs`` by criterion
    """

    direction: Point
    transform: FloatArray
    measures: dict[str, float]
    costs: dict[str, float]
    words: str = ""
    better_at: str = ""


@dataclass(frozen=True, eq=False)
class Orientation:
    """How a part lies, why, and what else was on offer.

    alternatives  two others of the front, more than 20° away, with what they are better at; the next best where the front
                  has no two more
    runners_up    the next best two more than 20° away, whatever they are better at
    pinned        the direction is the user's
    directions    (n, 3) all that was tried; ``measures`` (n, k); ``on_front`` (n,) which of them nothing beats
    """

    part: str
    chosen: Lying
    reasons: tuple[str, ...]
    alternatives: tuple[Lying, ...]
    pinned: bool
    directions: FloatArray
    measures: FloatArray
    on_front: BoolArray
    runners_up: tuple[Lying, ...] = ()

    @property
    def direction(self) -> FloatArray:
        return np.asarray(self.chosen.direction)

    @property
    def transform(self) -> FloatArray:
        return self.chosen.transform


def orient(
    part: PrintPart, rules: Rules, material: Material, pin: FloatArray | None = None, *, workers: int = 2
) -> Orientation:
    """The build orientation of a part.

    ``pin`` is a direction (3,) in figure coordinates that must point up: it is then kept, whatever it costs.
    Raises UsageError ``orientation.pin`` for a pin without a length.
    """
    scales = scales_of(part, material.across_layers.value, material.yield_mpa.value)
    wanted = criteria(rules, part.solid.volume_mm3, scales.show_mm2, scales.bearing_mm2, bool(part.necks))
    fixed = None
    if pin is not None:
        length = float(np.linalg.norm(pin))
        if not (np.isfinite(length) and length > 1e-9):
            raise UsageError("orientation.pin", f"the direction up of {part.name} needs a length")
        fixed = np.asarray(pin, dtype=np.float64) / length
    outer = outermost(part.mesh.vertices)
    flat = flats(outer)
    tried = [flat, even(), *(square_to(np.array(n.axis)) for n in part.necks)]
    if fixed is not None:
        tried.insert(0, fixed[None])
    directions = np.concatenate(tried)
    measures = weigh(scales, directions, rules, workers, ROUGH_CELLS)
    again = np.argsort(rank(costs(measures, wanted), measures), kind="stable")[:_AGAIN]
    # A flat is lost a degree off, so that its neighbours say nothing of it: all flats are looked at closely.
    level = np.arange(len(flat)) + (0 if fixed is None else 1)
    again = np.union1d(again, level if fixed is None else [0, *level])
    measures[again] = weigh(scales, directions[again], rules, workers)
    for ring in _RINGS_DEG:
        seeds = _best_apart(directions, rank(costs(measures, wanted), measures), ring)
        more = np.concatenate([around(directions[k], ring) for k in seeds])
        directions = np.concatenate([directions, more])
        measures = np.concatenate([measures, weigh(scales, more, rules, workers)])
    # The best few are weighed again on a closer copy and grid: a bearing's edge, or a thin foot, is lost on the light one.
    rough = rank(costs(measures, wanted), measures)
    first = _best_apart(directions, rough, 0.5 * _FINAL_APART_DEG, count=_FINALISTS)
    first += level[np.argsort(rough[level], kind="stable")][:_FLATS].tolist()
    finalists = np.array([0]) if fixed is not None else np.unique(first)
    plain = part.plain.mesh
    close = (plain, part.kinds_at(plain.corners.mean(axis=1)))
    scales = scales_of(part, material.across_layers.value, material.yield_mpa.value, close)
    measures[finalists] = weigh(scales, directions[finalists], rules, workers, FINE_CELLS)
    cost = costs(measures, wanted)
    bad = rank(cost, measures)
    if fixed is None:
        bad[np.setdiff1d(np.arange(len(bad)), finalists)] += _COARSE
    best = 0 if fixed is not None else int(np.argmin(bad))
    kept = front(cost)
    next_best = [k for k in _best_apart(directions, bad, 0.5 * _APART_DEG, best) if k != best][:2]
    others = _alternatives(directions, cost, bad, kept, best, wanted)
    names = tuple(c.name for c in wanted)
    chosen = _lying(outer, directions[best], measures[best], names, cost[best])
    return Orientation(
        part=part.name,
        chosen=chosen,
        reasons=reasons(chosen.measures, bool(part.necks), rules, pinned=fixed is not None),
        alternatives=tuple(
            _lying(outer, directions[k], measures[k], names, cost[k], better_at) for k, better_at in others
        ),
        pinned=fixed is not None,
        directions=directions,
        measures=measures,
        on_front=kept,
        runners_up=tuple(_lying(outer, directions[k], measures[k], names, cost[k]) for k in next_best),
    )


def _best_apart(
    directions: FloatArray, bad: FloatArray, ring: float, first: int | None = None, count: int = _SEEDS
) -> list[int]:
    """The best few that are not each other's neighbours."""
    order = np.argsort(bad, kind="stable")
    seeds: list[int] = []
    following = int(order[0]) if first is None else first
    while len(seeds) < count:
        seeds.append(following)
        order = order[apart_deg(directions[order], directions[following]) > 2.0 * ring]
        if not len(order):
            break
        following = int(order[0])
    return seeds


def _alternatives(
    directions: FloatArray, cost: FloatArray, bad: FloatArray, kept: BoolArray, best: int, wanted: tuple[Criterion, ...]
) -> list[tuple[int, str]]:
    """Two of the front, apart from the choice and from each other, least bad first, with what they do better."""
    out: list[tuple[int, str]] = []
    away = apart_deg(directions, directions[best]) > _APART_DEG
    ranked = np.argsort(bad, kind="stable")
    for clearly in (0.1, 0.02):
        for k in ranked[kept[ranked] & away[ranked]]:
            if len(out) == 2:
                return out
            if not away[k]:
                continue
            gain = cost[best] - cost[k]
            said = {better for _, better in out}
            better = [wanted[c].better for c in np.argsort(-gain, kind="stable") if gain[c] > clearly]
            fresh = [b for b in better if b not in said]
            if fresh:
                out.append((int(k), fresh[0]))
                away &= apart_deg(directions, directions[k]) > _APART_DEG
    # Where one direction beats nearly all others the front has no two more: then simply the next best.
    while len(out) < 2 and away.any():
        k = ranked[away[ranked]][0]
        out.append((int(k), NEXT_BEST))
        away &= apart_deg(directions, directions[k]) > _APART_DEG
    return out


def _lying(
    outer: FloatArray,
    direction: FloatArray,
    measures: FloatArray,
    names: tuple[str, ...],
    cost: FloatArray,
    better: str = "",
) -> Lying:
    rotation = upright(direction)
    turned = outer @ rotation.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    transform = np.eye(4)
    transform[:3, :3] = rotation
    transform[:3, 3] = [-0.5 * (low[0] + high[0]), -0.5 * (low[1] + high[1]), -low[2]]
    x, y, z = (float(v) for v in direction)
    return Lying(
        (x, y, z),
        transform,
        {name: float(value) for name, value in zip(MEASURES, measures, strict=True)},
        {name: float(value) for name, value in zip(names, cost, strict=True)},
        side_down(direction),
        better,
    )
