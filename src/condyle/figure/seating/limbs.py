"""The free limbs of a standing body: crotch, trunk, extremities, and each limb's line with its sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.figure.seating.flesh import Flesh, Tip, tips
from condyle.figure.seating.sections import Profile, profile
from condyle.geometry.mesh import FloatArray
from condyle.geometry.voxels import Voxels

_TIP_SHARE = 0.05  # an extremity stands out by this share of the height
_REACH_SHARE = 0.3  # sections are followed so far
_SMOOTH_SHARE = 0.018
_STOUTEST = 0.28  # radius over length: what is stouter is no limb
_LOWEST_CROTCH = 0.1  # share of the height
_JUMP = 1.9  # a section that is so much larger than the limb's has met the trunk


@dataclass(frozen=True, eq=False)
class Limb:
    """A limb's line from its tip (s = 0) to where it meets the trunk (the last station)."""

    profile: Profile
    tip: FloatArray
    prominence_mm: float

    @property
    def root_s(self) -> float:
        return float(self.profile.s[-1])


@dataclass(frozen=True, eq=False)
class Standing:
    """A two-legged body taken apart: the mirror plane's y, the crotch's level, the trunk's core, and the limbs."""

    flesh: Flesh
    middle_y: float
    crotch_z: float
    core: FloatArray
    head_tip: FloatArray
    arms: dict[str, Limb]
    legs: dict[str, Limb]

    @property
    def height(self) -> float:
        return self.flesh.height


def crotch_of(flesh: Flesh, middle_y: float) -> float | None:
    """The level from which the body is whole across its mirror plane; None when it is so from the ground."""
    grid = flesh.grid
    j = round(float(grid.to_grid(np.array([0.0, middle_y, 0.0]))[1]))
    slab = grid.inside[:, max(j - 1, 0) : j + 2, :].all(axis=1)
    thick = slab.sum(axis=0) * grid.pitch_mm
    level = grid.origin[2] + grid.pitch_mm * np.arange(grid.inside.shape[2])
    share = (level - flesh.low) / flesh.height
    pelvis = (share > 0.25) & (share < 0.7)
    full = float(np.percentile(thick[pelvis], 80)) if pelvis.any() else 0.0
    if full <= 0.0:
        return None
    low = np.flatnonzero((share < 0.65) & (thick < 0.45 * full))
    if not len(low) or share[int(low.max())] < _LOWEST_CROTCH:
        return None
    return float(level[int(low.max())] + 0.5 * grid.pitch_mm)


def middle_of(flesh: Flesh) -> float:
    """y of the mirror plane: the middle of the trunk's and head's sections, arms being long and unequal."""
    share = (flesh.points[:, 2] - flesh.low) / flesh.height
    start = float(np.median(flesh.points[:, 1]))
    near = (np.abs(flesh.points[:, 1] - start) < 0.12 * flesh.height) & (share > 0.45)
    weight = flesh.depth[near] ** 2
    return float((flesh.points[near, 1] * weight).sum() / weight.sum()) if near.any() else start


def take_apart(flesh: Flesh) -> Standing:
    """Find trunk and limbs. Limbs that cannot be found are missing from ``arms`` and ``legs``."""
    h = flesh.height
    middle = middle_of(flesh)
    crotch = crotch_of(flesh, middle)
    level = crotch if crotch is not None else flesh.low + 0.45 * h
    inner = np.flatnonzero(
        (np.abs(flesh.points[:, 2] - level - 0.07 * h) < 0.06 * h) & (np.abs(flesh.points[:, 1] - middle) < 0.05 * h)
    )
    core = int(inner[np.argmax(flesh.depth[inner])]) if len(inner) else int(np.argmax(flesh.depth))
    distance, _ = flesh.walk(np.array([core]))
    _, before = flesh.walk(np.array([core]), deep=True)
    found = tips(flesh, distance, _TIP_SHARE * h)
    feet, hands, head = _sort(flesh, found, middle, level)
    arms = {side: arm for side, tip in hands.items() if (arm := _arm(flesh, tip, before)) is not None}
    legs = {}
    if crotch is not None:
        lines = {side: _leg(flesh, tip, before, middle, level, side) for side, tip in feet.items()}
        legs = {side: leg for side, leg in lines.items() if leg is not None}
    return Standing(flesh, middle, level, flesh.points[core], head, arms, legs)


