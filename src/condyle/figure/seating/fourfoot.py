"""Joint centres of a standing four-footed body.

Four low extremities are the paws, the foremost one the nose, the hindmost the tail's tip. Each leg's middle line is
followed into the trunk; shoulder and hip lie in the trunk by proportion of its depth and width there, and the two bends
between are those of the three straight pieces that follow the line best (proportions come in as a weak prior: common
practice, no source). Made for dogs and their like that stand on four paws; sitting or lying animals are beyond it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from condyle.figure.seating.flesh import Flesh, Tip, tips
from condyle.figure.seating.frames import Lie, direction
from condyle.figure.seating.sections import Profile, profile
from condyle.figure.seating.upright import SIGN, Anatomy, Spot
from condyle.figure.skeleton import JointSpec
from condyle.geometry.mesh import FloatArray

_DOWN = np.array([0.0, 0.0, -1.0])
_PAWS = 0.15  # paws' tips are lower than this share of the height
_REACH, _SMOOTH = 0.35, 0.02
# Up from the belly by a share of the trunk's depth, out by a share of its half width, ahead of the leg by a share of height.
_ROOTS = {"fore": (0.45, 0.62, 0.0), "hind": (0.62, 0.50, 0.0)}
# The bends' shares of the way from the paw to the root, and how loosely they are held.
_BENDS = {"fore": (0.24, 0.60), "hind": (0.33, 0.66)}
_BEND_SD = 0.07
_NAMES = {"fore": ("wrist", "elbow", "shoulder"), "hind": ("hock", "knee", "hip")}
_SD_H = 0.025


def find_fourfoot(flesh: Flesh) -> Anatomy:
    """All centres that can be found in a standing four-footed body."""
    h = flesh.height
    middle = _middle(flesh)
    core = _core(flesh, middle)
    distance, _ = flesh.walk(np.array([core]))
    _, before = flesh.walk(np.array([core]), deep=True)
    paws, nose, tail = _sort(flesh, tips(flesh, distance, 0.05 * h), flesh.points[core], middle)
    spots: dict[str, Spot] = {}
    lines: dict[str, Profile] = {}
    missing = []
    for end in ("fore", "hind"):
        for side in SIGN:
            tip = paws.get(f"{end}_{side}")
            line = _free(flesh, tip, before) if tip is not None else None
            if line is None:
                missing.append(f"{end}leg_{side}")
                continue
            root = _root_of(flesh, line, end, side, middle)
            lines[f"{end}_{side}"] = line
            spots |= _bends(line, root, end, side, h)
    if nose is not None and (head := _head(flesh, nose, before, middle)) is not None:
        spots |= head
    if tail is not None and (line := _free(flesh, tail, before)) is not None:
        base = line.points[-1]
        spots["tail"] = Spot(np.array([base[0], middle, base[2]]), _SD_H * h)
        lines["tail"] = line
    if {"hip_left", "hip_right", "shoulder_left", "shoulder_right"} <= spots.keys():
        spots["waist"] = _waist(flesh, spots, middle)
    return Anatomy(spots, lines, middle, tuple(missing))


def _middle(flesh: Flesh) -> float:
    weight = flesh.depth**2
    return float((flesh.points[:, 1] * weight).sum() / weight.sum())


def _core(flesh: Flesh, middle: float) -> int:
    """The deepest cell of the middle of the body."""
    x = flesh.points[:, 0]
    low, high = float(x.min()), float(x.max())
    share = (x - low) / max(high - low, 1e-9)
    level = (flesh.points[:, 2] - flesh.low) / flesh.height
    inner = np.flatnonzero((share > 0.3) & (share < 0.7) & (level > 0.3) & (level < 0.9))
    if not len(inner):
        return int(np.argmax(flesh.depth))
    cost = flesh.depth[inner] - 0.5 * np.abs(flesh.points[inner, 1] - middle)
    return int(inner[np.argmax(cost)])


def _sort(
    flesh: Flesh, found: list[Tip], core: FloatArray, middle: float
) -> tuple[dict[str, Tip], Tip | None, Tip | None]:
    paws: dict[str, Tip] = {}
    others = []
    for tip in found:
        p = flesh.points[tip.cell]
        if p[2] - flesh.low < _PAWS * flesh.height:
            name = f"{'fore' if p[0] > core[0] else 'hind'}_{'left' if p[1] > middle else 'right'}"
            paws.setdefault(name, tip)
        else:
            others.append(tip)
    ahead = [t for t in others if flesh.points[t.cell][0] > core[0]]
    behind = [t for t in others if flesh.points[t.cell][0] <= core[0]]
    nose = max(ahead, key=lambda t: t.distance, default=None)
    tail = max(behind, key=lambda t: t.distance, default=None)
    return paws, nose, tail


def _free(flesh: Flesh, tip: Tip | None, before: np.ndarray) -> Profile | None:
    """A limb's line from its tip to where its sections have met the trunk; None for a stub."""
    if tip is None:
        return None
    h = flesh.height
    way = flesh.way(tip.cell, before)
    rough = profile(flesh.grid, way, reach_mm=_REACH * h, smooth_mm=_SMOOTH * h, rounds=0)
    r = rough.radius
    start = int(np.searchsorted(rough.s, 0.12 * h))
    end = len(r)
    for i in range(start, len(r)):
        if r[i] > 1.9 * float(np.median(r[max(start // 2, i - 40) : i])):
            end = i
            break
    if end < 8:
        return None
    return profile(flesh.grid, rough.points[:end], reach_mm=_REACH * h, smooth_mm=_SMOOTH * h, rounds=2)


def _column(flesh: Flesh, x: float, y: float) -> FloatArray:
    """Levels of the inside cells at a place seen from above, within two cells."""
    pitch = flesh.grid.pitch_mm
    near = (np.abs(flesh.points[:, 0] - x) < 2 * pitch) & (np.abs(flesh.points[:, 1] - y) < 2 * pitch)
    return np.asarray(flesh.points[near, 2])


def _root_of(flesh: Flesh, line: Profile, end: str, side: str, middle: float) -> FloatArray:
    up, out, ahead = _ROOTS[end]
    h = flesh.height
    x = float(line.points[-1, 0]) + ahead * h
    levels = _column(flesh, x, middle)
    if not len(levels):
        return np.asarray(line.points[-1])
    belly, back = float(levels.min()), float(np.percentile(levels, 98))
    level = belly + up * (back - belly)
    near = (np.abs(flesh.points[:, 0] - x) < 0.02 * h) & (np.abs(flesh.points[:, 2] - level) < 0.02 * h)
    half = float(np.percentile(np.abs(flesh.points[near, 1] - middle), 98)) if near.any() else 0.1 * h
    return np.array([x, middle + SIGN[side] * out * half, level])


def _bends(line: Profile, root: FloatArray, end: str, side: str, height: float) -> dict[str, Spot]:
    """The two bends of a leg: three straight pieces from the paw to the root that follow the line best."""
    tail = np.linspace(line.points[-1], root, max(3, round(float(np.linalg.norm(root - line.points[-1])) / 1.0)))[1:]
    points = np.concatenate([line.points, tail])
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    start = int(np.argmax(points[:, 2] > points[0, 2] + 0.03 * height))
    points, s = points[start:], s[start:] - s[start]
    share = s / max(float(s[-1]), 1e-9)
    flat = points[:, [0, 2]]
    first, second = _BENDS[end]
    best, found = np.inf, (int(first * len(s)), int(second * len(s)))
    step = max(1, len(s) // 70)
    for i in range(3, len(s) - 6, step):
        for j in range(i + 3, len(s) - 3, step):
            off = sum(_off(flat[a : b + 1]) for a, b in ((0, i), (i, j), (j, len(s) - 1)))
            cost = off / (0.01 * height) ** 2 / len(s) * 12.0
            cost += ((share[i] - first) / _BEND_SD) ** 2 + ((share[j] - second) / _BEND_SD) ** 2
            if cost < best:
                best, found = cost, (i, j)
    names = _NAMES[end]
    sd = _SD_H * height
    return {
        f"{names[0]}_{side}": Spot(points[found[0]], sd),
        f"{names[1]}_{side}": Spot(points[found[1]], sd),
        f"{names[2]}_{side}": Spot(root, sd),
    }


def _off(points: FloatArray) -> float:
    """Sum of squared distances from the straight line between a run's ends."""
    chord = points[-1] - points[0]
    length = float(np.hypot(chord[0], chord[1]))
    if length < 1e-9:
        return float((points - points[0]).ravel() @ (points - points[0]).ravel())
    gap = points - points[0]
    off = (gap[:, 0] * chord[1] - gap[:, 1] * chord[0]) / length
    return float(off @ off)


def _head(flesh: Flesh, nose: Tip, before: np.ndarray, middle: float) -> dict[str, Spot] | None:
    """The neck's two ends: where its line grows into the head and into the trunk."""
    h = flesh.height
    way = flesh.way(nose.cell, before)
    line = profile(flesh.grid, way, reach_mm=_REACH * h, smooth_mm=_SMOOTH * h, rounds=0)
    r = line.radius
    window = np.flatnonzero((line.s > 0.18 * h) & (line.s < 0.75 * line.s[-1]))
    if len(window) < 5:
        return None
    thin = int(window[np.argmin(r[window])])
    head = thin
    while head > 1 and r[head] < 1.12 * r[thin] and line.s[thin] - line.s[head] < 0.06 * h:
        head -= 1
    base = thin
    while base < len(r) - 2 and r[base] < 1.35 * r[thin] and line.s[base] - line.s[thin] < 0.2 * h:
        base += 1
    flat = np.array([1.0, 0.0, 1.0])
    lift = np.array([0.0, middle, 0.0])
    return {
        "head": Spot(line.points[head] * flat + lift, _SD_H * h),
        "neck": Spot(line.points[base] * flat + lift, _SD_H * h),
    }


def _waist(flesh: Flesh, spots: Mapping[str, Spot], middle: float) -> Spot:
    hips = 0.5 * (spots["hip_left"].point + spots["hip_right"].point)
    shoulders = 0.5 * (spots["shoulder_left"].point + spots["shoulder_right"].point)
    x = float(hips[0] + 0.42 * (shoulders[0] - hips[0]))
    levels = _column(flesh, x, middle)
    z = 0.5 * float(levels.min() + levels.max()) if len(levels) else float(hips[2])
    return Spot(np.array([x, middle, z]), 2.0 * _SD_H * flesh.height)


def fourfoot_lies(
    points: Mapping[str, FloatArray], anatomy: Anatomy, height: float
) -> Callable[[JointSpec], tuple[Lie, FloatArray | None]]:
    """A function from a joint to how it lies and, for shoulders and hips, a hint for its cut. Standing angles are 0."""
    ahead = np.array([1.0, 0.0, 0.0])

    def between(start: str, end: str, otherwise: FloatArray) -> FloatArray:
        return direction(points[start], points[end], otherwise) if start in points and end in points else otherwise

    def lie(spec: JointSpec) -> tuple[Lie, FloatArray | None]:
        stem, _, side = spec.name.rpartition("_")
        if side not in SIGN:
            if spec.name == "tail":
                line = anatomy.lines.get("tail")
                way = -line.direction(0.5 * float(line.s[-1]), float(line.s[-1])) if line is not None else -ahead
                return Lie(way, way, "behind", rest={}), None
            neck = between("neck", "head", ahead)
            way = {"neck": neck, "head": neck, "waist": between("waist", "neck", ahead) * [1.0, 0.0, 0.0]}.get(
                spec.name, ahead
            )
            way = direction(np.zeros(3), np.asarray(way), ahead)
            return Lie(way, way, "ahead", rest={}), None
        end = "fore" if stem in _NAMES["fore"] else "hind"
        low, mid, root = (f"{name}_{side}" for name in _NAMES[end])
        upper, lower = between(root, mid, _DOWN), between(mid, low, _DOWN)
        line = anatomy.lines.get(f"{end}_{side}")
        paw = direction(points[low], line.points[0], _DOWN) if line is not None and low in points else lower
        paw = direction(np.zeros(3), paw + 0.5 * _DOWN, _DOWN)
        if spec.name == root:
            out = np.array([0.0, SIGN[side], 0.0])
            hint = np.sin(np.radians(55.0)) * out + np.cos(np.radians(55.0)) * _DOWN
            return Lie(upper, upper, "limb", rest={}), hint
        if spec.name == mid:
            return Lie(upper, lower, "limb", rest={}), None
        return Lie(lower, paw, "limb", rest={}), None

    return lie
