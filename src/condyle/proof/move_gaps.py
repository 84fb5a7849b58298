"""What can be seen of a hinge's inside when it is bent: the area of the openings, and how wide they gape.

The two sides (and the link), with their pins pushed home, are turned to an angle and looked at along many directions as from
far away. A line of sight sees the inside where what it meets first lies deeper than ``SHALLOW_MM`` below the skin line. The skin
line is where flesh would end without any hardware: of the knuckle, the sculpt's skin and the round face on which the joint
slides; of all else, the sculpt's skin in the pose in which it was sculpted. What lies within the knuckle's flesh (its slot, and
tongue and pin in it) is judged by the knuckle's line, whatever part it belongs to. So a shallow step with a floor is no opening,
and neither is the round face; a hollow, a slot and the flank of a cut are. Of each view that gives an area as it appears in it;
the largest of all views is told, and the width of the widest opening: the diameter of the largest disc that fits into what is
seen in one view. The other parts of the figure, which could only hide more, are left out. Looking right through beside both
sides counts as nothing.

Directions lie about 25° apart over the whole sphere; of each angle the views that show most are drawn again at 0.15 mm, the
widest opening is looked at from around until no direction 3° away shows it wider, and widths are told to 0.15 mm. An opening
that shows in none of the directions is missed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import ndimage

from condyle.figure.kit import BuiltJoint, Pin
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import frame_from_zx, rotation_matrix_about, unit
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from condyle.geometry.primitives import cylinder
from condyle.proof.bodies import PartBody

WIDEST_AT_DEG: Mapping[float, float] = {90.0: 1.0, 130.0: 2.0}
"""How wide an opening may be at a flexion, mm (our own choice, no source)."""

ANGLES_DEG = (45.0, 90.0, 130.0)
SHALLOW_MM = 1.0
"""How deep below the skin line a floor may lie and still be a step (our own choice, no source)."""

VIEWS = 64
_ROUGH_MM, _FINE_MM = 0.5, 0.15
_FINE_VIEWS = 2
_ON_SKIN_MM = 0.03
_AROUND_DEG = (12.0, 6.0, 3.0)
_ROUND, _BIN_MM, _SHARE = 0.97, 0.15, 0.4
_MARGIN_MM = 1.0
_BACK_MM = 1000.0  # from where a view looks, beyond any figure
_ASKEW = np.array([0.31, 0.52, 0.796])  # no face of a sculpt is expected to lie along it


@dataclass(frozen=True)
class Opening:
    """A joint at one angle: degrees of flexion from the human zero; the largest area of its inside that one view shows, mm²;
    the widest opening, mm, and where it is (figure coordinates, posed, the parent at rest)."""

    flex_deg: float
    seen_mm2: float
    widest_mm: float
    place: Point | None


@dataclass(frozen=True, eq=False)
class Shown:
    """One side of a joint, which of its triangles (n,) are its inside at this joint.

    order   0 stays, 1 is the link, 2 the child; a single hinge has no link
    drums   the round faces that end this side's flesh
    """

    order: int
    bvh: Bvh
    inside: BoolArray
    drums: tuple[Drum, ...] = ()


@dataclass(frozen=True, eq=False)
class Drum:
    """A round face about an axle: its centre and axis (figure coordinates, at rest), its radius (mm), and the direction
    square to the axis in which its side's flesh goes on beyond it."""

    centre: FloatArray
    axis: FloatArray
    radius_mm: float
    goes_on: FloatArray

    def depth(self, points: FloatArray) -> FloatArray:
        """How far points (n, 3) lie below the round face; inf where the flesh goes on, negative outside."""
        arm = points - self.centre
        arm = arm - np.outer(arm @ self.axis, self.axis)
        return np.where(arm @ self.goes_on > 0.0, np.inf, self.radius_mm - np.linalg.norm(arm, axis=1))


