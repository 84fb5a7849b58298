"""One joint's relief: how far it can come within its budget, and the tools that take the way there.

Both sides are fields on a grid about the joint. For each point of the side that gives way, the first angle is sought at
which the other side, grown by the clearance, arrives there. Points that must not go (hardware, kept regions, deeper than
the budget) stop the course at their first angle; of the others those that are met before go. All placements of the
course count, and between two of them no point moves further than a ridge of 0.05 mm allows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from condyle.figure.parting.hardware import Hardware
from condyle.figure.parting.plan import Half
from condyle.figure.relief.keep import by_design, kept_distance
from condyle.figure.relief.motions import Course, inverse, ring
from condyle.figure.relief.wish import KeptBall, KeptBox
from condyle.figure.skeleton import Motion, SeatedJoint
from condyle.geometry.fields import surface_of_values
from condyle.geometry.gridfield import Grid, Values, far_filled, grid_around, rim_of, signed_field
from condyle.geometry.gridsweep import first_hit, swept_field
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.geometry.solid import Solid, solid_from_mesh
from condyle.joints.stock import Stock

Side = Literal["parent", "child"]
End = tuple[Motion, int]

STEP_MM = 0.25
_COARSEST_MM = 0.33
_BAND_MM = 0.8
_OUT_MM = 0.5
_LEAST_CELLS = 3
_STRIDE = 2  # what goes is told on every second point along each axis, and drawn on all


@dataclass(frozen=True)
class Budget:
    """What may be taken: depth and volume, and how near a wall must stay."""

    depth_mm: float
    volume_mm3: float
    grown_mm: float


@dataclass(eq=False)
class Room:
    """The grid about a joint with both sides as fields; cutting changes the fields."""

    joint: SeatedJoint
    centres: Sequence[FloatArray]
    grid: Grid
    radius_mm: float
    fields: dict[Side, Values]
    inside_ball: BoolArray
    keeping: Callable[[FloatArray], FloatArray]
    bearing: Callable[[FloatArray], BoolArray]
    first: dict[Side, Values] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.first = dict(self.fields)

    @cached_property
    def _near(self) -> NDArray[np.intp]:
        return np.argwhere((np.minimum(self.first["parent"], self.first["child"]) < _OUT_MM) & self.inside_ball)

    @cached_property
    def quiet(self) -> BoolArray:
        """Flesh so near the bearing that contact there is by design."""
        out = np.zeros(self.grid.shape, dtype=bool)
        out[tuple(self._near.T)] = self.bearing(self.grid.points(self._near))
        return out

    @cached_property
    def kept(self) -> Values:
        """Signed distance to all that stays, worked out where either side has flesh; far elsewhere."""
        out = np.full(self.grid.shape, _BAND_MM, dtype=np.float32)
        out[tuple(self._near.T)] = np.clip(self.keeping(self.grid.points(self._near)), -_BAND_MM, _BAND_MM)
        return out

    def depth(self, side: Side) -> Values:
        """How deep below its own surface, as it was at first, each point of a side lies, mm; 0 outside."""
        # On every second point: a budget of depth is no finer than that.
        cells = ndimage.distance_transform_edt(self.first[side][::_STRIDE, ::_STRIDE, ::_STRIDE] < 0.0)
        rough = np.asarray(cells * (_STRIDE * self.grid.step_mm), dtype=np.float32)
        for axis, n in enumerate(self.grid.shape):
            rough = np.take(rough, np.arange(n) // _STRIDE, axis=axis)
        return rough

    @property
    def cell_mm3(self) -> float:
        """What one of the points that are looked at for the budget stands for."""
        return float((_STRIDE * self.grid.step_mm) ** 3)


def room_about(
    joint: SeatedJoint,
    halves: Sequence[Half],
    centres: Sequence[FloatArray],
    sides: Mapping[Side, Sequence[Solid]],
    everything: Sequence[Hardware],
    kept: Sequence[KeptBall | KeptBox],
    stock: Stock,
    radius_mm: float,
) -> Room:
    """Both sides of a joint as fields on a grid of about STEP_MM."""
    middle = np.mean(centres, axis=0)
    step = min(_COARSEST_MM, max(STEP_MM, radius_mm / 60.0))
    grid = grid_around(middle, radius_mm + 4 * step, step)
    apart = float(np.linalg.norm(np.asarray(centres[0]) - np.asarray(centres[-1])))
    # Meshes are asked for here: the library is not to be asked from two threads.
    meshes = {side: _meeting(solids, grid) for side, solids in sides.items()}
    with ThreadPoolExecutor(len(meshes)) as pool:
        found = pool.map(lambda some: _field_of(some, grid, radius_mm + apart), meshes.values())
        fields: dict[Side, Values] = dict(zip(meshes, found, strict=True))
    axes = np.ogrid[tuple(slice(0, n) for n in grid.shape)]
    away2 = sum((grid.low[k] + grid.step_mm * axes[k] - middle[k]) ** 2 for k in range(3))
    return Room(
        joint,
        centres,
        grid,
        radius_mm,
        fields,
        np.asarray(away2 <= radius_mm**2),
        lambda at: kept_distance(at, everything, kept, stock),
        lambda at: by_design(at, halves),
    )


def field_of(solids: Sequence[Solid], grid: Grid, radius_mm: float) -> Values:
    """The field of several solids together, true as far as the radius."""
    return _field_of(_meeting(solids, grid), grid, radius_mm)


def _meeting(solids: Sequence[Solid], grid: Grid) -> list[Mesh]:
    """Meshes of the solids that the grid's box meets."""
    low, high = grid.bounds
    return [s.mesh for s in solids if (s.bounds[0] <= high).all() and (s.bounds[1] >= low).all()]


