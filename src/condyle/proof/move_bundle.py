"""Bundles of motions of one joint: how far all of them go, and which of two answers is tight.

A bundle is a turn that stands for many: every motion of it differs from the turn by no more than a slack (arrival.py). The
turn alone, without slack, says how far one of them goes: so the least of all lies between the two. Where these are apart,
the bundle is cut, and of its pieces only those that can still be the least are looked at again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from condyle.geometry.arrival import Known, first_within, lines_at
from condyle.geometry.follow import NO_SLACK, Path, Slack
from condyle.geometry.mesh import FloatArray
from condyle.geometry.rings import NO_SPANS, Rings, Spans, forgotten, rings_of
from condyle.proof.move_case import Facing

STEP = math.radians(0.02)
_ROUNDING = 1e-9

B = TypeVar("B")


@dataclass(frozen=True)
class Stopped:
    """Radians up to which a turn is free; the pair that ends it and the still triangle, None where nothing does.

    found  number of the pair, and places of its two triangles in their trees
    """

    at: float
    pair: Facing | None = None
    triangle: int = -1
    found: tuple[int, int, int] = (-1, -1, -1)


class Sides:
    """Pairs of a joint ready for one walk after another; what stopped one is looked at first in the next.

    levers  by pair, what a point is multiplied with in a slack (arrival.Slack)
    spans   by pair, distances from a point that every turn goes about; None where there is no such point
    """

    def __init__(
        self,
        pairs: Sequence[Facing],
        levers: Sequence[tuple[FloatArray, FloatArray]],
        spans: Sequence[tuple[Spans, Spans]] | None = None,
    ) -> None:
        self.pairs, self._levers = pairs, levers
        self._spans = spans or [(NO_SPANS, NO_SPANS)] * len(pairs)
        self._rings: dict[int, tuple[Rings, Rings]] = {}
        self._at, self._lines, self._fresh = b"", (np.zeros((4, 3)), np.zeros((4, 3))), set[int]()
        self._hints: dict[int, tuple[int, int]] = {}
        boxes = [(p.moved.bvh.boxes[0], p.still.bvh.boxes[0]) for p in pairs]
        both = np.array(boxes).reshape(-1, 2, 2, 3)
        self._middle = both.mean(axis=2)
        self._size = 0.5 * np.linalg.norm(both[:, :, 1] - both[:, :, 0], axis=2)
        self._keep = np.array([p.keep_mm for p in pairs])
        self._lever = np.array([float(nodes[0]) for _, nodes in levers])
        self._order = list(range(len(pairs)))

    def first(self, path: Path, limit: float, fixed: float = 0.0, rate: float = 0.0) -> Stopped:
        """How far the turn goes with all pairs keeping their gap and the slack."""
        best, at_path = Stopped(limit), path.start.tobytes() + path.axis.tobytes()
        if at_path != self._at:
            # Rings are kept while one turn is asked again, with slack and without.
            self._at, self._lines, self._fresh = at_path, lines_at(path), set()
        for place, k in self._near(path, limit, fixed, rate):
            pair = self.pairs[k]
            if pair.touching_at is not None:
                return Stopped(0.0, pair, 0)
            if k not in self._fresh:
                self._rings[k] = self._ready(k)
                self._fresh.add(k)
            slack = Slack(*self._levers[k], fixed, rate) if fixed or rate else NO_SLACK
            at, moving, still, _ = first_within(
                pair.moved, pair.still, path, best.at, clearance_mm=pair.keep_mm, smallest_step=STEP, rule=pair.rule,
                known=Known(self._spans[k], self._rings[k]), slack=slack,
                hint=self._hints.get(k),
            )  # fmt: skip
            if still >= 0:
                best = Stopped(at, pair, int(pair.still.bvh.order[still]), (k, moving, still))
                self._hints[k] = (moving, still)
                self._order.insert(0, self._order.pop(place))
            if best.at <= 0.0:
                break
        return best

    def _ready(self, k: int) -> tuple[Rings, Rings]:
        """Rings of a pair about the turn that is asked now, in the room of those of the last one."""
        if k in self._rings:
            a, b = self._rings[k]
            return forgotten(a, self._lines[0]), forgotten(b, self._lines[1])
        pair = self.pairs[k]
        return rings_of(pair.moved, self._lines[0]), rings_of(pair.still, self._lines[1])

    def once(self, path: Path, limit: float, like: Stopped) -> Stopped:
        """How far the turn goes at most without slack: as far as the two triangles let it that ended another one."""
        k, moving, still = like.found
        if like.pair is None or k < 0:
            return Stopped(limit)
        at, _, found, _ = first_within(
            like.pair.moved, like.pair.still, path, limit, clearance_mm=like.pair.keep_mm, smallest_step=STEP,
            rule=like.pair.rule, hint=(moving, still), alone=True,
        )  # fmt: skip
        return replace(like, at=at) if found >= 0 else Stopped(limit)

    def _near(self, path: Path, limit: float, fixed: float, rate: float) -> list[tuple[int, int]]:
        """Place in the order and number of the pairs whose rings about the axis come near each other."""
        if not len(self.pairs):
            return []
        start = path.start
        moved = self._middle[:, 0] @ start[:3, :3].T + start[:3, 3] - path.centre
        still = self._middle[:, 1] - path.centre
        heights = [at @ path.axis for at in (moved, still)]
        radii = [
            np.linalg.norm(at - np.outer(h, path.axis), axis=1) for at, h in zip((moved, still), heights, strict=True)
        ]
        slack = self._lever * (fixed + 4.0 * math.asin(min(1.0, rate * math.sin(0.5 * min(limit, math.pi)))))
        room = self._size.sum(axis=1) + self._keep + slack + _ROUNDING
        near = np.maximum(np.abs(radii[0] - radii[1]), np.abs(heights[0] - heights[1])) <= room
        return [(place, k) for place, k in enumerate(self._order) if near[k]]


def least(
    bundles: Sequence[B],
    halves: Callable[[B], Sequence[B]],
    bound: Callable[[B, float], Stopped],
    one: Callable[[B, float, Stopped], Stopped],
    limit: float,
    *,
    tight: float,
    most: int,
) -> Stopped:
    """How far all motions of some bundles go, to within ``tight`` radians of the least of them.

    bound, one  of a bundle and a limit: how far all of it goes; and, told what ends it, how far one motion of it goes at most
    halves      the pieces of a bundle; none where it is small enough: there the answer may be further off
    most        how often a piece is cut, at most; the same holds
    """
    pieces: list[tuple[Stopped, B]] = []
    upper = Stopped(limit)
    for whole in bundles:
        found = bound(whole, upper.at)
        pieces.append((found, whole))
        other = one(whole, upper.at, found)
        upper = other if other.pair is not None else upper
    for _ in range(most):
        k = min(range(len(pieces)), key=lambda n: pieces[n][0].at)
        lowest, piece = pieces[k]
        parts = halves(piece) if lowest.at < upper.at - tight else ()
        if not parts:
            break
        del pieces[k]
        for part in parts:
            found = bound(part, upper.at)
            pieces.append((found, part))
            if found.at < upper.at - tight:
                other = one(part, upper.at, found)
                upper = other if other.pair is not None else upper
    lowest = min((found for found, _ in pieces), key=lambda found: found.at)
    # A piece that goes as far as one motion of the bundle is ended by what ends that.
    return lowest if lowest.pair is not None else upper
