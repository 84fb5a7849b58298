"""The seat between a piece and its carrier: who gives way, and in which direction the piece comes off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.pieces.offset import grown, swept
from condyle.figure.pieces.piece import Piece, Yields
from condyle.finding import Point
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import unit
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box as cuboid
from condyle.geometry.solid import Solid, overlap, remainder

_MOST_LOST = 0.6
_LITTLE = 0.15
_AXES = ((0, 0, 1), (1, 0, 0), (0, 1, 0), (0, -1, 0), (-1, 0, 0), (0, 0, -1))


@dataclass(frozen=True, eq=False)
class SeatCut:
    """A seat: what is left of both, the way off (unit vector), and what it took from the side that gave way.

    opened_mm3  what had to go beside the seat itself so that the piece comes off straight
    free        whether the piece comes off along the way without contact
    """

    piece: Solid
    carrier: Solid
    way: Point
    yields: Yields
    taken_mm3: float
    opened_mm3: float
    free: bool


def cut_seat(piece: Piece, carrier: Solid, clearance_mm: float) -> SeatCut | None:
    """The seat that is missed least; None where the two come nowhere near.

    First choice is a seat from which the piece comes off as it is, the carrier giving way; then the same with the piece
    giving way; at last the inside of either is opened along a direction, by the other's form drawn out along it. Directions are the figure's axes, those first against which least of
    the seat stands, or the one that the maker gives.
    """
    box = np.stack([piece.solid.bounds[0] - 1.0, piece.solid.bounds[1] + 1.0])
    near = smallest_gap(Surface(Bvh(piece.solid.mesh)), Surface(Bvh(carrier.mesh)), limit_mm=2.0 + clearance_mm)
    if not np.isfinite(near.distance_mm):
        return None
    sides: Sequence[Yields] = (piece.yields,) if piece.yields else ("carrier", "piece")
    seats: list[_Seat] = []
    tries: list[SeatCut] = []
    for side in sides:
        seat = _Seat(piece, carrier, side, box, clearance_mm)
        seats.append(seat)
        tries += seat.as_it_is()
        if tries and tries[-1].free and tries[-1].taken_mm3 < _LITTLE * seat.body.volume_mm3:
            return tries[-1]
    if not any(t.free for t in tries):
        for seat in seats:
            tries += seat.opened()
            if tries and tries[-1].free and tries[-1].opened_mm3 < _LITTLE * seat.body.volume_mm3:
                break
    whole = {seat.side: seat.body.volume_mm3 for seat in seats}
    free = [t for t in tries if t.free]
    # The side that gives way is the one that misses it least.
    return min(free or tries, key=lambda t: (t.taken_mm3 + t.opened_mm3) / whole[t.yields], default=None)


class _Seat:
    """One side giving way to the other."""

    def __init__(self, piece: Piece, carrier: Solid, side: Yields, box: FloatArray, clearance: float) -> None:
        self.piece, self.carrier, self.side, self.clearance = piece.solid, carrier, side, clearance
        self.body, other = (carrier, piece.solid) if side == "carrier" else (piece.solid, carrier)
        self.box = box
        self.local = overlap(other, cuboid(tuple(box[0] - 1.0), tuple(box[1] + 1.0))) or other
        self.tool = grown(self.local, clearance, box)
        left = remainder(self.body, [self.tool])
        self.left = None if left is None else left.components()[0]
        self.taken = 0.0 if self.left is None else self.body.volume_mm3 - self.left.volume_mm3
        self.ways: list[FloatArray] = []
        if self.left is not None:
            mover, still = self._pair(self.left)
            asked = [unit(np.asarray(piece.way))] if piece.way else _ways(piece.solid, carrier)
            self.ways = _least_against(mover, still, asked, 2.0 * clearance + 0.1)

    def _pair(self, left: Solid) -> tuple[Solid, Solid]:
        """The piece and the carrier, with what is left of the side that gave way."""
        return (self.piece, left) if self.side == "carrier" else (left, self.carrier)

    def _sound(self, left: Solid | None) -> bool:
        return left is not None and left.volume_mm3 >= (1.0 - _MOST_LOST) * self.body.volume_mm3

    def as_it_is(self) -> list[SeatCut]:
        """The seat along the three ways against which least stands; the last one is free when any is."""
        out: list[SeatCut] = []
        if self.left is None or not self._sound(self.left):
            return out
        for way in self.ways[:3]:
            out.append(self._tried(self.left, way, 0.0))
            if out[-1].free:
                break
        return out

    def opened(self) -> list[SeatCut]:
        """The seat opened along the likeliest way: without the other's form all along its way out."""
        out = []
        sense = 1.0 if self.side == "carrier" else -1.0
        for way in self.ways[:1]:
            drawn = swept(self.local, self.clearance, self.box, way, sense)
            left = remainder(self.body, [self.tool, drawn])
            left = None if left is None else left.components()[0]
            if left is not None and self._sound(left):
                out.append(self._tried(left, way, self.body.volume_mm3 - left.volume_mm3 - self.taken))
        return out

    def _tried(self, left: Solid, way: FloatArray, opened: float) -> SeatCut:
        mover, still = self._pair(left)
        stop = adv.advance(
            Surface(Bvh(mover.mesh)),
            Surface(Bvh(still.mesh)),
            adv.Shift(way),
            _far(mover, still, way),
            clearance_mm=0.25 * self.clearance,
            smallest_step=0.01,
        )
        x, y, z = (float(v) for v in way)
        return SeatCut(mover, still, (x, y, z), self.side, self.taken, opened, not stop.blocked)


def _least_against(mover: Solid, still: Solid, ways: Sequence[FloatArray], within_mm: float) -> list[FloatArray]:
    """The ways in the order of the area of the mover's faces in the seat that would run into the other side."""
    mesh = mover.mesh
    facing = np.isfinite(Bvh(still.mesh).closest(mesh.corners.mean(axis=1), within_mm)[0])
    normals, areas = mesh.normals[facing], mesh.areas[facing]
    against = [float((areas * np.maximum(normals @ way - 0.05, 0.0)).sum()) for way in ways]
    total = max(float(areas.sum()), 1e-9)
    order = sorted(range(len(ways)), key=lambda k: (round(against[k] / total, 3), k))
    return [ways[k] for k in order]


def _far(mine: Solid, other: Solid, way: FloatArray) -> float:
    """How far until the two are past each other along the way."""
    a, b = mine.mesh.vertices @ way, other.mesh.vertices @ way
    return float(max(b.max() - a.min(), 0.0)) + 1.0


def _ways(piece: Solid, carrier: Solid) -> list[FloatArray]:
    """The figure's axes, those first that lead away from the carrier's middle: makers push straight."""
    away = piece.bounds.mean(axis=0) - carrier.bounds.mean(axis=0)
    ways = [unit(np.array(w, dtype=np.float64)) for w in _AXES]
    return sorted(ways, key=lambda w: -round(float(w @ away), 3))
