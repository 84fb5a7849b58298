"""Joint centres of a standing four-footed body.

Four low extremities are the paws, the foremost one the nose, the hindmost the tail's tip. Each leg's middle line is
followed into the trunk; shoulder and hip lie in the trunk by proportion of its depth and width there, and the two bends
between are those of the three straight pieces that follow the line best (proportions come in as a weak prior: common
practice, no source). Made for dogs and their like that stand on four paws; sitting or lying animals are beyond it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from condyle.figure.seating.flesh import Flesh, Tip, resampled, smooth, tips
from condyle.figure.seating.frames import Lie, direction
from condyle.figure.seating.sections import Profile, profile
from condyle.figure.seating.upright import SIGN, Anatomy, Spot
from condyle.figure.skeleton import JointSpec
from condyle.geometry.mesh import FloatArray

_DOWN = np.array([0.0, 0.0, -1.0])
_PAWS = 0.15  # paws' tips are lower than this share of the height
_REACH, _SMOOTH = 0.35, 0.02
# Shoulder and hip: up from the belly by a share of the trunk's depth, out by a share of its half width, inward from the
# chest's front or the rump by a share of the height.
_ROOTS = {"fore": (0.42, 0.62, 0.105), "hind": (0.48, 0.50, 0.10)}
# The bends' shares of the way from the tip to the root, and how loosely they are held.
_BENDS = {"fore": (0.15, 0.61), "hind": (0.31, 0.66), "head": (0.41, 0.78)}
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
    roots = _trunk_roots(flesh, flesh.points[core], middle)
    for end in ("fore", "hind"):
        for side in SIGN:
            line = _free_leg(flesh, paws.get(f"{end}_{side}"), before, middle)
            if line is None:
                missing.append(f"{end}leg_{side}")
                continue
            root = roots[end] if side == "left" else roots[end] * [1.0, -1.0, 1.0] + [0.0, 2.0 * middle, 0.0]
            lines[f"{end}_{side}"] = line
            spots |= _bends(line, root, end, side, h)
    if nose is not None:
        chest = roots["fore"] * [1.0, 0.0, 1.0] + [0.0, middle, 0.0]
        spots |= _head(flesh, nose, before, chest, middle)
    if tail is not None and (line := _free_tail(flesh, tail, before)) is not None:
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


def _free_leg(flesh: Flesh, tip: Tip | None, before: np.ndarray, middle: float) -> Profile | None:
    """A leg's line from its paw up to where its sections grow into the trunk, or the trunk closes between the legs."""
    if tip is None:
        return None
    h, grid = flesh.height, flesh.grid
    way = flesh.way(tip.cell, before)
    image = way * np.array([1.0, 0.0, 1.0]) + np.array([0.0, middle, 0.0])
    cells = np.round(grid.to_grid(image)).astype(np.int64)
    whole = np.flatnonzero(grid.inside[tuple(cells.T)] & (way[:, 2] - flesh.low > 0.15 * h))
    end = int(whole[0]) if len(whole) else len(way)
    if end < 8:
        return None
    rough = profile(grid, way[:end], reach_mm=_REACH * h, smooth_mm=_SMOOTH * h, rounds=0)
    end = _grown(rough, 0.15 * h, 1.5)
    if end < 8:
        return None
    return profile(grid, rough.points[:end], reach_mm=0.1 * h, smooth_mm=_SMOOTH * h, rounds=1)


