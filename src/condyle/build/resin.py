"""What resin asks besides: suction, trapped liquid, peel, hollowing with drain holes, cure shrink.

The part hangs from the plate and each layer is peeled off a film. A hollow that is closed towards the plate and open towards
the film is a cup: while it has no vent it sucks with its whole area. Hollows are followed from layer to layer: a hole in a
section is vented when it is joined, through layers already printed, to the outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.build.faces import HIDDEN, PrintPart
from condyle.build.layers import Layers
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region
from condyle.geometry.voxels import voxelise

SHRINK = 0.004
"""Linear shrinkage in the final cure: prior, 0.2 to 0.8 % from memory, no source; the coupons measure it with the fit."""

HOLLOW_FROM_MM3 = 4000.0
WALL_MM = 2.0
DRAIN_MM = 2.5
"""When a part is worth hollowing, the wall it keeps, and a drain that lets resin out: common practice, no source."""

_HOLE_MM2 = 0.05


@dataclass(frozen=True)
class Cup:
    """A hollow that sucks: the largest area at once without a vent (mm²), and where (build coordinates).

    ``closed`` tells that liquid stays in it for good: nothing ever opens it.
    """

    area_mm2: float
    place: Point
    closed: bool


@dataclass(frozen=True)
class Hollowing:
    """A hollow that could be made: volume saved, and places for drains on hidden faces (figure coordinates)."""

    saved_mm3: float
    wall_mm: float
    drain_mm: float
    drains: tuple[Point, ...]


@dataclass(frozen=True)
class Peel:
    """The largest layer (mm²) and its height (mm)."""

    area_mm2: float
    at_mm: float


class _Hollows:
    """Hollows joined as layers are added: which are vented so far, and the most that each has sucked."""

    def __init__(self) -> None:
        self.parent: list[int] = []
        self.vented: list[bool] = []
        self.opened: list[bool] = []
        self.peak: list[float] = []
        self.place: list[Point] = []

    def add(self) -> int:
        self.parent.append(len(self.parent))
        self.vented.append(False)
        self.opened.append(False)
        self.peak.append(0.0)
        self.place.append((0.0, 0.0, 0.0))
        return len(self.parent) - 1

    def root(self, n: int) -> int:
        while self.parent[n] != n:
            n = self.parent[n]
        return n

    def join(self, a: int, b: int) -> None:
        a, b = sorted((self.root(a), self.root(b)))
        if a == b:
            return
        self.parent[b] = a
        self.vented[a] |= self.vented[b]
        self.opened[a] |= self.opened[b]
        if self.peak[b] > self.peak[a]:
            self.peak[a], self.place[a] = self.peak[b], self.place[b]


def cups(layers: Layers, least_mm2: float = 3.0) -> list[Cup]:
    """Hollows that suck with at least this area, or that stay closed, largest first."""
    hollows = _Hollows()
    before: list[tuple[Region, int]] = []
    below: Region | None = None
    for k, region in enumerate(layers.regions):
        whole = region.filled() if not region.empty else region
        holes = [] if region.empty else (whole - region).without_specks(_HOLE_MM2).components()
        here: list[tuple[Region, int]] = []
        for hole in holes:
            n = hollows.add()
            here.append((hole, n))
            for other, m in before:
                if (hole & other).area_mm2 > _HOLE_MM2 / 5:
                    hollows.join(n, m)
            if below is not None and (hole - below).area_mm2 > _HOLE_MM2:
                r = hollows.root(n)
                hollows.vented[r] = hollows.opened[r] = True
            if below is None:
                hollows.opened[hollows.root(n)] = True  # open again once it has left the plate
        for hole, m in before:
            if region.empty or (hole - whole).area_mm2 > _HOLE_MM2:
                hollows.vented[hollows.root(m)] = hollows.opened[hollows.root(m)] = True
        sucking: dict[int, float] = {}
        for hole, n in here:
            r = hollows.root(n)
            if not hollows.vented[r]:
                sucking[r] = sucking.get(r, 0.0) + hole.area_mm2
                if sucking[r] > 1.001 * hollows.peak[r]:
                    x, y = hole.inscribed_circle()[0]
                    hollows.peak[r], hollows.place[r] = sucking[r], (float(x), float(y), k * layers.layer_mm)
        before, below = here, whole
    for _, m in before:
        hollows.opened[hollows.root(m)] = True
    found = [
        Cup(hollows.peak[n], hollows.place[n], not hollows.opened[n])
        for n in range(len(hollows.parent))
        if hollows.root(n) == n and (hollows.peak[n] >= least_mm2 or not hollows.opened[n])
    ]
    return sorted(found, key=lambda c: (-c.area_mm2, c.place))


def peel(layers: Layers) -> Peel:
    """The layer that pulls hardest on the film."""
    areas = [r.area_mm2 for r in layers.regions]
    k = int(np.argmax(areas))
    return Peel(areas[k], k * layers.layer_mm)


def hollowing(part: PrintPart, up: FloatArray, pitch_mm: float = 0.5) -> Hollowing | None:
    """What hollowing would save, and two places for drains: hidden faces near the lowest and the highest of the hollow.

    The hollow is everything deeper than the wall, on a grid of ``pitch_mm``: good to a pitch. None for small parts and
    where no hidden face lies over the hollow.
    """
    if part.solid.volume_mm3 < HOLLOW_FROM_MM3:
        return None
    voxels = voxelise(part.mesh, pitch_mm)
    deep = voxels.depth_mm > WALL_MM
    saved = float(deep.sum()) * pitch_mm**3
    if saved < 0.1 * part.solid.volume_mm3:
        return None
    mesh = part.light
    hidden = np.flatnonzero((part.light_kinds == HIDDEN) & (mesh.areas > 0.2))
    middles = mesh.corners.mean(axis=1)[hidden]
    inward = -mesh.normals[hidden]
    # The drain opens into the hollow with its whole width.
    into = WALL_MM + 0.5 * DRAIN_MM
    probe = voxels.to_grid(middles + inward * (into + pitch_mm))
    cell = np.clip(np.rint(probe).astype(int), 0, np.array(deep.shape) - 1)
    over = voxels.depth_mm[cell[:, 0], cell[:, 1], cell[:, 2]] > into
    # A drain wants a face that a bit can stand square to, with a way out.
    clear = ~np.isfinite(Bvh(part.mesh).rays(middles - inward * 0.05, -inward))
    places = middles[over & clear]
    if len(places) < 2:
        return None
    height = places @ up
    ends = (places[int(np.argmin(height))], places[int(np.argmax(height))])
    drains = tuple((float(p[0]), float(p[1]), float(p[2])) for p in ends)
    return Hollowing(saved, WALL_MM, DRAIN_MM, drains)