def openings(
    joint: BuiltJoint, bodies: Mapping[str, PartBody], skin: Bvh, reached_deg: tuple[float, float]
) -> tuple[Opening, ...]:
    """The openings of a hinge or double hinge over its range. ``reached_deg`` counts from the sculpt's pose."""
    rest = joint.seated.rest.get("flex", 0.0)
    low, high = reached_deg[0] + rest, reached_deg[1] + rest
    asked = sorted({rest, *(a for a in ANGLES_DEG if low <= a <= high), high})
    sides = sides_of(joint, bodies, skin)
    return tuple(_opening(joint, sides, skin, a, a - rest) for a in asked)


def sides_of(joint: BuiltJoint, bodies: Mapping[str, PartBody], skin: Bvh) -> list[Shown]:
    """The parts at a joint with their faces told apart. Only what lies near the joint is its inside."""
    middle = np.mean([a.centre for a in joint.axles], axis=0)
    axis = unit(np.asarray(joint.seated.axes["flex"]))
    names = [joint.axles[0].stays, *(a.moves for a in joint.axles)]
    near = _near_mm(joint, [bodies[n] for n in names], middle) + _MARGIN_MM
    found = []
    for name in names:
        body = bodies[name]
        inside = np.linalg.norm(body.middles - middle, axis=1) <= near
        inside[inside] = ~np.isfinite(skin.closest(body.middles[inside], _ON_SKIN_MM)[0])
        found.append((body, inside))
    drums: dict[int, list[Drum]] = {k: [] for k in range(len(names))}
    for i, axle in enumerate(joint.axles):
        # The face on which the two slide: of the one that is rounder there, the convex face at the radius that has most area.
        pair = [k for k, name in enumerate(names) if name in (axle.moves, axle.stays)]
        rounds = {k: _round_face(*found[k], np.asarray(axle.centre), axis) for k in pair}
        k = max(pair, key=lambda k: rounds[k][0])
        found[k] = (found[k][0], found[k][1] & ~rounds[k][1])
        if rounds[k][0] > 0.0:
            centre = np.asarray(axle.centre)
            if len(joint.axles) == 2:
                on = np.asarray(joint.axles[1 - i].centre) - centre
            else:
                on = np.asarray(joint.seated.frame.z) * (1.0 if k else -1.0)
            drums[k].append(Drum(centre, axis, rounds[k][0], unit(on - axis * float(on @ axis))))
    orders = (0, 2) if len(names) == 2 else (0, 1, 2)
    sides = [Shown(o, found[k][0].bvh, found[k][1], tuple(drums[k])) for k, o in enumerate(orders)]
    knuckle = max(range(len(names)), key=lambda k: len(drums[k]))
    for pin in joint.pins:
        mesh = _rod(pin)
        sides.append(Shown(orders[knuckle], Bvh(mesh), np.ones(mesh.triangle_count, dtype=bool)))
    return sides


def _rod(pin: Pin) -> Mesh:
    """A pin pushed home, in figure coordinates."""
    blind, mouth = np.asarray(pin.blind), np.asarray(pin.mouth)
    along = mouth - blind
    frame = frame_from_zx(blind, along, np.eye(3)[int(np.abs(along).argmin())])
    return cylinder(0.5 * pin.diameter_mm, 0.0, float(np.linalg.norm(along))).transformed(frame.matrix).mesh


def _near_mm(joint: BuiltJoint, bodies: Sequence[PartBody], middle: FloatArray) -> float:
    """How far from the middle the two sides of the cut face each other."""
    reach = joint.size_mm or 0.0
    within = 2.0 * (joint.kerf_mm or 0.3)
    for a, b in pairwise(bodies):
        low, high = b.pieces.bounds + np.array([[-within], [within]])
        ask = a.middles[np.all((a.middles >= low) & (a.middles <= high), axis=1)]
        if len(ask):
            facing = np.isfinite(b.bvh.closest(ask, within)[0])
            reach = max(reach, float(np.linalg.norm(ask[facing] - middle, axis=1).max(initial=0.0)))
    return reach