def _grown(line: Profile, from_mm: float, times: float) -> int:
    """The first station past ``from_mm`` whose radius is so many times that of the stations before it."""
    r = line.radius
    start = int(np.searchsorted(line.s, from_mm))
    usual = np.array([np.median(r[max(i - 24, min(i, start // 2)) : i + 1]) for i in range(len(r))])
    grown = np.flatnonzero((r > times * usual) & (np.arange(len(r)) > start))
    return int(grown[0]) if len(grown) else len(r)


def _free_tail(flesh: Flesh, tip: Tip, before: np.ndarray) -> Profile | None:
    """The tail's line up to where its sections grow into the rump; None for a stub."""
    h = flesh.height
    line = profile(flesh.grid, flesh.way(tip.cell, before), reach_mm=_REACH * h, smooth_mm=_SMOOTH * h, rounds=0)
    end = _grown(line, 0.06 * h, 1.5)
    return line.part(0, end) if end >= 8 else None


def _column(flesh: Flesh, x: float, y: float) -> FloatArray:
    """Levels of the inside cells at a place seen from above, within two cells."""
    pitch = flesh.grid.pitch_mm
    near = (np.abs(flesh.points[:, 0] - x) < 2 * pitch) & (np.abs(flesh.points[:, 1] - y) < 2 * pitch)
    return np.asarray(flesh.points[near, 2])


def _trunk_roots(flesh: Flesh, core: FloatArray, middle: float) -> dict[str, FloatArray]:
    """Left shoulder and left hip by ``fore`` and ``hind``, and the trunk's half width there by proportion of the trunk."""
    h, pitch = flesh.height, flesh.grid.pitch_mm
    levels = _column(flesh, float(core[0]), middle)
    belly, back = float(levels.min()), float(levels.max())
    band = np.abs(flesh.points[:, 2] - 0.5 * (belly + back)) < 0.15 * (back - belly)
    slot = np.round((flesh.points[band, 0] - flesh.points[:, 0].min()) / pitch).astype(np.int64)
    half = np.zeros(int(slot.max()) + 1)
    np.maximum.at(half, slot, np.abs(flesh.points[band, 1] - middle))
    stout = np.flatnonzero(half > 0.4 * half.max())
    ends = {"hind": int(stout[0]), "fore": int(stout[-1])}
    out = {}
    for end, slot_at in ends.items():
        up, beside, inward = _ROOTS[end]
        x = flesh.points[:, 0].min() + slot_at * pitch + (inward if end == "hind" else -inward) * h
        near = half[max(0, slot_at - 12) : slot_at + 13].max()
        out[end] = np.array([float(x), middle + beside * float(near), belly + up * (back - belly)])
    return out


def _bends(line: Profile, root: FloatArray, end: str, side: str, height: float) -> dict[str, Spot]:
    """The two bends of a leg and its root."""
    points = np.concatenate([line.points, root[None]])
    start = int(np.argmax(points[:, 2] > points[0, 2] + 0.04 * height))
    names, sd = _NAMES[end], _SD_H * height
    low, mid = _two_bends(points[start:], end, height)
    return {
        f"{names[0]}_{side}": Spot(low, sd),
        f"{names[1]}_{side}": Spot(mid, sd),
        f"{names[2]}_{side}": Spot(root, sd),
    }


def _two_bends(way: FloatArray, what: str, height: float) -> tuple[FloatArray, FloatArray]:
    """Where a way bends twice, seen from the side: three straight pieces that follow it best."""
    points = resampled(way, 0.01 * height)
    share = np.linspace(0.0, 1.0, len(points))
    flat = points[:, [0, 2]]
    first, second = _BENDS[what]
    best, found = np.inf, (int(first * len(points)), int(second * len(points)))
    for i in range(2, len(points) - 4):
        for j in range(i + 2, len(points) - 2):
            off = sum(_off(flat[a : b + 1]) for a, b in ((0, i), (i, j), (j, len(points) - 1)))
            cost = off / (0.01 * height) ** 2 / len(points) * 12.0
            cost += ((share[i] - first) / _BEND_SD) ** 2 + ((share[j] - second) / _BEND_SD) ** 2
            if cost < best:
                best, found = cost, (i, j)
    return points[found[0]], points[found[1]]


def _off(points: FloatArray) -> float:
    """Sum of squared distances from the straight line between a run's ends."""
    chord = points[-1] - points[0]
    length = float(np.hypot(chord[0], chord[1]))
    if length < 1e-9:
        return float((points - points[0]).ravel() @ (points - points[0]).ravel())
    gap = points - points[0]
    off = (gap[:, 0] * chord[1] - gap[:, 1] * chord[0]) / length
    return float(off @ off)


def _head(flesh: Flesh, nose: Tip, before: np.ndarray, chest: FloatArray, middle: float) -> dict[str, Spot]:
    """Skull base and neck base: the bends of the way from the nose to the chest's middle."""
    h = flesh.height
    way = flesh.way(nose.cell, before)
    into = np.flatnonzero(np.linalg.norm(way - chest, axis=1) < 0.25 * h)
    way = smooth(resampled(way[: int(into[0]) + 1] if len(into) else way, flesh.grid.pitch_mm), 4.0)
    head, neck = _two_bends(np.concatenate([way, chest[None]]), "head", h)
    flat, lift = np.array([1.0, 0.0, 1.0]), np.array([0.0, middle, 0.0])
    return {"head": Spot(head * flat + lift, _SD_H * h), "neck": Spot(neck * flat + lift, _SD_H * h)}


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
