"""The seat between a piece and its carrier: who gives way, and in which direction the piece comes off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.pieces.offset import grown
from condyle.figure.pieces.piece import Piece, Yields
from condyle.finding import Point
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import unit
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, overlap, remainder, union

_STEP_MM = 0.4
_MOST_LOST = 0.6
_LATTICE = tuple((x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0))


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
    """The seat that takes least, tried both ways round and along 26 directions; None where they come nowhere near.

    First choice is a seat from which the piece comes off as it is; then the inside of the side that gives way is opened
    along a direction, by the piece's (or the carrier's) own form moved along it in steps of 0.4 mm.
    """
    box = np.stack([piece.solid.bounds[0] - 1.0, piece.solid.bounds[1] + 1.0])
    near = smallest_gap(Surface(Bvh(piece.solid.mesh)), Surface(Bvh(carrier.mesh)), limit_mm=2.0 + clearance_mm)
    if not np.isfinite(near.distance_mm):
        return None
    sides: Sequence[Yields] = (piece.yields,) if piece.yields else ("carrier", "piece")
    ways = [unit(np.asarray(piece.way))] if piece.way else _ways(piece.solid, carrier)
    tools = {side: grown(piece.solid if side == "carrier" else carrier, clearance_mm, box) for side in sides}
    tries: list[SeatCut] = []
    for side in sides:
        body = carrier if side == "carrier" else piece.solid
        left = _whole(remainder(body, [tools[side]]))
        if left is None or left.volume_mm3 < (1.0 - _MOST_LOST) * body.volume_mm3:
            continue
        taken = body.volume_mm3 - left.volume_mm3
        for way in ways:
            tries.append(_tried(piece, carrier, left, side, way, taken, 0.0, clearance_mm))
            if tries[-1].free:
                break
    if not any(t.free for t in tries):
        opened = (_opened(piece, carrier, tools[side], side, way, clearance_mm) for side in sides for way in ways[:4])
        tries += [t for t in opened if t is not None]
    whole = {"carrier": carrier.volume_mm3, "piece": piece.solid.volume_mm3}
    free = [t for t in tries if t.free]
    # The side that gives way is the one that misses it least.
    return min(free or tries, key=lambda t: (t.taken_mm3 + t.opened_mm3) / whole[t.yields], default=None)


def _tried(
    piece: Piece,
    carrier: Solid,
    left: Solid,
    side: Yields,
    way: FloatArray,
    taken: float,
    opened: float,
    clearance: float,
) -> SeatCut:
    mine, other = (piece.solid, left) if side == "carrier" else (left, carrier)
    stop = adv.advance(
        Surface(Bvh(mine.mesh)),
        Surface(Bvh(other.mesh)),
        adv.Shift(way),
        _far(mine, other, way),
        clearance_mm=0.5 * clearance,
        smallest_step=0.01,
    )
    x, y, z = (float(v) for v in way)
    return SeatCut(mine, other, (x, y, z), side, taken, opened, not stop.blocked)


def _opened(
    piece: Piece, carrier: Solid, tool: Solid, side: Yields, way: FloatArray, clearance: float
) -> SeatCut | None:
    """The seat opened along a way: the yielding side without the other's form all along its way out."""
    body = carrier if side == "carrier" else piece.solid
    sense = 1.0 if side == "carrier" else -1.0
    span = float(np.ptp(piece.solid.mesh.vertices @ way)) + 2.0
    steps = np.arange(0.0, span, _STEP_MM)
    swept = union([tool.translated([float(v) for v in sense * s * way]) for s in steps], "way in")
    left = _whole(remainder(body, [swept]))
    if left is None or left.volume_mm3 < (1.0 - _MOST_LOST) * body.volume_mm3:
        return None
    first = overlap(body, tool)
    taken = first.volume_mm3 if first else 0.0
    return _tried(piece, carrier, left, side, way, taken, body.volume_mm3 - left.volume_mm3 - taken, clearance)


def _far(mine: Solid, other: Solid, way: FloatArray) -> float:
    """How far until the two are past each other along the way."""
    a, b = mine.mesh.vertices @ way, other.mesh.vertices @ way
    return float(max(b.max() - a.min(), 0.0)) + 1.0


def _ways(piece: Solid, carrier: Solid) -> list[FloatArray]:
    """The axes and diagonals, those first that lead away from the carrier's middle."""
    away = piece.bounds.mean(axis=0) - carrier.bounds.mean(axis=0)
    away = away / max(float(np.linalg.norm(away)), 1e-9)
    ways = [unit(np.array(w, dtype=np.float64)) for w in _LATTICE]
    # An axis before a diagonal that leads away as much: makers push straight.
    return sorted(ways, key=lambda w: (-round(float(w @ away) - 0.2 * np.count_nonzero(np.abs(w) > 0.1), 6), tuple(w)))


def _whole(solid: Solid | None) -> Solid | None:
    """The largest body of what is left: crumbs of a seat are no part of the piece."""
    return None if solid is None else solid.components()[0]
