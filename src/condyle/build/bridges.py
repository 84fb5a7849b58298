"""Bridges: does a roof hang between anchors, and how far does it span?

A roof is printed in straight lines from anchor to anchor. In each direction that lines can take, the roof is cut into
chords; where both ends of every chord rest on what lies below, the longest chord is the span in that direction, and the
span of the bridge is the shortest over all directions: the one in which a printer would lay its lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.chords import held_chords, short_steps
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region

_TURNS = 12
_CHORDS = 24
_LOOSE_SHARE = 0.04
_OVER_MM = 0.03
_STEP_MM = 0.25


@dataclass(frozen=True)
class Span:
    """Length in mm, and the direction of the lines in degrees from the build x axis."""

    length_mm: float
    turn_deg: float


def span(roof: Region, anchors: Region) -> Span | None:
    """The span of a roof (a region that has nothing below) between anchors; None where it hangs from one side only.

    Directions are every 15° and those of its own longest edges; chords stand a 24th of its width apart, and one in
    twenty-five may miss its anchor, as those at corners do.
    """
    rings = roof.rings()
    if not rings:
        return None
    whole_starts = np.concatenate(rings)
    whole_ends = np.concatenate([turned for r in rings for turned in (r[1:], r[:1])])
    starts, ends = short_steps(whole_starts, whole_ends, _STEP_MM)
    step = ends - starts
    # The roof lies to the left of its outline, so what it rests on lies to the right.
    out = np.stack([step[:, 1], -step[:, 0]], axis=1) / np.maximum(np.linalg.norm(step, axis=1), 1e-12)[:, None]
    held = anchors.holds(0.5 * (starts + ends) + _OVER_MM * out)
    if not held.any():
        return None
    turns = np.array(_turns(whole_starts, whole_ends))
    longest, total, loose = held_chords(starts, ends, held, turns, _CHORDS)
    sure = (longest > 0.0) & (loose <= _LOOSE_SHARE * total)
    if not sure.any():
        return None
    best = int(np.argmin(np.where(sure, longest, np.inf)))
    return Span(float(longest[best]), math.degrees(turns[best]) % 180.0)


def _turns(starts: FloatArray, ends: FloatArray) -> list[float]:
    """Angles to try: even ones, and along and across the longest edges."""
    edge = ends - starts
    long = np.argsort(-np.linalg.norm(edge, axis=1), kind="stable")[:3]
    own = [math.atan2(float(edge[k, 1]), float(edge[k, 0])) for k in long]
    return [math.pi * k / _TURNS for k in range(_TURNS)] + own + [t + math.pi / 2 for t in own]