def _field_of(meshes: Sequence[Mesh], grid: Grid, radius_mm: float) -> Values:
    values = np.full(grid.shape, _BAND_MM, dtype=np.float32)
    for mesh in meshes:
        values = np.minimum(values, signed_field(mesh, grid, _BAND_MM, radius_mm))
    return far_filled(values, grid, _BAND_MM)


@dataclass(frozen=True, eq=False)
class Carved:
    """What one side gives up: the tool's field on the grid (negative inside), and how far each course then comes.

    ``flesh`` is the side as it was before.
    """

    side: Side
    tool: Values
    flesh: Values
    ends: dict[End, float]
    free: dict[End, float]
    volume_mm3: float
    curve: dict[End, tuple[tuple[float, float], ...]]


def free_ends(room: Room, ways: Sequence[Course], grown_mm: float) -> dict[End, float]:
    """How far each course comes as things stand."""
    out = {}
    # What moves in from outside meets the outside first.
    flesh = np.argwhere(rim_of((room.fields["parent"] < 0.0) & room.inside_ball & ~room.quiet))
    for way in ways:
        met = first_hit(flesh, room.grid, room.fields["child"], _back(way, "parent"), grown_mm)
        out[way.motion, way.sense] = _before(way, met)
    return out


def carve(room: Room, ways: Sequence[Course], side: Side, budget: Budget) -> Carved | None:
    """Let one side give way to the other along all courses, as far as the budget goes; None where nothing has to go."""
    other: Side = "child" if side == "parent" else "parent"
    mover, own = room.fields[other], room.fields[side]
    flesh = (own < 0.0) & room.inside_ball & ~room.quiet
    may_go = flesh & (room.kept > 0.0) & (room.depth(side) <= budget.depth_mm)
    stays = np.argwhere(rim_of(flesh & ~may_go) & flesh)
    goes = _STRIDE * np.argwhere(may_go[::_STRIDE, ::_STRIDE, ::_STRIDE])
    ends: dict[End, float] = {}
    met_at: dict[End, NDArray[np.int32]] = {}
    for way in ways:
        key = (way.motion, way.sense)
        back = _back(way, side)
        ends[key] = _before(way, first_hit(stays, room.grid, mover, back, budget.grown_mm))
        met_at[key] = first_hit(goes, room.grid, mover, back, budget.grown_mm)
    ends = _within_volume(room, ways, ends, met_at, budget.volume_mm3)
    for _ in range(6):
        gone = np.zeros(len(goes), dtype=bool)
        for way in ways:
            gone |= _met_by(way, met_at[way.motion, way.sense], ends[way.motion, way.sense])
        if gone.sum() < _LEAST_CELLS:
            return None
        placed = [w.placements[w.angles <= ends[w.motion, w.sense] + 1e-9] for w in ways]
        if len(room.centres) == 1 and "flex" in room.joint.axes and "abduct" in room.joint.axes:
            placed += _rings(room, side, stays, goes, gone, ends, budget)
        back = _towards(np.concatenate([p for p in placed if len(p)] or [np.eye(4)[None]]), side)
        tool = _tool(room, side, goes[gone], back, budget.grown_mm)
        volume = float(((own < 0.0) & (tool < 0.0)).sum()) * room.grid.step_mm**3
        if volume <= budget.volume_mm3:
            break
        # What lies between the courses is known only now; draw in until all of it is within the budget.
        share = max(0.3, 0.9 * budget.volume_mm3 / volume)
        ends = {k: share * v for k, v in ends.items()}
    else:
        return None
    free = {(w.motion, w.sense): min(_before(w, met_at[w.motion, w.sense]), ends[w.motion, w.sense]) for w in ways}
    room.fields[side] = np.maximum(own, -tool)
    curve = {(w.motion, w.sense): _curve(room, w, met_at[w.motion, w.sense], ends[w.motion, w.sense]) for w in ways}
    return Carved(side, tool, own, ends, free, volume, curve)


