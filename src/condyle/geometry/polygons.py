"""The one door to the planar geometry library: regions of a plane with holes, in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import MultiPolygon, Point, Polygon

from condyle.geometry.mesh import BoolArray, FloatArray, IntArray

_FEW = 8


class Region:
    """A bounded region of the plane: any number of polygons with holes. Never changed; may be empty."""

    __slots__ = ("_shape",)

    def __init__(self, shape: Any) -> None:
        self._shape = shape

    @property
    def empty(self) -> bool:
        return bool(self._shape.is_empty)

    @property
    def area_mm2(self) -> float:
        return float(self._shape.area)

    @property
    def centroid(self) -> FloatArray:
        """(2,); ValueError for an empty region."""
        if self.empty:
            raise ValueError("an empty region has no centroid")
        return np.array([self._shape.centroid.x, self._shape.centroid.y])

    @property
    def bounds(self) -> FloatArray:
        """Lower and upper corner, (2, 2)."""
        return np.array(self._shape.bounds).reshape(2, 2)

    def components(self) -> list[Region]:
        """Connected pieces, largest first."""
        shapes = [g for g in getattr(self._shape, "geoms", [self._shape]) if isinstance(g, Polygon) and not g.is_empty]
        return [Region(g) for g in sorted(shapes, key=lambda g: -g.area)]

    def rings(self) -> list[FloatArray]:
        """Outlines (k, 2), outer ones counter-clockwise and holes clockwise, without the closing point."""
        out: list[FloatArray] = []
        for piece in self.components():
            oriented = shapely.geometry.polygon.orient(piece._shape, 1.0)
            out += [np.asarray(r.coords)[:-1] for r in (oriented.exterior, *oriented.interiors)]
        return out

    def corners(self) -> FloatArray:
        """The points (k, 2) of all outlines, each outline's first one again at its end."""
        return np.asarray(shapely.get_coordinates(self._shape))

    def depth(self, point: Sequence[float]) -> float:
        """Distance from a point to the outline, mm; negative when the point lies outside."""
        p = Point(float(point[0]), float(point[1]))
        distance = float(self._shape.boundary.distance(p))
        return distance if self._shape.contains(p) else -distance

    def holds(self, points: FloatArray) -> BoolArray:
        """Which of many points (n, 2) lie inside."""
        shapely.prepare(self._shape)
        return np.asarray(shapely.contains_xy(self._shape, points[:, 0], points[:, 1]), dtype=bool)

    def gaps(self, points: FloatArray) -> FloatArray:
        """Distance of each of many points (n, 2) to the region, mm: 0 inside, inf from an empty region."""
        if self.empty:
            return np.full(len(points), np.inf)
        shapely.prepare(self._shape)
        return np.asarray(shapely.distance(self._shape, shapely.points(points)), dtype=np.float64)

    def signed(self, points: FloatArray) -> FloatArray:
        """Distance of each of many points (n, 2) to the outline, mm, negative inside; inf from an empty region."""
        if self.empty:
            return np.full(len(points), np.inf)
        distance = np.asarray(shapely.distance(self._shape.boundary, shapely.points(points)), dtype=np.float64)
        return np.where(self.holds(points), -distance, distance)

    def filled(self) -> Region:
        """The region without its holes."""
        return Region(shapely.union_all([Polygon(g.exterior) for g in _pieces(self._shape)]))

    def within(self, points: FloatArray, mm: float) -> BoolArray:
        """Which of many points (n, 2) lie no further than a distance from the region; none for an empty one."""
        if self.empty:
            return np.zeros(len(points), dtype=bool)
        shapely.prepare(self._shape)
        return np.asarray(shapely.dwithin(self._shape, shapely.points(points), mm), dtype=bool)

    def near(self, other: Region, by_mm: float) -> Region:
        """What lies in the other region's bounds grown by a distance: what is done close to the other region only, is done
        quicker on this."""
        if other.empty:
            return Region(MultiPolygon())
        x0, y0, x1, y1 = other._shape.bounds
        box = shapely.box(x0 - by_mm, y0 - by_mm, x1 + by_mm, y1 + by_mm)
        return Region(_areal(shapely.intersection(_one(self._shape), box)[0]))

    def touching(self, other: Region) -> Region:
        """Those connected pieces that share area or outline with the other region."""
        shapely.prepare(other._shape)
        pieces = [g for g in _pieces(self._shape) if other._shape.intersects(g)]
        return Region(MultiPolygon(pieces))

    def without_specks(self, least_mm2: float) -> Region:
        """Without connected pieces of less area."""
        pieces = _pieces(self._shape)
        large = [g for g in pieces if g.area >= least_mm2]
        return self if len(large) == len(pieces) else Region(MultiPolygon(large))

    def reach(self, point: Sequence[float]) -> float:
        """Distance from a point to the farthest point of the region, mm."""
        rings = self.rings()
        return max(float(np.linalg.norm(r - np.asarray(point), axis=1).max()) for r in rings)

    def span(self, point: Sequence[float], direction: Sequence[float]) -> float:
        """How far one can go from an inner point along a unit direction before the outline; 0 from outside."""
        p, d = np.asarray(point, dtype=float), np.asarray(direction, dtype=float)
        if not self._shape.contains(Point(*p)):
            return 0.0
        far = p + d * 1e4
        hit = self._shape.boundary.intersection(shapely.LineString([p, far]))
        return float(hit.distance(Point(*p))) if not hit.is_empty else 0.0

    def spans(self, point: Sequence[float], directions: FloatArray) -> FloatArray:
        """``span`` along many unit directions (n, 2), (n,) mm."""
        p = np.asarray(point, dtype=float)
        middle = Point(*p)
        if not self._shape.contains(middle):
            return np.zeros(len(directions))
        ways = shapely.linestrings(np.stack([np.broadcast_to(p, directions.shape), p + directions * 1e4], axis=1))
        hits = shapely.distance(shapely.intersection(self._shape.boundary, ways), middle)
        return np.asarray(np.nan_to_num(hits))

    def offset(self, by_mm: float, chord_mm: float = 0.02) -> Region:
        """Grown (positive) or shrunk (negative) with round corners of the given chord error."""
        r = max(abs(by_mm), 1e-9)
        quarter = max(4, math.ceil(math.pi / 4 / math.acos(max(0.0, 1 - min(chord_mm / r, 1.0)))))
        return Region(self._shape.buffer(by_mm, quad_segs=quarter))

    def swept(self, by: Sequence[float]) -> Region:
        """All that the region passes over when it is moved straight by (x, y) mm."""
        step = np.asarray(by, dtype=np.float64)
        sides = []
        for ring in self.rings():
            ends = np.roll(ring, -1, axis=0)
            sides += [Polygon([a, b, b + step, a + step]) for a, b in zip(ring, ends, strict=True)]
        quads = [q.buffer(0) for q in sides if q.area > 1e-12]
        return Region(_areal(shapely.union_all([self._shape, *quads])))

    def mirrored(self) -> Region:
        """The region seen from the other side of the plane: y turned to -y."""
        return Region(shapely.affinity.scale(self._shape, 1.0, -1.0, origin=(0.0, 0.0)))

    def simplified(self, tolerance_mm: float) -> Region:
        return Region(shapely.simplify(_one(self._shape), tolerance_mm)[0])

    def contains(self, other: Region) -> bool:
        return bool(self._shape.contains(other._shape))

    def distance(self, other: Region) -> float:
        return float(self._shape.distance(other._shape))

    def __or__(self, other: Region) -> Region:
        return Region(shapely.union(_one(self._shape), other._shape)[0])

    def __and__(self, other: Region) -> Region:
        return Region(_areal(shapely.intersection(_one(self._shape), other._shape)[0]))

    def __sub__(self, other: Region) -> Region:
        return Region(_areal(shapely.difference(_one(self._shape), other._shape)[0]))

    def inscribed_circle(self) -> tuple[FloatArray, float]:
        """Centre (2,) and radius of the largest circle inside; ValueError for an empty region."""
        if self.empty:
            raise ValueError("an empty region holds no circle")
        line = shapely.maximum_inscribed_circle(self._shape, tolerance=0.02)
        (x, y), _ = line.coords
        return np.array([x, y]), float(line.length)


