"""How thin do the parts get, and where?

The thickness at a point of the surface is the diameter of the largest ball inside the part that touches it there
(Ma, Bae & Choi, The Visual Computer 28 (2012), 7-19, the shrinking ball, from memory). A ball that touches both sides of a
wall does so at nearly opposite points; one in the corner of a convex edge does not, however small it is. So balls count
only where the two touching points are at least 150° apart seen from the middle: edges do not read as walls without
thickness, but a feather edge sharper than 30° does, and at the thinnest place of any wall the two sides are parallel.

Candidates come from rays straight in, from every triangle (long ones split to 1 mm): a ray is never shorter than its
ball, and beside a feather edge at most 1.2 times as long; the balls are fitted from the shortest ray upwards until no
later one can be thinner. The thinnest 0.02 mm² are taken, so that no single sliver decides. A film below 0.05 mm, which two cuts that
almost meet leave between them, is no wall: a tenth of a filament's line, or one pixel of resin, leaves nothing (common
practice, no source), and what it hangs on is as thick without it. An edge that runs out is still found by what is thicker beside it. None of this knows how the
part was built, but for one thing: the ridges between engraved letters, a third of a millimetre high, are no walls, so the sides
of their strokes are left out; the floors of the strokes and the face beside them are not.

wall.hardware   of a joint, around its hardware: two line widths pass, one is a caution, less fails
wall.thickness  of a part, anywhere: two line widths pass, less is a caution, for what is lost there is a rim or a
                detail of the sculpt, not a joint (common practice, no source)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import Kit, Mark
from condyle.finding import Finding, Point, Verdict
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.proof.bodies import PartBody, halved
from condyle.proof.kept import Keep, anew

_SAMPLE_MM = 1.0
_OPPOSITE_COS = -np.cos(np.radians(30.0))
_AREA_MM2 = 0.02
_FILM_MM = 0.05
_CHUNK = 2000
_FURTHER = 1.3
_SLACK_MM = 0.02
_STEEP_COS = np.cos(np.radians(60.0))


@dataclass(frozen=True)
class Wall:
    """The thinnest place: thickness in mm and the middle of the wall there."""

    thickness_mm: float
    place: Point


@dataclass(frozen=True, eq=False)
class Probes:
    """Points on a part's surface (n, 3), unit normals, the area that each stands for, and the way straight in, in mm."""

    points: FloatArray
    normals: FloatArray
    areas: FloatArray
    depths: FloatArray

    def chosen(self, keep: BoolArray) -> Probes:
        return Probes(self.points[keep], self.normals[keep], self.areas[keep], self.depths[keep])


def probes_of(mesh: Mesh, bvh: Bvh) -> Probes:
    """Probes at the middle of every triangle, long ones split; those without area or a way in are left out."""
    corners = np.array(mesh.corners)
    done = []
    while len(corners):
        sides = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        long = sides.max(axis=1) > _SAMPLE_MM
        done.append(corners[~long])
        corners = halved(corners[long], sides[long].argmax(axis=1))
    corners = np.concatenate(done)
    vectors = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(vectors, axis=1)
    sound = areas > 1e-7
    points, areas = corners[sound].mean(axis=1), areas[sound]
    normals = vectors[sound] / areas[:, None]
    # Start a hair inside, so that the triangle itself is not what the ray meets.
    depths = bvh.rays(points - 1e-5 * normals, -normals) + 1e-5
    seen = np.isfinite(depths)
    return Probes(points[seen], normals[seen], areas[seen], depths[seen])


def thinnest(probes: Probes, bvh: Bvh) -> Wall | None:
    """The thinnest wall among the probes; None where no two sides are opposite each other."""
    order = np.argsort(probes.depths, kind="stable")
    thickness: list[FloatArray] = []
    areas: list[FloatArray] = []
    places: list[FloatArray] = []
    best: Wall | None = None
    for start in range(0, len(order), _CHUNK):
        here = order[start : start + _CHUNK]
        if best is not None and probes.depths[here[0]] > _FURTHER * best.thickness_mm:
            break
        size, middle, opposite = _balls(probes.points[here], probes.normals[here], probes.depths[here], bvh)
        counts = opposite & (size >= _FILM_MM)
        thickness.append(size[counts])
        areas.append(probes.areas[here][counts])
        places.append(middle[counts])
        best = _least(np.concatenate(thickness), np.concatenate(areas), np.concatenate(places))
    return best