def surface_of(room: Room, values: Values) -> Solid | None:
    """The solid where a field of the room is negative; None where it is nowhere."""
    if not (values < 0.0).any():
        return None
    return solid_from_mesh(surface_of_values(values, room.grid.low, room.grid.step_mm), "relief")


def _rings(
    room: Room,
    side: Side,
    stays: NDArray[np.intp],
    goes: NDArray[np.intp],
    gone: BoolArray,
    ends: Mapping[End, float],
    budget: Budget,
) -> list[FloatArray]:
    """Placements between flexion and abduction, as wide as nothing that stays is met."""
    other: Side = "child" if side == "parent" else "parent"
    swings = {k: v for k, v in ends.items() if k[0] in ("flex", "abduct")}
    out: list[FloatArray] = []
    for share in (1.0, 0.85, 0.7, 0.5, 0.3):
        placed = ring(room.joint, room.centres[0], swings, room.radius_mm, share)
        if not len(placed):
            break
        back = _towards(placed, side)
        if (first_hit(stays, room.grid, room.fields[other], back, budget.grown_mm) >= 0).any():
            continue
        out.append(placed)
        gone |= first_hit(goes, room.grid, room.fields[other], back, budget.grown_mm) >= 0
        for inner in (0.66, 0.33):
            out.append(ring(room.joint, room.centres[0], swings, room.radius_mm, share * inner)[::2])
        break
    return out


def _tool(room: Room, side: Side, gone: NDArray[np.intp], back: FloatArray, grown_mm: float) -> Values:
    """The swept field less the clearance, near what goes; positive everywhere else."""
    other: Side = "child" if side == "parent" else "parent"
    marked = np.zeros(room.grid.shape, dtype=bool)
    marked[tuple(gone.T)] = True
    flesh = (room.fields[side] < _OUT_MM + room.grid.step_mm) & room.inside_ball
    # Around the mouth of a socket flesh goes wherever the neck comes, though contact there stops nothing.
    near = (_grown(marked, 4) | _grown(room.quiet & (room.kept > 0.0), 2)) & flesh
    values = swept_field(near, room.grid, room.fields[other], back, grown_mm, _OUT_MM)
    return np.maximum(values, np.clip(-room.kept, -_OUT_MM, _OUT_MM).astype(np.float32))


def _grown(marked: BoolArray, cells: int) -> BoolArray:
    """Everything within a number of cells along the axes of what is marked."""
    return np.asarray(ndimage.maximum_filter(marked.astype(np.uint8), size=2 * cells + 1) > 0)


def _within_volume(
    room: Room,
    ways: Sequence[Course],
    ends: Mapping[End, float],
    met_at: Mapping[End, NDArray[np.int32]],
    volume_mm3: float,
) -> dict[End, float]:
    """Ends drawn in by one share until what goes is no more than the budget."""

    def taken(share: float) -> float:
        gone: BoolArray | None = None
        for way in ways:
            key = (way.motion, way.sense)
            met = _met_by(way, met_at[key], share * ends[key])
            gone = met if gone is None else gone | met
        return 0.0 if gone is None else float(gone.sum()) * room.cell_mm3

    if taken(1.0) <= volume_mm3:
        return dict(ends)
    low, high = 0.0, 1.0
    for _ in range(10):
        middle = (low + high) / 2.0
        low, high = (middle, high) if taken(middle) <= volume_mm3 else (low, middle)
    return {k: low * v for k, v in ends.items()}


def _curve(room: Room, way: Course, met: NDArray[np.int32], end: float) -> tuple[tuple[float, float], ...]:
    """Degrees against mm³ that this course alone takes to come there, in ten steps."""
    out = []
    for deg in np.linspace(end / 10.0, end, 10) if end > 0.0 else []:
        out.append((float(way.sense * deg), float(_met_by(way, met, float(deg)).sum()) * room.cell_mm3))
    return tuple(out)


def _met_by(way: Course, met: NDArray[np.int32], end: float) -> BoolArray:
    """Which points are met before the end."""
    return np.asarray((met >= 0) & (way.angles[np.maximum(met, 0)] <= end + 1e-9))


def _before(way: Course, met: NDArray[np.int32]) -> float:
    """The last angle before any of the points is met."""
    hit = met[met >= 0]
    if not len(hit):
        return float(way.angles[-1])
    k = int(hit.min())
    return float(way.angles[k - 1]) if k > 0 else 0.0


def _back(way: Course, side: Side) -> FloatArray:
    return _towards(way.placements, side)


def _towards(placements: FloatArray, side: Side) -> FloatArray:
    """(k, 3, 4): a point of the side that gives way, as the other side sees it at each placement."""
    return np.ascontiguousarray((inverse(placements) if side == "parent" else placements)[:, :3])
