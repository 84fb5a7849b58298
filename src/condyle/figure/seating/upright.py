"""Joint centres of a standing two-legged body.

Wrists, elbows, ankles and knees lie on the limbs' middle lines, where the limb's run of sections says (matching.py).
Shoulders, hips and neck lie inside the trunk and are read from its outline: the armpit's level and the trunk's width
below it, the top of the shoulder, the crotch, the pelvis' width, the neck's narrowing. The factors below are means over
bodies with known centres (CC0 data, babies to old people); they are stated in fractions of height, and the spread that
was seen around them is the standard deviation given.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

from condyle.figure.seating.flesh import Flesh
from condyle.figure.seating.limbs import Limb, Standing, take_apart
from condyle.figure.seating.matching import match, measures
from condyle.figure.seating.norms import ARM, LEG, TypicalLimb
from condyle.figure.seating.sections import Profile
from condyle.figure.seating.trunk import Trunk, armpit_level, neck_level, trunk_of
from condyle.geometry.mesh import FloatArray

SIGN = {"left": 1.0, "right": -1.0}

# Shoulder: half distance = 0.42 × the trunk's half width under the armpits + 0.065 × height; level: 0.77 of the way
# from the armpit to the top of the shoulder, less 0.009 × height.
_SHOULDER_OUT, _SHOULDER_OUT_H = 0.42, 0.065
_SHOULDER_UP, _SHOULDER_UP_H = 0.77, -0.009
# Where arms touch the body: armpits lie at 0.62 of the way from the crotch to the neck's narrowest level, never below 0.48.
_ARMPIT_USUAL, _ARMPIT_LEAST = 0.62, 0.48
# Then the shoulder is drawn to the axis of the straight part of the upper arm: by this share, at most so far.
_AXIS_SHARE, _AXIS_MOST_H = 0.35, 0.03
_AXIS_FROM_H, _AXIS_TO_H, _AXIS_LEAST_H = 0.012, 0.015, 0.035
# Hip: above the crotch by 0.049 × height; half distance 0.19 × the pelvis' half width + 0.045 × height; behind the
# thigh's middle line by 0.011 × height.
_HIP_UP_H, _HIP_OUT, _HIP_OUT_H, _HIP_BACK_H = 0.049, 0.19, 0.045, 0.011
# Neck: where the neck's half width, going down from its narrowest level, has grown 1.4-fold; the spine lies behind the
# section's middle by 0.005 × height.
_NECK_GROWTH, _NECK_BACK_H = 1.4, 0.005
# Waist: 0.36 of the way from the hips to the shoulders, drawn to a narrower level near by.
_WAIST_SHARE, _WAIST_REACH = 0.36, 0.10

# Elbow: its axis lies behind the arm's middle line, which also cuts the corner of a bend.
_ELBOW_BACK_H = 0.006
# Ankle: cosine against the shin at which the line has turned out of the foot; and how far up that may move the ankle.
_TURNED, _HEEL_MOST_H = 0.93, 0.06
# Swivels: share of the way from the limb's root to the elbow or knee, where the limb runs straight (no source).
_BICEPS_SHARE, _THIGH_SHARE = 0.48, 0.42

_SD_H = {"neck": 0.008, "waist": 0.015, "shoulder": 0.010, "hip": 0.010, "elbow": 0.005, "knee": 0.006,
         "wrist": 0.003, "ankle": 0.004}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Spot:
    """A joint's centre (3,) mm and its standard deviation, mm."""

    point: FloatArray
    sd_mm: float


@dataclass(frozen=True, eq=False)
class Anatomy:
    """What was found: centres by joint name, limb lines by ``arm_left`` and so on, and what is missing or odd."""

    spots: dict[str, Spot]
    lines: dict[str, Profile]
    middle_y: float
    missing: tuple[str, ...] = ()
    touching: tuple[str, ...] = ()
    neck_up: FloatArray = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))