def _round_face(body: PartBody, inside: BoolArray, centre: FloatArray, axis: FloatArray) -> tuple[float, BoolArray]:
    """The convex face of a part that slides about an axle: its radius (0 for none), and its triangles (n,)."""
    out = np.zeros(len(inside), dtype=bool)
    index = np.flatnonzero(inside)
    arm = body.middles[index] - centre
    arm = arm - np.outer(arm @ axis, axis)
    far = np.maximum(np.linalg.norm(arm, axis=1), 1e-9)
    slides = np.einsum("ij,ij->i", body.pieces.normals[index], arm) >= _ROUND * far
    if not slides.any():
        return 0.0, out
    bins = (far[slides] / _BIN_MM).astype(int)
    areas = np.bincount(bins, body.pieces.areas[index[slides]])
    areas = areas + np.roll(areas, -1)
    # Of the turned faces about an axle, eye and knuckle, the knuckle is the outer one.
    k = int(np.flatnonzero(areas >= _SHARE * areas.max()).max())
    low, high = (k - 0.5) * _BIN_MM, (k + 2.5) * _BIN_MM
    out[index[slides & (far >= low) & (far <= high)]] = True
    return (k + 1) * _BIN_MM, out


def _opening(joint: BuiltJoint, sides: Sequence[Shown], skin: Bvh, flex_deg: float, turn_deg: float) -> Opening:
    places = _places(joint, turn_deg)
    posed = [(s, places[s.order]) for s in sides]
    points = [s.bvh.mesh.corners[s.inside].reshape(-1, 3) @ m[:3, :3].T + m[:3, 3] for s, m in posed if s.inside.any()]
    if not points:
        return Opening(flex_deg, 0.0, 0.0, None)
    corners = np.concatenate(points)
    middle = corners.mean(axis=0)
    reach = float(np.linalg.norm(corners - middle, axis=1).max()) + 0.5
    views = [(_seen(posed, skin, middle, reach, d, _ROUGH_MM), d) for d in directions(VIEWS)]
    most = sorted(views, key=lambda v: -v[0].area_mm2)[:_FINE_VIEWS]
    most += sorted(views, key=lambda v: -v[0].widest_mm)[:_FINE_VIEWS]
    fine = [(_seen(posed, skin, middle, reach, d, _FINE_MM), d) for d in {tuple(d): d for _, d in most}.values()]
    widest = _from_around(posed, skin, *max(fine, key=lambda v: v[0].widest_mm))
    return Opening(flex_deg, max(s.area_mm2 for s, _ in fine), widest.widest_mm, widest.place)


def _from_around(posed: Sequence[Posed], skin: Bvh, best: _View, towards: FloatArray) -> _View:
    """The widest opening of a view as the directions around show it, where any shows it wider."""
    if best.place is None:
        return best
    middle, reach = np.asarray(best.place), best.widest_mm + 1.0
    for step in _AROUND_DEG:
        u = unit(np.cross(towards, np.eye(3)[int(np.abs(towards).argmin())]))
        v = np.cross(towards, u)
        for turn in np.radians(np.arange(0.0, 360.0, 60.0)):
            beside = unit(towards + math.tan(math.radians(step)) * (math.cos(turn) * u + math.sin(turn) * v))
            view = _seen(posed, skin, middle, reach, beside, _FINE_MM)
            if view.widest_mm > best.widest_mm:
                best, towards = view, beside
    return best


def _places(joint: BuiltJoint, turn_deg: float) -> dict[int, FloatArray]:
    """Where each side lies (4, 4), by its order; the turn is shared by the axles."""
    axis = np.asarray(joint.seated.axes["flex"])
    centres = [np.asarray(a.centre, dtype=np.float64) for a in joint.axles]
    placed, move = {0: np.eye(4)}, np.eye(4)
    for order, centre in zip((2,) if len(centres) == 1 else (1, 2), centres, strict=True):
        move = move @ rotation_matrix_about(centre, axis, turn_deg / len(centres))
        placed[order] = move
    return placed


Posed = tuple[Shown, FloatArray]


@dataclass(frozen=True)
class _View:
    area_mm2: float
    widest_mm: float
    place: Point | None


