"""Bridges: does a roof hang between anchors, and how far does it span?

A roof is printed in straight lines from anchor to anchor. In each direction that lines can take, the roof is cut into
chords; where both ends of every chord rest on what lies below, the longest chord is the span in that direction, and the
span of the bridge is the shortest over all directions: the one in which a printer would lay its lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region

_TURNS = 12
_CHORDS = 24
_LOOSE_SHARE = 0.04
_OVER_MM = 0.03


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
    starts = np.concatenate(rings)
    ends = np.concatenate([np.roll(r, -1, axis=0) for r in rings])
    best: Span | None = None
    for turn in _turns(starts, ends):
        length = _longest(starts, ends, turn, anchors)
        if length is not None and (best is None or length < best.length_mm - 1e-9):
            best = Span(length, math.degrees(turn) % 180.0)
    return best


def _turns(starts: FloatArray, ends: FloatArray) -> list[float]:
    """Angles to try: even ones, and along and across the longest edges."""
    edge = ends - starts
    long = np.argsort(-np.linalg.norm(edge, axis=1), kind="stable")[:3]
    own = [math.atan2(float(edge[k, 1]), float(edge[k, 0])) for k in long]
    return [math.pi * k / _TURNS for k in range(_TURNS)] + own + [t + math.pi / 2 for t in own]


def _longest(starts: FloatArray, ends: FloatArray, turn: float, anchors: Region) -> float | None:
    """The longest chord along a direction, or None where chords hang loose."""
    c, s = math.cos(turn), math.sin(turn)
    a = np.stack([c * starts[:, 0] + s * starts[:, 1], -s * starts[:, 0] + c * starts[:, 1]], axis=1)
    b = np.stack([c * ends[:, 0] + s * ends[:, 1], -s * ends[:, 0] + c * ends[:, 1]], axis=1)
    low, high = float(a[:, 1].min()), float(a[:, 1].max())
    height = low + (high - low) * (np.arange(_CHORDS) + 0.5) / _CHORDS
    crosses = (a[None, :, 1] > height[:, None]) != (b[None, :, 1] > height[:, None])
    line, edge = np.nonzero(crosses)
    if not len(line):
        return None
    t = (height[line] - a[edge, 1]) / (b[edge, 1] - a[edge, 1])
    along = a[edge, 0] + t * (b[edge, 0] - a[edge, 0])
    order = np.lexsort((along, line))
    line, along = line[order], along[order]
    # A closed outline is crossed an even number of times, so chords are pairs.
    first, last, of = along[0::2], along[1::2], height[line[0::2]]
    outer = np.concatenate([np.stack([first - _OVER_MM, of], axis=1), np.stack([last + _OVER_MM, of], axis=1)])
    back = np.stack([c * outer[:, 0] - s * outer[:, 1], s * outer[:, 0] + c * outer[:, 1]], axis=1)
    held = anchors.holds(back)
    both = held[: len(first)] & held[len(first) :]
    if (~both).sum() > _LOOSE_SHARE * len(both):
        return None
    return float((last - first)[both].max())
