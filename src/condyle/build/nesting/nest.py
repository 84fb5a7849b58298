"""Place parts on build plates: the largest first, each turned about the vertical and set where it leaves most room.

A greedy method on a grid that covers the true outlines. It is not proved to be the best there is: the number of plates
is given together with a bound that no nesting can beat (area, and parts that must not share), and where the two are
equal the number is proved minimal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import fft

from condyle.errors import UsageError
from condyle.finding import Finding
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.geometry.shadow import grown, shadow

TURNS = 24

SLENDER = 8.0
"""Height over the side of a square as large as the footing from which a part counts as tall and thin.

Common practice, no source.
"""


@dataclass(frozen=True)
class Item:
    """A part as it lies: its mesh (mm) with the build direction along z.

    group     parts of different groups never share a plate (colour or material, where the plan asks)
    brim_mm   how wide a brim it gets
    footing_mm2  what touches the plate, for judging tall thin parts; None when not known
    under     more points (n, 2) that its supports cover on the plate
    """

    name: str
    mesh: Mesh
    group: str = ""
    brim_mm: float = 0.0
    footing_mm2: float | None = None
    under: FloatArray | None = None

    @property
    def height_mm(self) -> float:
        return float(np.ptp(self.mesh.vertices[:, 2]))


@dataclass(frozen=True)
class Rules:
    """plate_mm width, depth and height; spacing between parts; room left free at the plate's edge; the grid's cell."""

    plate_mm: tuple[float, float, float]
    spacing_mm: float = 3.0
    edge_mm: float = 4.0
    cell_mm: float = 0.8


@dataclass(frozen=True)
class Placed:
    """A part on a plate: ``transform`` (4, 4) carries the item's mesh to plate coordinates (corner at 0, z up)."""

    name: str
    transform: FloatArray


@dataclass(frozen=True)
class Plate:
    """One plate of one group."""

    group: str
    parts: tuple[Placed, ...]