def find_upright(flesh: Flesh) -> tuple[Anatomy, Standing]:
    """All centres that can be found in a standing body, without symmetry (the caller's concern)."""
    body = take_apart(flesh)
    trunk = trunk_of(flesh, body.middle_y)
    h = flesh.height
    spots: dict[str, Spot] = {}
    lines: dict[str, Profile] = {}
    armpit, clear = _armpit(body, trunk)
    for side, arm in body.arms.items():
        shoulder = _on_axis(arm, _shoulder(flesh, body, trunk, arm, armpit, side), h)
        spots |= _limb(arm, shoulder, ("wrist", "elbow", "shoulder"), side, h, ARM)
        spots[f"elbow_{side}"] = _behind(spots[f"elbow_{side}"], arm.profile, _ELBOW_BACK_H * h)
        spots[f"biceps_{side}"] = _swivel(arm, spots, ("shoulder", "elbow"), side, _BICEPS_SHARE)
        lines[f"arm_{side}"] = arm.profile
    for side, leg in body.legs.items():
        hip = _hip(body, trunk, leg, side)
        spots |= _limb(leg, hip, ("ankle", "knee", "hip"), side, h, LEG)
        spots[f"ankle_{side}"] = _past_heel(spots[f"ankle_{side}"], leg.profile, h)
        spots[f"thigh_{side}"] = _swivel(leg, spots, ("hip", "knee"), side, _THIGH_SHARE)
        lines[f"leg_{side}"] = leg.profile
    up = np.array([0.0, 0.0, 1.0])
    neck = _neck(body, trunk, spots, armpit)
    if neck is not None:
        spots["neck"], up = neck
    spots["waist"] = _waist(body, trunk, spots, armpit)
    missing = [f"arm_{s}" for s in SIGN if s not in body.arms] + [f"leg_{s}" for s in SIGN if s not in body.legs]
    if neck is None:
        missing.append("neck")
    touching = () if clear else tuple(f"arm_{side}" for side in body.arms)
    return Anatomy(spots, lines, body.middle_y, tuple(missing), touching, up), body


def _armpit(body: Standing, trunk: Trunk) -> tuple[float | None, bool]:
    """The armpits' level, and whether the arms are clear of the body up to it.

    Arms that touch the flanks join the trunk's section far too low: then the level is taken by proportion.
    """
    low = body.crotch_z + 0.12 * body.height
    found = armpit_level(trunk, low, body.height)
    neck = float(trunk.z[neck_level(trunk, low + 0.3 * (float(trunk.z[-1]) - low), body.height)])
    if found is not None and found - body.crotch_z < _ARMPIT_LEAST * (neck - body.crotch_z):
        return body.crotch_z + _ARMPIT_USUAL * (neck - body.crotch_z), False
    return found, True


def _limb(
    limb: Limb, root: FloatArray, names: tuple[str, str, str], side: str, height: float, typical: TypicalLimb
) -> dict[str, Spot]:
    line = limb.profile
    root_s = along(line, root)
    marks = match(line, root_s, height, typical)
    own = [_SD_H[name] * height for name in names]
    return {
        f"{names[0]}_{side}": Spot(on(line, marks.first, root), float(np.hypot(own[0], 0.7 * marks.first_sd))),
        f"{names[1]}_{side}": Spot(on(line, marks.second, root), float(np.hypot(own[1], 0.7 * marks.second_sd))),
        f"{names[2]}_{side}": Spot(root, own[2]),
    }


def _on_axis(arm: Limb, shoulder: FloatArray, height: float) -> FloatArray:
    """The shoulder's centre drawn towards the upper arm's own axis, where enough of the arm is free to show it."""
    line = arm.profile
    marks = match(line, along(line, shoulder), height, ARM)
    low = marks.second + _AXIS_FROM_H * height
    high = min(float(line.s[-1]), along(line, shoulder)) - _AXIS_TO_H * height
    if high - low < _AXIS_LEAST_H * height:
        return shoulder
    way = line.direction(low, high)
    inside = (line.s >= low) & (line.s <= high)
    gap = shoulder - line.points[inside].mean(axis=0)
    gap = gap - way * float(gap @ way)
    gap[0] = 0.0  # the arm's own line already gave the depth
    far = float(np.linalg.norm(gap))
    return np.asarray(shoulder - gap * min(_AXIS_SHARE, _AXIS_MOST_H * height / max(far, 1e-9)))


