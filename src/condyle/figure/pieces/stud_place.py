"""Where a peg, a swivel, a small ball or a strap finds flesh on both sides of a seat, and what it is then."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import Frame, frame_from_zx, unit
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.solid import Solid
from condyle.joints import peg, strap, sunk_ball, swivel
from condyle.joints.design import Cut, JointDesign, Need
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_SQUARE = 0.8  # cosine between the seat's face and the stud
_GRID = 16
_RIM = np.array([[0.0, 0.0], *((np.cos(a), np.sin(a)) for a in np.arange(8) * np.pi / 4.0)])
_LEVELS = 4
_UNEVEN_MM = 0.5

Choice = tuple[tuple[Need, ...], JointDesign]


def stud_place(
    piece: Solid, carrier: Solid, way: FloatArray, gap_mm: float, choices: Iterator[Choice]
) -> tuple[JointDesign, Frame] | None:
    """The first choice with room, and its frame: origin on the carrier's seat, z into the carrier, along the way in.

    The flesh that the hole and the root need, walls included, must be there: asked at rims of circles in both solids.
    """
    inner, outer = Bvh(carrier.mesh), Bvh(piece.mesh)
    spots = _spots(inner, outer, way, gap_mm)
    if not len(spots):
        return None
    frames = frame_from_zx(spots[0], -way, _across(way))
    for needs, design in choices:
        left = spots
        for need in needs:
            left = left[_filled(inner if need.z1 > 0.0 else outer, left, frames.rotation, need)]
            if not len(left):
                break
        else:
            return design, Frame(left[0], frames.rotation)
    return None


def pegs(
    gap_mm: float, size_mm: float | None, clearance_mm: float | None, fits: Fits, stock: Stock
) -> Iterator[Choice]:
    """Keyed pegs, largest first."""
    cut = Cut("plane", 0.0, gap_mm)
    for size in sorted((s for s in peg.SIZES_MM if size_mm in (None, s)), reverse=True):
        shape = peg.shape(size)
        clearance = fits.get("peg", size).clearance_mm if clearance_mm is None else clearance_mm
        yield peg.needs(shape, cut, stock), peg.design(shape, cut, clearance)


def swivels(
    gap_mm: float, size_mm: float | None, clearance_mm: float | None, fits: Fits, stock: Stock
) -> Iterator[Choice]:
    """Snap-in swivels, largest first and of each the longest."""
    cut = Cut("plane", 0.0, gap_mm)
    for size in sorted((s for s in swivel.SIZES_MM if size_mm in (None, s)), reverse=True):
        clearance = fits.get("swivel", size).clearance_mm if clearance_mm is None else clearance_mm
        for reach in swivel.REACHES:
            shape = swivel.shape(size, clearance, stock, reach)
            if shape is not None:
                yield swivel.needs(shape, cut, stock), swivel.design(shape, cut, clearance, stock)


def balls(
    gap_mm: float, size_mm: float | None, clearance_mm: float | None, tilt_deg: float, fits: Fits, stock: Stock
) -> Iterator[Choice]:
    """Small balls, largest first and of each the deepest."""
    cut = Cut("plane", 0.0, gap_mm)
    for size in sorted((s for s in sunk_ball.SIZES_MM if size_mm in (None, s)), reverse=True):
        clearance = fits.get("ball", size).clearance_mm if clearance_mm is None else clearance_mm
        for depth in sunk_ball.DEPTHS:
            shape = sunk_ball.shape(size, clearance, tilt_deg, depth, stock)
            if shape is not None:
                design = sunk_ball.design(shape, cut, clearance, tilt_deg, stock)
                yield sunk_ball.needs(shape, cut, tilt_deg, stock), design


def straps(gap_mm: float, size_mm: float | None, stock: Stock) -> Iterator[Choice]:
    """Straps, widest first."""
    cut = Cut("plane", 0.0, gap_mm)
    for size in sorted((s for s in strap.SIZES_MM if size_mm in (None, s)), reverse=True):
        shape = strap.shape(size, stock)
        if shape is not None:
            yield strap.needs(shape, cut, stock), strap.design(shape, cut, stock)


def _spots(carrier: Bvh, piece: Bvh, way: FloatArray, gap_mm: float) -> FloatArray:
    """Points of the carrier's skin under the piece, seen along the way on a grid, where it looks along the way and the piece
    lies on it; nearest to their middle first."""
    u = unit(np.cross(way, _across(way)))
    v = np.cross(way, u)
    corners = piece.mesh.vertices
    spans = [np.linspace(float((corners @ w).min()), float((corners @ w).max()), _GRID + 2)[1:-1] for w in (u, v)]
    above = max(float((corners @ way).max()), float((carrier.mesh.vertices @ way).max())) + 1.0
    a, b = np.meshgrid(*spans, indexing="ij")
    start = a.ravel()[:, None] * u + b.ravel()[:, None] * v + above * way
    ray, far, face = carrier.all_hits(start, np.broadcast_to(-way, start.shape))
    spots = start[ray] - far[:, None] * way
    seat = carrier.mesh.normals[face] @ way > _SQUARE
    seat[seat] = np.isfinite(piece.closest(spots[seat], gap_mm + 0.3)[0]) if seat.any() else False
    spots = spots[seat]
    if not len(spots):
        return spots
    return np.asarray(spots[np.argsort(np.linalg.norm(spots - spots.mean(axis=0), axis=1), kind="stable")])


def _filled(bvh: Bvh, spots: FloatArray, rotation: FloatArray, need: Need) -> BoolArray:
    """At which spots (n, 3) the flesh of a need is there."""
    radius = max(need.half_x, need.half_y)
    # A seat is seldom flat: half a millimetre next to it may be uneven.
    low, high = (max(need.z0, _UNEVEN_MM), need.z1) if need.z1 > 0.0 else (need.z0, min(need.z1, -_UNEVEN_MM))
    heights = np.linspace(min(low, high), high, _LEVELS)
    rim = np.concatenate([np.column_stack([radius * _RIM, np.full(len(_RIM), z)]) for z in heights])
    points = spots[:, None, :] + rim @ rotation.T
    return np.asarray(bvh.inside(points.reshape(-1, 3)).reshape(len(spots), -1).all(axis=1))


def _across(way: FloatArray) -> FloatArray:
    return np.array([1.0, 0.0, 0.0]) if abs(float(way[0])) < 0.8 else np.array([0.0, 1.0, 0.0])