def _sort(
    flesh: Flesh, found: list[Tip], middle: float, crotch: float
) -> tuple[dict[str, Tip], dict[str, Tip], FloatArray]:
    """Extremities by what they are: feet are low, the head is the high one in the middle, hands are the rest."""
    h = flesh.height
    feet: dict[str, Tip] = {}
    hands: dict[str, Tip] = {}
    head = flesh.points[int(np.argmax(flesh.points[:, 2]))]
    for tip in found:  # the most prominent first
        p = flesh.points[tip.cell]
        side = "left" if p[1] > middle else "right"
        if p[2] - flesh.low < min(0.35 * (crotch - flesh.low), 0.2 * h):
            feet.setdefault(side, tip)
        elif abs(p[1] - middle) > 0.08 * h and not _on_head(flesh, p, head):
            hands.setdefault(side, tip)
    return feet, hands, head


def _on_head(flesh: Flesh, point: FloatArray, head: FloatArray) -> bool:
    """Ears and hair: high up, and nearer to the crown than arms can be."""
    gap = point - head
    return bool(
        gap[2] > -0.25 * flesh.height
        and np.hypot(gap[0], gap[1]) < 0.22 * flesh.height
        and point[2] > 0.8 * (flesh.low + flesh.height)
    )


def _arm(flesh: Flesh, tip: Tip, before: np.ndarray) -> Limb | None:
    """The arm from the finger tips to the armpit."""
    h, grid = flesh.height, flesh.grid
    way = flesh.way(tip.cell, before)
    rough = profile(grid, way, reach_mm=_REACH_SHARE * h, smooth_mm=_SMOOTH_SHARE * h, rounds=0)
    end = _root(rough, h)
    if end < 12:
        return None
    kept = rough.points[:end]
    line = profile(grid, kept, reach_mm=_REACH_SHARE * h, smooth_mm=_SMOOTH_SHARE * h, rounds=2)
    line = line.part(0, max(_root(line, h), 12))
    return Limb(line, flesh.points[tip.cell], tip.prominence) if _slender(line) else None


def _slender(line: Profile) -> bool:
    span = float(np.linalg.norm(line.points[-1] - line.points[0]))
    return float(np.median(line.radius)) < _STOUTEST * min(span, float(line.s[-1]))


def _root(line: Profile, height: float) -> int:
    """The station (exclusive) at which the sections have met the trunk."""
    r = line.radius
    first = int(np.searchsorted(line.s, 0.10 * height))
    for i in range(first, len(r)):
        back = int(np.searchsorted(line.s, line.s[i] - 0.14 * height))
        usual = float(np.median(r[max(back, first // 2) : i])) if i > first else float(r[i])
        if r[i] > _JUMP * usual and line.wide[i] > 0.1 * height:
            return i
    return len(r)


def _leg(flesh: Flesh, tip: Tip, before: np.ndarray, middle: float, crotch: float, side: str) -> Limb | None:
    """The leg from the toes to the crotch's level, its sections cut off at the mirror plane."""
    h = flesh.height
    grid = _half(flesh.grid, middle, side)
    way = flesh.way(tip.cell, before)
    above = np.flatnonzero(way[:, 2] > crotch)
    way = way[: int(above[0]) + 1] if len(above) else way
    if len(way) < 12:
        return None
    line = profile(grid, way, reach_mm=_REACH_SHARE * h, smooth_mm=_SMOOTH_SHARE * h, rounds=2)
    return Limb(line, flesh.points[tip.cell], tip.prominence) if _slender(line) else None


def _half(grid: Voxels, middle: float, side: str) -> Voxels:
    j = int(np.ceil(float(grid.to_grid(np.array([0.0, middle, 0.0]))[1])))
    inside = grid.inside.copy()
    if side == "left":
        inside[:, :j, :] = False
    else:
        inside[:, j:, :] = False
    return Voxels(inside, grid.origin, grid.pitch_mm)
