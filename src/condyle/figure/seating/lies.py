"""How the joints of a standing figure lie in their limbs: directions before and after each joint."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from condyle.figure.seating.frames import Lie, direction
from condyle.figure.seating.upright import SIGN, Anatomy, along
from condyle.figure.skeleton import JointSpec, Motion
from condyle.geometry.mesh import FloatArray

_UP = np.array([0.0, 0.0, 1.0])
_AHEAD = np.array([1.0, 0.0, 0.0])
# Where to look for the smallest cut: shoulders mostly sideways, hips down and out.
_SHOULDER_HINT, _HIP_HINT_DEG = 0.65, 38.0
Lies = Callable[[JointSpec], tuple[Lie, FloatArray | None]]


def upright_lies(points: Mapping[str, FloatArray], anatomy: Anatomy, height: float) -> Lies:
    """A function from a joint to how it lies and, for shoulders and hips, a hint for its cut."""

    def between(start: str, end: str, otherwise: FloatArray) -> FloatArray:
        return direction(points[start], points[end], otherwise) if start in points and end in points else otherwise

    def lie(spec: JointSpec) -> tuple[Lie, FloatArray | None]:
        stem, _, side = spec.name.rpartition("_")
        if side not in SIGN:
            return _trunk_lie(spec.name, points, anatomy), None
        out = np.array([0.0, SIGN[side], 0.0])
        if stem in ("shoulder", "biceps", "elbow", "wrist"):
            upper = between(f"shoulder_{side}", f"elbow_{side}", -_UP)
            fore = between(f"elbow_{side}", f"wrist_{side}", upper)
            if stem == "shoulder":
                hint = _SHOULDER_HINT * out + (1.0 - _SHOULDER_HINT) * upper
                return Lie(upper, upper, "limb", root=True), hint / np.linalg.norm(hint)
            if stem == "biceps":
                return _straight(_local(points[spec.name], anatomy, f"arm_{side}", upper, height)), None
            if stem == "elbow":
                return Lie(upper, fore, "limb"), None
            return Lie(fore, _wrist_way(points, anatomy, side, fore), "limb"), None
        thigh = between(f"hip_{side}", f"knee_{side}", -_UP)
        shin = between(f"knee_{side}", f"ankle_{side}", thigh)
        foot = _heading(points, anatomy, side)
        if stem == "hip":
            t = np.radians(_HIP_HINT_DEG)
            return Lie(thigh, thigh, "limb", root=True), np.sin(t) * out - np.cos(t) * _UP
        if stem == "thigh":
            return _straight(_local(points[spec.name], anatomy, f"leg_{side}", thigh, height)), None
        if stem == "knee":
            half = _AHEAD + foot
            return Lie(thigh, shin, "limb", half / np.linalg.norm(half)), None
        if stem == "ankle":
            return Lie(shin, shin, "limb", foot, rest=_standing_foot(shin, foot, SIGN[side])), None
        return Lie(-_UP, -_UP, "limb"), None

    return lie


def _straight(way: FloatArray) -> Lie:
    return Lie(way, way, "limb")


def _trunk_lie(name: str, points: Mapping[str, FloatArray], anatomy: Anatomy) -> Lie:
    up = _UP
    if name == "neck":
        up = anatomy.neck_up
    elif "neck" in points and "hip_left" in points and "hip_right" in points:
        up = direction(0.5 * (points["hip_left"] + points["hip_right"]), points["neck"], _UP)
    up = np.array([up[0], 0.0 if abs(up[1]) < 0.05 else up[1], up[2]])
    up = up / np.linalg.norm(up)
    return Lie(up, up, "trunk")


def _local(point: FloatArray, anatomy: Anatomy, limb: str, otherwise: FloatArray, height: float) -> FloatArray:
    """The limb's own direction at a point of it, towards the tip, steadied by the direction between its joints."""
    line = anatomy.lines.get(limb)
    if line is None:
        return otherwise
    s = along(line, point)
    own = -line.direction(s - 0.035 * height, s + 0.035 * height)
    mean = own + otherwise if float(own @ otherwise) > 0.8 else otherwise
    return np.asarray(mean / np.linalg.norm(mean))


def _wrist_way(points: Mapping[str, FloatArray], anatomy: Anatomy, side: str, fore: FloatArray) -> FloatArray:
    """Where the palm goes; the forearm's own way when the hand is too short or too bent to tell."""
    line = anatomy.lines.get(f"arm_{side}")
    if line is None:
        return fore
    s = along(line, points[f"wrist_{side}"])
    palm = -line.direction(0.5 * s, s)
    return palm if float(fore @ palm) > 0.5 else fore


def _standing_foot(shin: FloatArray, foot: FloatArray, sign: float) -> dict[Motion, float]:
    """A flat foot's angles against a leaning shin: toes up where the shin leans ahead, sole inward where it leans out."""
    return {
        "flex": float(np.degrees(np.arcsin(np.clip(float(foot @ -shin), -1.0, 1.0)))),
        "abduct": -float(np.degrees(np.arctan2(sign * shin[1], -shin[2]))),
    }


def _heading(points: Mapping[str, FloatArray], anatomy: Anatomy, side: str) -> FloatArray:
    """Where the toes point, level; straight ahead when they seem to point far off."""
    line = anatomy.lines.get(f"leg_{side}")
    if line is None or f"ankle_{side}" not in points:
        return _AHEAD
    way = line.points[0] - points[f"ankle_{side}"]
    flat = np.array([way[0], way[1], 0.0])
    length = float(np.linalg.norm(flat))
    if length < 1e-6 or flat[0] / length < 0.5:
        return _AHEAD
    return np.asarray(flat / length)
