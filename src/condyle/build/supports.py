"""Columns of support: where each is needed, what it stands on, whether it stays up and comes off again.

Columns are upright, one under every island and no further apart than the process's spacing under overhangs. Each is
followed down the true surface from where it is needed to what it meets: the plate, the part, or no room for a column at
all. Volumes count the whole space below what is supported, as a block: what a printer really fills is a share of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from condyle.build.faces import BEARING, SHOW, PrintPart
from condyle.build.islands import Patch, PatchKind, patches
from condyle.build.layers import Layers, layers_of
from condyle.build.process import Rules
from condyle.build.reach import free_cone, leaning_to_plate
from condyle.finding import Point
from condyle.geometry.columns import Columns, columns
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region

Foot = Literal["plate", "part", "slope", "hair", "nothing"]

_PITCH_MM = 0.25


@dataclass(frozen=True)
class Column:
    """One column of support.

    top, place  where it is needed: build coordinates, and figure coordinates
    foot_mm     height of its foot; ``foot`` what that is: the plate, a sound face of the part, a face steeper than a
                column stays on, a detail thinner than a column needs, or nothing: no room for a column to come down
    slope_deg   of the face it stands on, 0 on the plate
    touches, stands_on  kinds of the faces above and below (HIDDEN, SHOW, BEARING), None for the plate
    reachable   whether a tool gets at it
    lean_deg    how far from upright a straight column to the plate would lean, None where there is none
    """

    why: PatchKind
    top: Point
    place: Point
    foot_mm: float
    foot: Foot
    slope_deg: float
    touches: int
    stands_on: int | None
    slenderness: float
    reachable: bool
    lean_deg: float | None = None

    @property
    def height_mm(self) -> float:
        return self.top[2] - self.foot_mm


@dataclass(frozen=True, eq=False)
class Supports:
    """What has to be supported in one build position, and by which columns. Areas are plan areas, mm²."""

    layers: Layers
    patches: tuple[Patch, ...]
    columns: tuple[Column, ...]
    volume_mm3: float
    footprint_mm2: float
    show_mm2: float
    bearing_mm2: float
    feet_show_mm2: float
    feet_bearing_mm2: float

    def of(self, kind: PatchKind) -> tuple[Patch, ...]:
        return tuple(p for p in self.patches if p.kind == kind)


@dataclass(frozen=True, eq=False)
class _Cells:
    """Grid cells below supported patches: where, from which height, and what lies over and under."""

    patch: NDArray[np.int64]
    xy: FloatArray
    start: FloatArray
    top: FloatArray
    foot: FloatArray
    top_kind: NDArray[np.uint8]
    foot_kind: NDArray[np.uint8]
    foot_normal: FloatArray


def supports(part: PrintPart, transform: FloatArray, rules: Rules, *, pitch_mm: float = _PITCH_MM) -> Supports:
    """Islands, overhangs, bridges and columns of a part in build position (``transform`` (4, 4) from the figure's)."""
    mesh = part.mesh.transformed(transform)
    layers = layers_of(mesh, rules.layer_mm)
    found = patches(layers, rules)
    wanted = [p for p in found if p.kind != "bridge"]
    grid = columns(mesh, pitch_mm)
    cells = _cells(part, wanted, grid, layers, np.asarray(np.linalg.inv(transform)))
    area = pitch_mm**2
    on_plate = ~np.isfinite(cells.foot)
    height = cells.top - np.where(on_plate, 0.0, cells.foot)
    posts = _posts(wanted, cells, layers, rules)
    return Supports(
        layers=layers,
        patches=tuple(found),
        columns=tuple(_columns(part, posts, wanted, cells, layers, rules, transform)),
        volume_mm3=float(height.sum() * area),
        footprint_mm2=float(on_plate.sum() * area),
        show_mm2=float((cells.top_kind == SHOW).sum() * area),
        bearing_mm2=float((cells.top_kind == BEARING).sum() * area),
        feet_show_mm2=float((~on_plate & (cells.foot_kind == SHOW)).sum() * area),
        feet_bearing_mm2=float((~on_plate & (cells.foot_kind == BEARING)).sum() * area),
    )


def _cells(part: PrintPart, wanted: Sequence[Patch], grid: Columns, layers: Layers, back: FloatArray) -> _Cells:
    """The cells of all patches, each patch with at least one. A patch narrower than a cell takes the one at its middle."""
    owner: list[NDArray[np.int64]] = []
    where: list[NDArray[np.int64]] = []
    for n, patch in enumerate(wanted):
        low, high = patch.region.bounds
        inside = grid.within(low, high)
        if len(inside):
            inside = inside[patch.region.holds(grid.middles(inside))]
        if not len(inside):
            if patch.kind != "island" and patch.area_mm2 < 0.25 * grid.pitch_mm**2:
                continue
            inside = grid.cell(patch.region.inscribed_circle()[0][None])
        owner.append(np.full(len(inside), n, dtype=np.int64))
        where.append(inside)
    patch_of = np.concatenate(owner) if owner else np.zeros(0, dtype=np.int64)
    cell = np.concatenate(where) if where else np.zeros(0, dtype=np.int64)
    level = np.array([p.layer for p in wanted], dtype=np.float64)
    # The middle of the layer below is outside the part there; the surface lies between it and the patch's own middle.
    start = (level[patch_of] - 0.5) * layers.layer_mm
    over, _, under, under_t = grid.between(cell, start)
    top = np.minimum(over, start + 1.5 * layers.layer_mm)
    xy = grid.middles(cell)
    normals = layers.mesh.normals

    def kind_at(height: FloatArray, sure: NDArray[np.bool_]) -> NDArray[np.uint8]:
        out = np.zeros(len(height), dtype=np.uint8)
        points = np.column_stack([xy[sure], height[sure]])
        out[sure] = part.kinds_at(points @ back[:3, :3].T + back[:3, 3])
        return out

    return _Cells(
        patch_of,
        xy,
        start,
        top,
        under,
        kind_at(np.where(np.isfinite(over), over, top), np.ones(len(cell), dtype=bool)),
        kind_at(under, under_t >= 0),
        np.where(under_t[:, None] >= 0, normals[under_t], [0.0, 0.0, 1.0]),
    )


def _posts(wanted: Sequence[Patch], cells: _Cells, layers: Layers, rules: Rules) -> list[tuple[int, bool]]:
    """Cells where columns stand, and whether there is room: each island's own first, then from the lowest upwards, those that
    touch a bearing last: within the spacing a neighbour beside the bearing holds them too.

    Cells with no room for a column rely on a neighbour; where none is within reach, one of them is told as it is.
    """
    bears = (cells.top_kind == BEARING) | (np.isfinite(cells.foot) & (cells.foot_kind == BEARING))
    order = np.lexsort((np.arange(len(cells.top)), cells.top, bears))
    chosen: list[tuple[int, bool]] = []
    points = np.column_stack([cells.xy, cells.top])
    held = np.zeros(len(points), dtype=bool)
    islands = {n for n, p in enumerate(wanted) if p.kind == "island"}
    waiting: list[int] = []

    def take(k: int, room: bool) -> None:
        """A column here holds all cells within the spacing."""
        chosen.append((k, room))
        held[((points - points[k]) ** 2).sum(axis=1) < rules.spacing_mm**2] = True

    for n in sorted(islands):
        mine = np.flatnonzero(cells.patch == n)
        middle = wanted[n].region.inscribed_circle()[0]
        mine = mine[~bears[mine]] if (~bears[mine]).any() else mine
        k = int(mine[np.argmin(((cells.xy[mine] - middle) ** 2).sum(axis=1))])
        take(k, _room(cells, k, layers, rules))
    for k in order.tolist():
        if held[k]:
            continue
        if _room(cells, k, layers, rules):
            take(k, True)
        else:
            waiting.append(k)
    for k in waiting:
        if not held[k]:
            beside = _beside(points, k, 0.5 * rules.spacing_mm)
            found = next((b for b in beside if _room(cells, b, layers, rules)), None)
            if found is None:
                take(k, False)
            else:
                take(found, True)
                held[((points - points[k]) ** 2).sum(axis=1) < rules.spacing_mm**2] = True
    return chosen


def _beside(points: FloatArray, k: int, within_mm: float, most: int = 10) -> list[int]:
    """Cells near one, nearest first: a few of them, spread over the distance."""
    apart = ((points - points[k]) ** 2).sum(axis=1)
    close = np.flatnonzero(apart <= within_mm**2)
    close = close[np.argsort(apart[close], kind="stable")]
    return [int(i) for i in close[:: max(1, len(close) // most)]]


def _room(cells: _Cells, k: int, layers: Layers, rules: Rules) -> bool:
    """Whether a column of full width comes down here without running into the part beside it.

    Looked at in three heights; near its ends, where it meets faces by design, it may taper to half of its width.
    """
    foot = cells.foot[k] if np.isfinite(cells.foot[k]) else 0.0
    height = cells.top[k] - foot
    if height < 2.0 * layers.layer_mm:
        return True
    point = cells.xy[k][None]
    for share in (0.25, 0.5, 0.75):
        z = foot + share * height
        # A sloping foot or roof comes near by itself: the column tapers there.
        slack = min(z - foot, cells.top[k] - z)
        region = layers.regions[layers.index(z)]
        need = min(0.5 * rules.column_mm, 0.25 * rules.column_mm + 0.5 * slack)
        if not region.empty and float(region.gaps(point)[0]) < need:
            return False
    return True


def _columns(
    part: PrintPart,
    posts: Sequence[tuple[int, bool]],
    wanted: Sequence[Patch],
    cells: _Cells,
    layers: Layers,
    rules: Rules,
    transform: FloatArray,
) -> list[Column]:
    if not posts:
        return []
    index = np.array([k for k, _ in posts])
    # Room for a tool is looked for on the plain copy, as the part lies in the figure.
    back = np.asarray(np.linalg.inv(transform), dtype=np.float64)
    foot = np.where(np.isfinite(cells.foot[index]), cells.foot[index], 0.0)
    top = cells.top[index]
    middles = np.column_stack([cells.xy[index], 0.5 * (top + foot)])
    reachable = free_cone(middles @ back[:3, :3].T + back[:3, 3], part.tree, rules.removal_deg, back[:3, :3])
    thin: dict[int, Region] = {}
    out = []
    for n, (k, room) in enumerate(posts):
        slope = float(np.degrees(np.arccos(np.clip(cells.foot_normal[k, 2], -1.0, 1.0))))
        on_plate = not np.isfinite(cells.foot[k])
        what: Foot = "plate" if on_plate else "part"
        if top[n] - foot[n] < rules.column_mm:
            pass  # no taller than wide: a block between two faces, or at worst a sag onto the one below
        elif not room:
            what = "nothing"
        elif not on_plate and _is_hair(cells, k, layers, rules, thin):
            what = "hair"
        elif not on_plate and slope > rules.foot_deg:
            what = "slope"
        x, y, z = float(cells.xy[k, 0]), float(cells.xy[k, 1]), float(top[n])
        place = np.array([x, y, z]) @ back[:3, :3].T + back[:3, 3]
        sound = what in ("plate", "part")
        start = np.array([x, y, float(cells.start[k])]) @ back[:3, :3].T + back[:3, 3]
        out.append(
            Column(
                why=wanted[int(cells.patch[k])].kind,
                top=(x, y, z),
                place=(float(place[0]), float(place[1]), float(place[2])),
                foot_mm=float(foot[n]),
                foot=what,
                slope_deg=0.0 if on_plate else slope,
                touches=int(cells.top_kind[k]),
                stands_on=None if on_plate else int(cells.foot_kind[k]),
                slenderness=float((z - foot[n]) / rules.column_mm),
                reachable=bool(reachable[n]),
                lean_deg=None if sound else leaning_to_plate(start, part.tree, back[:3, 2]),
            )
        )
    return out


def _is_hair(cells: _Cells, k: int, layers: Layers, rules: Rules, thin: dict[int, Region]) -> bool:
    """Whether the face below belongs to something narrower than a printable feature, or thinner than two layers."""
    at = layers.index(float(cells.foot[k]) - 0.5 * layers.layer_mm)
    half = 0.5 * rules.min_feature_mm
    if at not in thin:
        thin[at] = layers.regions[at].offset(-half + 1e-3)
    point = cells.xy[k][None]
    if float(thin[at].gaps(point)[0]) > half + 0.5 * rules.column_mm:
        return True
    deeper = layers.regions[max(at - 1, 0)]
    return at >= 2 and not bool(deeper.holds(point)[0])
