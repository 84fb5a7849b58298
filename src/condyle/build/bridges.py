"""Bridges: does a roof hang between anchors, and how far does it span?

A roof is printed in straight lines from anchor to anchor. In each direction that lines can take, the roof is cut into
chords; where both ends of every chord rest on what lies below, the longest chord is the span in that direction, and the
span of the bridge is the shortest over all directions: the one in which a printer would lay its lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.chords import chords
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
    turns = np.array(_turns(starts, ends))
    which, across = chords(starts, ends, turns, _CHORDS)
    length = np.hypot(across[:, 2] - across[:, 0], across[:, 3] - across[:, 1])
    way = np.stack([np.cos(turns[which]), np.sin(turns[which])], axis=1) * _OVER_MM
    held = anchors.holds(np.concatenate([across[:, :2] - way, across[:, 2:] + way]))
    both = held[: len(which)] & held[len(which) :]
    best: Span | None = None
    for w, turn in enumerate(turns):
        mine = which == w
        loose = int((mine & ~both).sum())
        if not mine.any() or loose > _LOOSE_SHARE * int(mine.sum()):
            continue
        longest = float(length[mine & both].max())
        if best is None or longest < best.length_mm - 1e-9:
            best = Span(longest, math.degrees(turn) % 180.0)
    return best


def _turns(starts: FloatArray, ends: FloatArray) -> list[float]:
    """Angles to try: even ones, and along and across the longest edges."""
    edge = ends - starts
    long = np.argsort(-np.linalg.norm(edge, axis=1), kind="stable")[:3]
    own = [math.atan2(float(edge[k, 1]), float(edge[k, 0])) for k in long]
    return [math.pi * k / _TURNS for k in range(_TURNS)] + own + [t + math.pi / 2 for t in own]