def _seen(
    posed: Sequence[Posed], skin: Bvh, middle: FloatArray, reach: float, towards: FloatArray, pixel: float
) -> _View:
    """What one view along a direction shows of the inside."""
    u = unit(np.cross(towards, np.eye(3)[int(np.abs(towards).argmin())]))
    v = np.cross(towards, u)
    count = max(3, math.ceil(2.0 * reach / pixel))
    at = (np.arange(count) - 0.5 * (count - 1)) * pixel
    origins = (middle - towards * _BACK_MM + at[:, None, None] * u + at[None, :, None] * v).reshape(-1, 3)
    first, seen = np.full(len(origins), np.inf), np.zeros(len(origins), dtype=bool)
    owner = np.zeros(len(origins), dtype=np.int32)
    for k, (side, m) in enumerate(posed):
        turned = m[:3, :3]
        distance, triangle = (
            found.ravel()
            for found in side.bvh.first_on_grid(
                ((origins - m[:3, 3]) @ turned).reshape(count, count, 3),
                u @ turned,
                v @ turned,
                towards @ turned,
                pixel,
            )
        )
        nearer = distance < first
        first = np.where(nearer, distance, first)
        seen = np.where(nearer, side.inside[triangle], seen)
        owner[nearer] = k
    index = np.flatnonzero(seen)
    seen[index] = _deep(posed, skin, origins[index] + first[index, None] * towards, owner[index])
    if not seen.any():
        return _View(0.0, 0.0, None)
    depth = ndimage.distance_transform_edt(np.pad(seen.reshape(count, count), 1))[1:-1, 1:-1].ravel()
    k = int(depth.argmax())
    x, y, z = (float(w) for w in origins[k] + first[k] * towards)
    return _View(float(seen.sum()) * pixel**2, (2.0 * float(depth[k]) - 1.0) * pixel, (x, y, z))


def _deep(posed: Sequence[Posed], skin: Bvh, points: FloatArray, owner: IntArray) -> BoolArray:
    """Which points (n, 3), as posed, lie deeper than a step below the skin line; ``owner`` is whose surface each is on."""
    out = np.zeros(len(points), dtype=bool)
    within = np.zeros(len(points), dtype=bool)
    for side, m in posed:
        if not side.drums or not len(points):
            continue
        rest = (points - m[:3, 3]) @ m[:3, :3]
        round_face = np.min([d.depth(rest) for d in side.drums], axis=0)
        near = np.flatnonzero(round_face > 0.0)
        # A hit from behind is a way out of the sculpt.
        hit = skin.first_hits(rest[near], _ASKEW[None])[1]
        mine = near[(hit >= 0) & (skin.mesh.normals[hit] @ _ASKEW > 0.0)]
        within[mine] = True
        out[mine] = (round_face[mine] > SHALLOW_MM) & ~np.isfinite(skin.closest(rest[mine], SHALLOW_MM)[0])
    for k, (_, m) in enumerate(posed):
        own = np.flatnonzero(~within & (owner == k))
        rest = (points[own] - m[:3, 3]) @ m[:3, :3]
        out[own] = ~np.isfinite(skin.closest(rest, SHALLOW_MM)[0])
    return out


def directions(count: int) -> list[FloatArray]:
    """Unit directions spread evenly over the sphere on a golden-angle spiral (common practice, no source)."""
    k = np.arange(count) + 0.5
    height, turn = 1.0 - 2.0 * k / count, math.pi * (3.0 - math.sqrt(5.0)) * k
    ring = np.sqrt(1.0 - height**2)
    return list(np.column_stack([ring * np.cos(turn), ring * np.sin(turn), height]))


def gap_findings(joint: str, found: Sequence[Opening], *, linked: bool = False) -> list[Finding]:
    """move.gap at the flexions for which a width is allowed: pass within it, else a caution. ``linked`` for a double hinge."""
    out = []
    for opening in found:
        most = WIDEST_AT_DEG.get(opening.flex_deg)
        if most is None:
            continue
        good = opening.widest_mm <= most
        mend = "a smaller size, whose tongue runs in a narrower slot" if linked else "a double hinge in its place"
        advice = (
            f"bent to {opening.flex_deg:.0f}° an opening of {opening.widest_mm:.1f} mm shows {opening.seen_mm2:.1f} mm² of "
            f"the inside: {mend}, or a rounder limb at the cut"
        )
        out.append(
            Finding(
                "move.gap",
                joint,
                "pass" if good else "caution",
                opening.widest_mm,
                most,
                "mm",
                opening.place,
                "" if good else advice,
            )
        )
    return out
