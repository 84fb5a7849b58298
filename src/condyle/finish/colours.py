"""Which colour each seen face has, how much there is of each on every part, and what masking could be saved.

Colours come from the sculpt's own faces or from rules of the maker's; a part's face has the colour of the sculpt's face
nearest to it, since cutting moves none of the skin. A border runs along the edges of triangles between two colours, so
its length is that of a jagged line: too long by up to a third on a fine mesh (for a line across a grid of equal squares
with diagonals the mean is 1.1 to 1.3), and no border is finer than the triangles.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

Rgb = tuple[int, int, int]
Bytes = NDArray[np.uint8]

MOST_COLOURS = 12
ALIKE = 14.0
"""Distance in CIELAB below which two colours are one pot of paint: common practice, no source (2.3 is just seen)."""

SPECK_MM2 = 2.0
"""Islands of colour smaller than this are painted by hand, not masked: common practice, no source."""

ONE_COLOUR = 0.98


@dataclass(frozen=True)
class Colour:
    """One pot: its name and sRGB, 0 to 255."""

    name: str
    rgb: Rgb


@dataclass(frozen=True)
class Split:
    """What making a colour's islands on a part into parts of their own would save, and its price."""

    part: str
    colour: str
    saves_mm: float
    parts: int
    joints: int


@dataclass(frozen=True)
class PartColours:
    """A part's seen area by colour (mm²), the borders to mask by pair of colours (mm), and what a split would save.

    plain  the colour in which the whole part can be printed; None where it has several
    """

    area_mm2: Mapping[str, float]
    borders_mm: Mapping[tuple[str, str], float]
    splits: tuple[Split, ...]
    plain: str | None

    @property
    def border_mm(self) -> float:
        """All borders of the part."""
        return sum(self.borders_mm.values())


def lab(colours: NDArray[np.generic]) -> FloatArray:
    """CIELAB (n, 3) of sRGB (n, 3), white D65 (CIE 15; IEC 61966-2-1 for the matrix)."""
    shown = np.asarray(colours, dtype=np.float64) / 255.0
    light = np.where(shown <= 0.04045, shown / 12.92, np.power((shown + 0.055) / 1.055, 2.4))
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = light @ matrix.T / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


def pots(colours: Bytes, areas: FloatArray) -> tuple[list[Rgb], IntArray]:
    """The few colours that those of many triangles (m, 3) come down to, largest area first, and which each has (m,).

    Each kept colour is one that occurs; the others go to the nearest kept one.
    """
    packed = (colours.astype(np.int64) @ np.array([65536, 256, 1])).astype(np.int64)
    values, inverse = np.unique(packed, return_inverse=True)
    weight = np.bincount(inverse, weights=areas, minlength=len(values))
    rgb = np.stack([values >> 16 & 255, values >> 8 & 255, values & 255], axis=1)
    where = lab(rgb)
    kept: list[int] = []
    nearest = np.full(len(values), np.inf)
    for k in (int(v) for v in np.argsort(-weight, kind="stable")):
        if nearest[k] > ALIKE and len(kept) < MOST_COLOURS:
            kept.append(k)
            nearest = np.minimum(nearest, np.linalg.norm(where - where[k], axis=1))
    apart = np.linalg.norm(where[:, None] - where[kept][None], axis=2)
    chosen = [(int(rgb[k][0]), int(rgb[k][1]), int(rgb[k][2])) for k in kept]
    return chosen, np.argmin(apart, axis=1)[inverse].astype(np.int32)


def part_colours(name: str, mesh: Mesh, of_face: IntArray, seen: BoolArray, colours: Sequence[Colour]) -> PartColours:
    """Areas, borders and splits of one part. ``of_face`` (n,) is each triangle's colour, -1 where it has none."""
    number = np.where(seen, of_face, -1)
    areas = {c.name: float(mesh.areas[number == k].sum()) for k, c in enumerate(colours)}
    areas = {n: a for n, a in areas.items() if a > 0.0}
    pairs, length = _edges(mesh)
    a, b = number[pairs[:, 0]], number[pairs[:, 1]]
    between = (a != b) & (a >= 0) & (b >= 0)
    borders: dict[tuple[str, str], float] = {}
    for edge in np.flatnonzero(between):
        one, other = sorted((int(a[edge]), int(b[edge])))
        key = (colours[one].name, colours[other].name)
        borders[key] = borders.get(key, 0.0) + float(length[edge])
    total = sum(areas.values())
    main = max(areas, key=lambda n: areas[n], default=None)
    plain = main if main is not None and areas[main] >= ONE_COLOUR * total else None
    splits = []
    for k, colour in enumerate(colours):
        if colour.name == main or colour.name not in areas:
            continue
        islands = _islands(mesh, number == k, pairs)
        if not islands:
            continue
        saves = float(length[between & ((a == k) | (b == k))].sum())
        splits.append(Split(name, colour.name, saves, islands, islands))
    splits.sort(key=lambda s: -s.saves_mm / s.parts)
    return PartColours(areas, borders, tuple(splits), plain)


def _edges(mesh: Mesh) -> tuple[IntArray, FloatArray]:
    """Pairs of triangles that share an edge (e, 2), and the edge's length (e,)."""
    faces = mesh.faces
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces), dtype=np.int32), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, owner = edges[order], owner[order]
    same = np.flatnonzero((edges[1:] == edges[:-1]).all(axis=1))
    ends = mesh.vertices[edges[same]]
    return np.stack([owner[same], owner[same + 1]], axis=1), np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)


def _islands(mesh: Mesh, mine: BoolArray, pairs: IntArray) -> int:
    """How many connected regions of a colour are large enough to be parts of their own."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    both = pairs[mine[pairs[:, 0]] & mine[pairs[:, 1]]]
    n = len(mine)
    graph = coo_array((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    size = np.bincount(label[mine], weights=mesh.areas[mine])
    return int((size >= SPECK_MM2).sum())