def _behind(spot: Spot, line: Profile, by_mm: float) -> Spot:
    """A spot moved backwards, square to its limb."""
    chord = line.points[-1] - line.points[len(line.s) // 3]
    chord = chord / max(float(np.linalg.norm(chord)), 1e-9)
    ahead = np.array([1.0, 0.0, 0.0])
    return Spot(spot.point - by_mm * (ahead - chord * float(chord @ ahead)), spot.sd_mm)


def _past_heel(spot: Spot, line: Profile, height: float) -> Spot:
    """An ankle no lower than where the leg's line has turned from the foot into the shin: boots hide the narrow place."""
    s = along(line, spot.point)
    turned = measures(line, height)[:, 2]
    after = np.flatnonzero((line.s >= s) & (turned >= _TURNED))
    if not len(after) or float(line.s[after[0]]) - s > _HEEL_MOST_H * height:
        return spot
    return Spot(line.at(max(s, float(line.s[after[0]]))), spot.sd_mm)


def _swivel(limb: Limb, spots: Mapping[str, Spot], ends: tuple[str, str], side: str, share: float) -> Spot:
    """A swivel on the limb's middle line between two joints."""
    line = limb.profile
    root, far = spots[f"{ends[0]}_{side}"], spots[f"{ends[1]}_{side}"]
    start, end = along(line, root.point), along(line, far.point)
    return Spot(on(line, start + share * (end - start), root.point), float(np.hypot(0.5 * root.sd_mm, 0.5 * far.sd_mm)))


def along(line: Profile, point: FloatArray) -> float:
    """The length along a line that is nearest to a point; past the line's end, on straight to the point."""
    i = int(np.argmin(np.linalg.norm(line.points - point, axis=1)))
    if i < len(line.s) - 2:
        return float(line.s[i])
    return float(line.s[-1]) + float(np.linalg.norm(point - line.points[-1]))


def on(line: Profile, s_mm: float, root: FloatArray) -> FloatArray:
    """The point at a length along a line, and on from its end straight to the limb's root."""
    end = float(line.s[-1])
    if s_mm <= end:
        return line.at(s_mm)
    gap = root - line.points[-1]
    return np.asarray(line.points[-1] + gap * (s_mm - end) / max(float(np.linalg.norm(gap)), 1e-9))


def _shoulder(flesh: Flesh, body: Standing, trunk: Trunk, arm: Limb, armpit: float | None, side: str) -> FloatArray:
    h, sign = flesh.height, SIGN[side]
    line = arm.profile
    end = float(line.s[-1])
    if armpit is None:
        return np.asarray(line.points[-1] + 0.02 * h * line.direction(end - 0.12 * h, end - 0.03 * h))
    width = _flank(trunk, body.crotch_z, armpit - 0.02 * h, h)
    out = float(np.clip(_SHOULDER_OUT * width + _SHOULDER_OUT_H * h, 0.8 * width, 1.4 * width))
    top = _skin_top(flesh, body.middle_y + sign * 1.2 * width, armpit)
    level = armpit + 0.06 * h
    if top is not None and 0.03 * h < top - armpit < 0.16 * h:
        level = armpit + _SHOULDER_UP * (top - armpit) + _SHOULDER_UP_H * h
    return np.array([line.points[-1, 0] + 0.002 * h, body.middle_y + sign * out, level])


def _flank(trunk: Trunk, low: float, level: float, height: float) -> float:
    """The trunk's half width at a level; arms that touch it are left out by the narrower sections below."""
    inside = (trunk.z > low + 0.05 * height) & (trunk.z < level) & np.isfinite(trunk.half)
    here = trunk.at(trunk.half, level)
    return min(here, 1.35 * float(trunk.half[inside].min())) if inside.any() else here


def _skin_top(flesh: Flesh, y: float, low: float) -> float | None:
    """The top of the flesh that stands on a level, in the plane of a y: the head, above a gap, does not count."""
    grid = flesh.grid
    j = round(float(grid.to_grid(np.array([0.0, y, 0.0]))[1]))
    if not 0 <= j < grid.inside.shape[1]:
        return None
    filled = np.flatnonzero(grid.inside[:, j, :].any(axis=0))
    filled = filled[grid.origin[2] + grid.pitch_mm * filled > low]
    if not len(filled):
        return None
    run = filled[: int(np.argmax(np.diff(filled) > 1)) + 1] if (np.diff(filled) > 1).any() else filled
    return float(grid.origin[2] + grid.pitch_mm * (run[-1] + 0.5))


def _hip(body: Standing, trunk: Trunk, leg: Limb, side: str) -> FloatArray:
    h, sign = body.height, SIGN[side]
    pelvis = (trunk.z > body.crotch_z) & (trunk.z < body.crotch_z + 0.1 * h) & np.isfinite(trunk.half)
    half = float(trunk.half[pelvis].max()) if pelvis.any() else 0.1 * h
    out = float(np.clip(_HIP_OUT * half + _HIP_OUT_H * h, 0.35 * half, 0.75 * half))
    thigh = leg.profile.at(leg.root_s - 0.02 * h)
    return np.array([thigh[0] - _HIP_BACK_H * h, body.middle_y + sign * out, body.crotch_z + _HIP_UP_H * h])


def _neck(
    body: Standing, trunk: Trunk, spots: Mapping[str, Spot], armpit: float | None
) -> tuple[Spot, FloatArray] | None:
    """The neck's base and the direction in which the neck rises; None when nothing narrows above the shoulders."""
    h = body.height
    levels = [s.point[2] for name, s in spots.items() if name.startswith("shoulder")]
    low = float(np.mean(levels)) if levels else (armpit if armpit is not None else body.crotch_z + 0.25 * h)
    top = float(np.max(trunk.z[np.isfinite(trunk.half)]))
    window = np.flatnonzero((trunk.z > low + 0.01 * h) & (trunk.z < low + 0.75 * (top - low)) & np.isfinite(trunk.half))
    if len(window) < 3:
        return None
    half = ndimage.gaussian_filter1d(np.where(np.isfinite(trunk.half), trunk.half, 0.0), 1.0)
    narrow = int(window[np.argmin(half[window])])
    base = narrow
    while base > 0 and half[base] < _NECK_GROWTH * half[narrow] and trunk.z[base] > low:
        base -= 1
    found = narrow < window[-1] or half[narrow] < 0.8 * half[window].max()
    point = np.array([trunk.middle_x[base] - _NECK_BACK_H * h, body.middle_y, trunk.z[base]])
    # The throat's section widens forward under the chin: look only a little way up.
    rise = max(float(trunk.z[narrow] - trunk.z[base]), 0.02 * h)
    ahead = trunk.at(trunk.middle_x, float(trunk.z[base]) + rise) - float(trunk.middle_x[base])
    lean = float(np.clip(0.6 * ahead / rise, -0.1, 0.3))
    up = np.array([lean, 0.0, 1.0])
    return (Spot(point, _SD_H["neck"] * h * (1.0 if found else 3.0)), up / np.linalg.norm(up))


def _waist(body: Standing, trunk: Trunk, spots: Mapping[str, Spot], armpit: float | None) -> Spot:
    h = body.height
    hips = [s.point[2] for name, s in spots.items() if name.startswith("hip")]
    shoulders = [s.point[2] for name, s in spots.items() if name.startswith("shoulder")]
    low = float(np.mean(hips)) if hips else body.crotch_z + _HIP_UP_H * h
    high = float(np.mean(shoulders)) if shoulders else (armpit or low + 0.25 * h)
    share = (trunk.z - low) / max(high - low, 1e-6)
    near = np.flatnonzero((np.abs(share - _WAIST_SHARE) < _WAIST_REACH) & np.isfinite(trunk.area))
    if not len(near):
        return Spot(np.array([body.core[0], body.middle_y, low + _WAIST_SHARE * (high - low)]), 0.03 * h)
    cost = trunk.area[near] / trunk.area[near].min() + 2.0 * np.abs(share[near] - _WAIST_SHARE)
    k = int(near[np.argmin(cost)])
    return Spot(np.array([trunk.middle_x[k], body.middle_y, trunk.z[k]]), _SD_H["waist"] * h)