def gathered(pieces: Sequence[Region]) -> Region:
    """Regions known to be apart as one, without looking for overlaps."""
    return Region(MultiPolygon([g for p in pieces for g in _pieces(p._shape)]))


def region_from_rings(rings: Sequence[FloatArray]) -> Region:
    """A region from closed outlines (k, 2) in any order and sense: a point is inside where an odd number surround it."""
    polygons = [Polygon(r) for r in rings if len(r) >= 3]
    polygons = sorted((q.buffer(0) if not q.is_valid else q for q in polygons), key=lambda q: -q.area)
    if _apart(polygons):
        return Region(_areal(shapely.union_all(polygons) if len(polygons) != 1 else polygons[0]))
    nested = _nested(polygons) if len(polygons) <= _FEW else None
    if nested is not None:
        return Region(nested)
    shape: Any = MultiPolygon()
    for p in polygons:
        shape = shape.symmetric_difference(p)
    return Region(_areal(shape))


def _nested(polygons: Sequence[Any]) -> Any | None:
    """Simple polygons without holes, largest first, that lie well inside or well apart of each other, as shells with their
    holes; None where two meet."""
    shells: list[tuple[Any, list[Any]]] = []
    depths: list[int] = []
    homes: list[int] = []
    for n, p in enumerate(polygons):
        if not isinstance(p, Polygon) or p.interiors:
            return None
        a = p.bounds
        around = []
        for m, q in enumerate(polygons[:n]):
            b = q.bounds
            if a[0] > b[2] or b[0] > a[2] or a[1] > b[3] or b[1] > a[3]:
                continue
            shapely.prepare(q)
            if q.contains_properly(p):
                around.append(m)
            elif not q.disjoint(p):
                return None
        depths.append(len(around))
        if len(around) % 2:
            # The one around it that lies deepest is a shell, and this its hole.
            home = homes[max(around, key=lambda m: depths[m])]
            shells[home][1].append(p.exterior)
            homes.append(-1)
        else:
            homes.append(len(shells))
            shells.append((p.exterior, []))
    made = [Polygon(outer, holes) for outer, holes in shells]
    return made[0] if len(made) == 1 else MultiPolygon(made)


