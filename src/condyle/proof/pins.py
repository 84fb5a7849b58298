"""Do the loose pins fit: can each be pushed home, and does the tongue turn on it?

The pin is set where the joint says it sits, as a plain cylinder of its stated diameter, and rings of points on it are
measured against the two parts as written; none of the code that bored the holes is asked.

fit.pin        the least gap between the pin, all the way from its mouth to its seat, and either part: a hole drawn at size
               touches (0 mm, less 0.03 mm of facets) and passes, down to 0.1 mm of overlap it is a caution
fit.pin_turns  the least gap of the part that turns on it: at least 0.05 mm passes, a touch fails
Thresholds are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit, Pin
from condyle.finding import Finding, Point, Verdict
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray
from condyle.proof.bodies import PartBody

_FACETS_MM = 0.03
_SQUEEZE_MM = 0.1
_TURNS_MM = 0.05
_STEP_MM = 0.1
_AROUND = 24
_BEYOND_MM = 1.5
_FAR_MM = 1.0


def pins(kit: Kit, bodies: Mapping[str, PartBody]) -> list[Finding]:
    """Findings about every pin of every built joint."""
    out = []
    for joint in kit.joints:
        found = [_one(joint, k, pin, bodies) for k, pin in enumerate(joint.pins) if joint.built]
        if not found:
            continue
        gap, place = min((f[0] for f in found), key=lambda g: g[0])
        out.append(_fits(joint.name, gap, place))
        turning = [f[1] for f in found if f[1] is not None]
        if turning:
            gap, place = min(turning, key=lambda g: g[0])
            out.append(_turns(joint.name, gap, place))
    return out


def _one(
    joint: BuiltJoint, k: int, pin: Pin, bodies: Mapping[str, PartBody]
) -> tuple[tuple[float, Point], tuple[float, Point] | None]:
    """The least gap of the pin's whole way, and that of its running part: the part whose holes are wider all round."""
    axle = joint.axles[k]
    whole: list[tuple[float, Point]] = []
    running: list[tuple[float, Point]] = []
    for name in (axle.moves, axle.stays):
        gap, points, seated = _gaps(pin, bodies[name])
        i = int(np.argmin(gap))
        whole.append((float(gap[i]), _point(points[i])))
        near = np.flatnonzero(seated & (gap < 0.5))
        if len(near):
            j = near[int(np.argmin(gap[near]))]
            running.append((float(gap[j]), _point(points[j])))
    # One part holds the pin tight in an ear, the other turns on it.
    turning = max(running, key=lambda g: g[0]) if len(running) == 2 else None
    return min(whole, key=lambda g: g[0]), turning


def _gaps(pin: Pin, body: PartBody) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Signed gaps of points on the pin and on its way out of the mouth, the points, and which are on the seated pin."""
    blind, mouth = np.asarray(pin.blind, dtype=np.float64), np.asarray(pin.mouth, dtype=np.float64)
    length = float(np.linalg.norm(mouth - blind))
    along = unit(mouth - blind)
    side = unit(np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))]))
    angles = 2.0 * np.pi * np.arange(_AROUND) / _AROUND
    ring = 0.5 * pin.diameter_mm * (np.outer(np.cos(angles), side) + np.outer(np.sin(angles), np.cross(along, side)))
    # The very end of the blind hole is where the pin stops.
    heights = np.arange(0.05, length + _BEYOND_MM, _STEP_MM)
    points = (blind + heights[:, None, None] * along + ring[None]).reshape(-1, 3)
    distance = body.solid.closest(points, _FAR_MM)[0]
    distance = np.where(np.isfinite(distance), distance, _FAR_MM)
    gap = np.where(body.solid.inside(points), -distance, distance)
    return gap, points, np.repeat(heights <= length, _AROUND)


def _fits(name: str, gap: float, place: Point) -> Finding:
    verdict: Verdict = "pass" if gap >= -_FACETS_MM else ("caution" if gap >= -_SQUEEZE_MM else "fail")
    advice = (
        "" if verdict == "pass" else "the pin runs into flesh on its way home: open its hole, or take a thinner pin"
    )
    return Finding("fit.pin", name, verdict, gap, 0.0, "mm", place, advice)


def _turns(name: str, gap: float, place: Point) -> Finding:
    verdict: Verdict = "pass" if gap >= _TURNS_MM else ("caution" if gap > 0.0 else "fail")
    advice = "" if verdict == "pass" else "what should turn on the pin sits tight on it: ream the hole of the tongue"
    return Finding("fit.pin_turns", name, verdict, gap, _TURNS_MM, "mm", place, advice)


def _point(p: FloatArray) -> Point:
    return (float(p[0]), float(p[1]), float(p[2]))