@dataclass(frozen=True)
class Nesting:
    """Plates, the number that no nesting can beat, the names that fit on no plate, and findings."""

    plates: tuple[Plate, ...]
    bound: int
    left_out: tuple[str, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class _Turned:
    """An item turned about the vertical: the cells it takes with half the spacing and its brim, and their corner (mm)."""

    rotation: FloatArray
    wide: BoolArray
    corner: FloatArray


@dataclass(frozen=True, eq=False)
class _Set:
    """An item set on a sheet: how it is turned, and at which cell the corner of its grid lies."""

    item: Item
    way: _Turned
    at: tuple[int, int]

    @property
    def window(self) -> tuple[slice, slice]:
        (i, j), (w, d) = self.at, self.way.wide.shape
        return slice(i, i + w), slice(j, j + d)


@dataclass(eq=False)
class _Sheet:
    """A plate in the making."""

    group: str
    taken: BoolArray
    placed: list[_Set]

    def add(self, found: _Set) -> None:
        self.taken[found.window] |= found.way.wide
        self.placed.append(found)

    def take_back(self) -> None:
        found = self.placed.pop()
        self.taken[found.window] &= ~found.way.wide


def nest(items: Sequence[Item], rules: Rules) -> Nesting:
    """Nest ``items``. UsageError for repeated names. What is too large for the plate is left out, with a fail finding."""
    if len({i.name for i in items}) != len(items):
        raise UsageError("nest.names", "every item to nest needs a name of its own")
    room = np.array(rules.plate_mm[:2]) - 2 * rules.edge_mm
    grid = tuple(np.floor(room / rules.cell_mm).astype(int))
    sheets: list[_Sheet] = []
    left_out: list[str] = []
    areas: dict[str, float] = {}
    turned = {item.name: _turned(item, rules) for item in items}
    order = sorted(items, key=lambda i: (-int(turned[i.name][0].wide.sum()), i.name))
    for item in order:
        ways = [t for t in turned[item.name] if t.wide.shape[0] <= grid[0] and t.wide.shape[1] <= grid[1]]
        if item.height_mm > rules.plate_mm[2] or not ways:
            left_out.append(item.name)
            continue
        areas[item.group] = areas.get(item.group, 0.0) + _area_mm2(item, rules.cell_mm)
        _lay(item, ways, sheets, grid)
    _keep_company(sheets, turned)
    bound = sum(math.ceil(area / float(room[0] * room[1])) for area in areas.values())
    plates = tuple(_plate(s, rules) for s in sheets)
    found = [_too_large(name, rules) for name in left_out]
    found += _alone(sheets)
    if plates:
        found.append(plates_finding(len(plates), bound))
    return Nesting(plates, bound, tuple(left_out), tuple(found))


def _turned(item: Item, rules: Rules) -> list[_Turned]:
    """Whole turns in equal steps; half the spacing and the brim are part of the cells."""
    margin = (rules.spacing_mm / 2 + item.brim_mm) / rules.cell_mm
    vertices = item.mesh.vertices
    out = []
    for k in range(TURNS):
        angle = 2 * math.pi * k / TURNS
        c, s = math.cos(angle), math.sin(angle)
        rotation = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        cells, corner = shadow(vertices @ rotation.T, item.mesh.faces, rules.cell_mm)
        if item.under is not None and len(item.under):
            cells, corner = _with_points(cells, corner, item.under @ rotation[:2, :2].T, rules.cell_mm)
        reach = math.ceil(margin) if margin > 0 else 0
        wide = grown(cells, margin)
        out.append(_Turned(rotation, wide, corner - reach * rules.cell_mm))
    return out


def _with_points(
    cells: BoolArray, corner: FloatArray, points: FloatArray, cell_mm: float
) -> tuple[BoolArray, FloatArray]:
    """The grid, enlarged where need be, with the cells of these points covered too."""
    at = np.floor((points - corner) / cell_mm).astype(int)
    low = np.minimum(at.min(axis=0), 0)
    high = np.maximum(at.max(axis=0) + 1, cells.shape)
    out = np.zeros(tuple(high - low), dtype=np.bool_)
    out[-low[0] : -low[0] + cells.shape[0], -low[1] : -low[1] + cells.shape[1]] = cells
    out[at[:, 0] - low[0], at[:, 1] - low[1]] = True
    return out, corner + low * cell_mm


def _lay(item: Item, ways: Sequence[_Turned], sheets: list[_Sheet], grid: tuple[int, ...]) -> None:
    """On the first plate of its group with room, in the turn that keeps the used rectangle smallest; else a new plate."""
    for sheet in sheets:
        if sheet.group == item.group and (found := _place(item, ways, sheet)):
            sheet.add(found)
            return
    fresh = _Sheet(item.group, np.zeros(grid, dtype=np.bool_), [])
    found = _place(item, ways, fresh)
    if found is None:
        raise AssertionError("an item that fits the plate fits an empty plate")
    fresh.add(found)
    sheets.append(fresh)


def _place(item: Item, ways: Sequence[_Turned], sheet: _Sheet) -> _Set | None:
    """Where on a sheet the item leaves the smallest rectangle in use; None where there is no room."""
    best: tuple[tuple[int, int, int], _Set] | None = None
    shape = tuple(fft.next_fast_len(n, real=True) for n in sheet.taken.shape)
    taken = fft.rfft2(sheet.taken.astype(np.float32), shape)
    used = np.argwhere(sheet.taken)
    far = used.max(axis=0) + 1 if len(used) else np.zeros(2, dtype=int)
    for number, way in enumerate(ways):
        w, d = way.wide.shape
        # Correlation by the transform: how many taken cells each position of the item would meet.
        meets = fft.irfft2(taken * np.conj(fft.rfft2(way.wide.astype(np.float32), shape)), shape)
        free = meets[: sheet.taken.shape[0] - w + 1, : sheet.taken.shape[1] - d + 1] < 0.5
        at = np.argwhere(free)
        if not len(at):
            continue
        right, top = np.maximum(at[:, 0] + w, far[0]), np.maximum(at[:, 1] + d, far[1])
        first = np.lexsort((at[:, 0] + at[:, 1], right * top))[0]
        i, j = int(at[first, 0]), int(at[first, 1])
        cost = (int(right[first] * top[first]), i + j, number)
        if best is None or cost < best[0]:
            best = (cost, _Set(item, way, (i, j)))
    return best[1] if best else None


def _plate(sheet: _Sheet, rules: Rules) -> Plate:
    """In mm, what is used in the middle of the plate."""
    used = np.argwhere(sheet.taken)
    low, high = used.min(axis=0), used.max(axis=0) + 1
    centre = np.array(rules.plate_mm[:2]) / 2 - (low + high) / 2 * rules.cell_mm
    return Plate(sheet.group, tuple(Placed(s.item.name, _transform(s, centre, rules.cell_mm)) for s in sheet.placed))


def _transform(found: _Set, centre: FloatArray, cell_mm: float) -> FloatArray:
    out = np.eye(4)
    out[:3, :3] = found.way.rotation
    out[:2, 3] = centre + np.array(found.at) * cell_mm - found.way.corner
    out[2, 3] = -float(found.item.mesh.vertices[:, 2].min())
    return out


def _area_mm2(item: Item, cell_mm: float) -> float:
    """A lower estimate of the ground covered, for the bound: cells within one diagonal of the outline left out."""
    cells, _ = shadow(item.mesh.vertices, item.mesh.faces, cell_mm)
    core = ~grown(~np.pad(cells, 3), math.sqrt(2.0))
    return float(core.sum()) * cell_mm * cell_mm


def is_tall_and_thin(item: Item) -> bool:
    """Whether its layers are too small to cool well by themselves; False where its footing is not known."""
    footing = item.footing_mm2
    return footing is not None and item.height_mm > SLENDER * math.sqrt(max(footing, 1e-9))


def _keep_company(sheets: list[_Sheet], turned: dict[str, list[_Turned]]) -> None:
    """A tall thin part that is alone gets a companion from a fuller plate of its group."""
    for sheet in sheets:
        if len(sheet.placed) != 1 or not is_tall_and_thin(sheet.placed[0].item):
            continue
        for giver in (s for s in sheets if s.group == sheet.group and len(s.placed) >= 2):
            item = giver.placed[-1].item
            if found := _place(item, turned[item.name], sheet):
                giver.take_back()
                sheet.add(found)
                break


def _too_large(name: str, rules: Rules) -> Finding:
    w, d, h = rules.plate_mm
    return Finding(
        "print.plate",
        name,
        "fail",
        target=max(rules.plate_mm),
        unit="mm",
        advice=f"does not fit a build volume of {w:g} × {d:g} × {h:g} mm with its brim and {rules.edge_mm:g} mm at the "
        "edge: lay it another way, split it, or use a larger printer",
    )


def _alone(sheets: Sequence[_Sheet]) -> list[Finding]:
    lone = [s.placed[0].item for s in sheets if len(s.placed) == 1 and is_tall_and_thin(s.placed[0].item)]
    return [
        Finding(
            "print.alone",
            item.name,
            "caution",
            measured=item.height_mm / math.sqrt(max(item.footing_mm2 or 0.0, 1e-9)),
            target=SLENDER,
            unit="times the foot's width",
            advice="tall and thin, and alone on its plate: print a spare of it beside it, so that each layer can cool",
        )
        for item in lone
    ]


def plates_finding(plates: int, bound: int) -> Finding:
    """How many plates there are, against the number that no nesting can beat."""
    if plates <= bound:
        return Finding("print.plates", "kit", "pass", float(plates), float(bound), "plates")
    advice = (
        f"{plates} plates, and by the ground they cover no nesting can need fewer than {bound}: "
        "between the two it is not proved which is least"
    )
    return Finding("print.plates", "kit", "unknown", float(plates), float(bound), "plates", advice=advice)