def disc(centre: Sequence[float], radius_mm: float) -> Region:
    """A circle's inside, as a many-sided polygon about it."""
    return Region(Point(float(centre[0]), float(centre[1])).buffer(radius_mm, quad_segs=24))


def rectangle(low: Sequence[float], high: Sequence[float]) -> Region:
    return Region(shapely.box(float(low[0]), float(low[1]), float(high[0]), float(high[1])))


def _one(shape: Any) -> Any:
    """A shape as an array of one: on arrays the library lets other threads run, on single shapes it does not (measured)."""
    out = np.empty(1, dtype=object)
    out[0] = shape
    return out


def _pieces(shape: Any) -> list[Any]:
    return [g for g in getattr(shape, "geoms", [shape]) if isinstance(g, Polygon) and not g.is_empty]


def silhouette(vertices: FloatArray, faces: IntArray, simplify_mm: float) -> list[FloatArray]:
    """The outline of a mesh seen along -z as rings (k, 2), simplified to ``simplify_mm``; outer rings counter-clockwise."""
    flat = np.asarray(vertices, dtype=np.float64)[:, :2][faces]
    edges = flat[:, 1:] - flat[:, :1]
    # A closed body shows every place of its outline on faces that look up: half of them are enough.
    up = edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0] > 1e-9
    shape = shapely.union_all(shapely.buffer(shapely.polygons(flat[up]), 1e-6))
    return Region(_areal(shape.simplify(simplify_mm))).rings()


def _apart(polygons: Sequence[Any]) -> bool:
    """Whether no two polygons' bounding boxes meet, so that none can lie in or cross another."""
    if len(polygons) <= _FEW:
        pairs = combinations([p.bounds for p in polygons], 2) if len(polygons) > 1 else ()
        return not any(a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3] for a, b in pairs)
    low, high = np.split(np.array([p.bounds for p in polygons]).reshape(-1, 4), 2, axis=1)
    meet = ((low[:, None] <= high[None]) & (high[:, None] >= low[None])).all(axis=2)
    return int(meet.sum()) == len(polygons)


def _areal(shape: Any) -> Any:
    """Drop points and lines that a set operation left beside the areas."""
    if isinstance(shape, (Polygon, MultiPolygon)):
        return shape
    return shapely.union_all([g for g in getattr(shape, "geoms", []) if isinstance(g, (Polygon, MultiPolygon))])