def _balls(
    points: FloatArray, normals: FloatArray, depths: FloatArray, bvh: Bvh
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Diameter and middle of the largest inner ball at each point, and whether it touches two opposite sides."""
    radius = depths / 2
    opposite = points - normals * depths[:, None]
    open_ = np.arange(len(points))
    for _ in range(20):
        centre = points[open_] - normals[open_] * radius[open_, None]
        # The ball touches its own point: only what lies nearer is asked for.
        distance, on, _face = bvh.closest(centre, np.maximum(radius[open_] * (1.0 - 1e-4) - 1e-6, 0.0))
        inside = np.isfinite(distance)
        open_, on = open_[inside], on[inside]
        if not len(open_):
            break
        apart = points[open_] - on
        along = np.einsum("ij,ij->i", apart, normals[open_])
        shrunk = np.einsum("ij,ij->i", apart, apart) / np.maximum(2.0 * along, 1e-12)
        radius[open_] = np.minimum(shrunk, radius[open_])
        opposite[open_] = on
    centre = points - normals * radius[:, None]
    away = opposite - centre
    cosine = np.einsum("ij,ij->i", normals, away) / np.maximum(np.linalg.norm(away, axis=1), 1e-12)
    return 2 * radius, centre, np.asarray(cosine <= _OPPOSITE_COS)


def _least(thickness: FloatArray, areas: FloatArray, places: FloatArray) -> Wall | None:
    if areas.sum() < _AREA_MM2:
        return None
    order = np.argsort(thickness, kind="stable")
    k = int(np.searchsorted(np.cumsum(areas[order]), _AREA_MM2))
    i = order[min(k, len(order) - 1)]
    x, y, z = (float(v) for v in places[i])
    return Wall(float(thickness[i]), (x, y, z))


def walls(
    kit: Kit, bodies: Mapping[str, PartBody], line_mm: float, *, workers: int = 2, keep: Keep = anew
) -> tuple[dict[str, Wall | None], list[Finding]]:
    """The thinnest wall of each part, and findings for parts and for the hardware of joints.

    ``line_mm`` is the figure's printed line; a part with a printer of its own is judged by that one's.
    ``keep`` keeps what was measured of each part, which depends on the part and its joints' hardware alone.
    """

    def one(body: PartBody) -> tuple[Wall | None, dict[str, Wall | None]]:
        return keep(body.name, lambda: _one(kit, body))

    with ThreadPoolExecutor(workers) as pool:
        measured = dict(zip(bodies, pool.map(one, bodies.values()), strict=True))
    lines = {p.name: line_mm if p.workshop is None else p.workshop.printer.line_mm.value for p in kit.parts}
    findings = [_finding("wall.thickness", name, wall, lines[name], name) for name, (wall, _) in measured.items()]
    for joint in kit.joints:
        around = [(wall, name) for name, (_, near) in measured.items() if (wall := near.get(joint.name)) is not None]
        if around:
            wall, name = min(around, key=lambda f: f[0].thickness_mm)
            findings.append(_finding("wall.hardware", joint.name, wall, lines[name], name))
    return {name: wall for name, (wall, _) in measured.items()}, findings


def _one(kit: Kit, body: PartBody) -> tuple[Wall | None, dict[str, Wall | None]]:
    """The thinnest wall of a part, and the thinnest around each joint's hardware in it."""
    probes = probes_of(body.written, body.solid)
    mark = kit.part(body.name).mark
    if mark is not None:
        probes = probes.chosen(~_strokes(probes, mark))
    near: dict[str, Wall | None] = {}
    for joint in kit.joints:
        centres = [a.centre for a in joint.axles if body.name in (a.moves, a.stays)] if joint.built else []
        if centres:
            keep = _near(probes.points, centres, 0.75 * (joint.size_mm or 0.0) + 1.0)
            near[joint.name] = thinnest(probes.chosen(keep), body.solid)
    return thinnest(probes, body.solid), near


def _strokes(probes: Probes, mark: Mark) -> BoolArray:
    """Which probes lie on the sides of engraved strokes: within the letters' reach, and steep to the face they stand in."""
    arm, out = probes.points - np.asarray(mark.place), np.asarray(mark.out)
    close = np.einsum("ij,ij->i", arm, arm) <= mark.reach_mm**2
    return np.asarray(close & (np.abs(probes.normals @ out) < _STEEP_COS))


def _near(points: FloatArray, centres: Sequence[Point], radius: float) -> BoolArray:
    out = np.zeros(len(points), dtype=bool)
    for centre in centres:
        out |= np.einsum("ij,ij->i", points - np.asarray(centre), points - np.asarray(centre)) <= radius**2
    return out


def _finding(check: str, subject: str, wall: Wall | None, line_mm: float, part: str) -> Finding:
    target = 2.0 * line_mm
    if wall is None:
        return Finding(check, subject, "pass", None, target, "mm")
    enough, one = wall.thickness_mm >= target - _SLACK_MM, wall.thickness_mm >= line_mm - _SLACK_MM
    verdict: Verdict = "pass" if enough else ("caution" if one or check == "wall.thickness" else "fail")
    advice = ""
    if not enough:
        what = (
            "a smaller size of hardware, or more flesh around it"
            if check == "wall.hardware"
            else "blunt the rim, or more flesh"
        )
        advice = f"{part} is thinner than two printed lines of {line_mm:.2f} mm here: {what}"
    return Finding(check, subject, verdict, wall.thickness_mm, target, "mm", wall.place, advice)
