"""Do the finished solids fit: gaps at rest, the push home, and what keeps them together?

All is measured on the parts as written. Four questions, for each pair of neighbours:

fit.bearing_gap  the gap between bearing faces that look at each other, signed (overlap negative): the smallest that a
                 twentieth of the facing area has. Within 0.05 mm of what is drawn it passes; tighter fails, looser is
                 a caution. Float across the fit (a ridge in its groove) may be tighter than the fit, never an overlap.
fit.skin_gap     the gap between the sculpt's own surface on either side: at least the kerf (less 0.02 mm of facets)
                 passes, half of it is a caution.
fit.free_gap     the gap of everything else but the bearing: at least 0.1 mm passes, a touch fails.
fit.insertion    the moving part backed off along its insertion direction from home to free meets nothing outside the
                 bearing's own lip. Turned on its pin, a hinge's tongue must go in the same way.
fit.retention    how far the lip overlaps what passes it, from the same sweep: 0.6 to 1.3 of the undercut that the
                 joint's strain and forces were computed with passes. Pinned joints are held by the pin, pegs by glue or
                 their fit: there nothing may overlap more than the fit itself.

And for all others: fit.others, parts that are no neighbours stay a kerf apart (touching fails: they would print as one).
Thresholds are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from condyle.figure.kit import Kit
from condyle.finding import Finding, Point, Verdict
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.geometry.gap import Rule, Surface, smallest_gap
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.proof.bodies import BEARING, FRINGE, SKIN, Meeting, PartBody

BEARING_TOLERANCE_MM = 0.05
FACETS_MM = 0.02
FREE_MM = 0.1
RETENTION_SHARE = (0.6, 1.3)

_FACING_MM = 0.5
_SHARE_OF_AREA = 0.05
_RUB_MM = 0.01
_ON_SKIN_MM = 0.02
_SWEEP_STEP_MM = 0.1


@dataclass(frozen=True)
class JointFit:
    """What was measured at one joint (the tightest of its axles), mm; None where there is nothing to measure."""

    bearing_gap_mm: float | None
    skin_gap_mm: float | None
    lip_mm: float | None


def fits(
    kit: Kit, meetings: Sequence[Meeting], skin: Bvh, kerf_mm: float, *, workers: int = 2
) -> tuple[dict[str, JointFit], list[Finding]]:
    """Measures and findings of every built joint, by its name. ``skin`` is the whole sculpt."""
    findings: list[Finding] = []
    by_joint: dict[str, list[JointFit]] = {}
    with ThreadPoolExecutor(workers) as pool:
        measured_all = list(pool.map(lambda m: _one(m, skin, kerf_mm), meetings))
    for meeting, (measure, found) in zip(meetings, measured_all, strict=True):
        by_joint.setdefault(meeting.joint.name, []).append(measure)
        findings += found
    out = {}
    for name, measured in by_joint.items():
        out[name] = JointFit(
            _least([m.bearing_gap_mm for m in measured]),
            _least([m.skin_gap_mm for m in measured]),
            _least([m.lip_mm for m in measured]),
        )
    return out, findings


def _one(meeting: Meeting, skin: Bvh, kerf_mm: float) -> tuple[JointFit, list[Finding]]:
    gap, bearing = _bearing_gap(meeting)
    skin_gap, apart = _skin_and_free(meeting, skin, kerf_mm)
    lip, holds = _retention(meeting)
    return JointFit(gap, skin_gap, lip), [*bearing, *apart, *_insertion(meeting), *holds]


def strangers(kit: Kit, bodies: Mapping[str, PartBody], kerf_mm: float) -> list[Finding]:
    """Pairs of parts without a joint between them that come nearer than the kerf; one pass when there are none."""
    met = {frozenset((a.moves, a.stays)) for j in kit.joints if j.built for a in j.axles}
    out = []
    closest = np.inf
    for first, second in combinations([p.name for p in kit.parts], 2):
        if frozenset((first, second)) in met:
            continue
        gap = smallest_gap(bodies[first].bare, bodies[second].bare, limit_mm=max(kerf_mm, 1.0))
        closest = min(closest, gap.distance_mm)
        if gap.distance_mm >= kerf_mm - FACETS_MM:
            continue
        verdict: Verdict = "fail" if gap.distance_mm < FACETS_MM else "caution"
        out.append(
            Finding(
                "fit.others",
                f"{first}/{second}",
                verdict,
                measured=gap.distance_mm,
                target=kerf_mm,
                unit="mm",
                place=gap.middle,
                advice="these parts are no neighbours: part the sculpt there, or make room between them",
            )
        )
    if not out:
        measured = float(closest) if np.isfinite(closest) else None
        out.append(Finding("fit.others", "all parts", "pass", measured=measured, target=kerf_mm, unit="mm"))
    return out


def _bearing_gap(meeting: Meeting) -> tuple[float | None, list[Finding]]:
    wanted = meeting.joint.clearance_mm
    if wanted is None or not meeting.joint.bearing:
        return None, []
    areas, gaps, where = _facing(meeting.moves, meeting.moved, meeting.stays, meeting.still)
    if not len(gaps):
        advice = "no bearing faces look at each other: look at the joint's hardware"
        return None, [Finding("fit.bearing_gap", meeting.subject, "unknown", target=wanted, unit="mm", advice=advice)]
    order = np.argsort(gaps, kind="stable")
    heaped = np.cumsum(areas[order])
    gap = float(gaps[order][int(np.searchsorted(heaped, _SHARE_OF_AREA * heaped[-1]))])
    least = float(gaps[order][0])
    place = _point(where[order][0])
    overlaps = least < min(wanted, 0.0) - BEARING_TOLERANCE_MM
    verdict: Verdict = "pass"
    advice = ""
    if gap < wanted - BEARING_TOLERANCE_MM or overlaps:
        verdict = "fail"
        advice = f"the bearing is tighter than drawn (overlap {max(0.0, -least):.2f} mm): look at what was cut there"
    elif gap > wanted + BEARING_TOLERANCE_MM:
        verdict, advice = "caution", "the bearing is looser than drawn: the joint will not hold as computed"
    return gap, [Finding("fit.bearing_gap", meeting.subject, verdict, gap, wanted, "mm", place, advice)]


def _facing(a: PartBody, marks_a: Surface, b: PartBody, marks_b: Surface) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Area, signed gap and place of each bearing piece of ``a`` whose nearest bearing face of ``b`` looks back at it."""
    mine, theirs = marks_a.marks & BEARING != 0, marks_b.marks & BEARING != 0
    if not mine.any() or not theirs.any():
        return np.zeros(0), np.zeros(0), np.zeros((0, 3))
    index = np.flatnonzero(mine)
    faces = Bvh(b.pieces.subset(theirs))
    points = a.middles[index]
    distance, on, triangle = faces.closest(points, _FACING_MM)
    near = np.isfinite(distance)
    index, points, distance, on, triangle = index[near], points[near], distance[near], on[near], triangle[near]
    normals, others = a.pieces.normals[index], faces.mesh.normals[triangle]
    # Face to face, and not past an edge: the way across runs along the normal.
    square = np.abs(np.einsum("ij,ij->i", normals, on - points)) >= 0.9 * distance - 1e-6
    opposed = square & (np.einsum("ij,ij->i", normals, others) < -0.7)
    index, points, distance, on, normals = (v[opposed] for v in (index, points, distance, on, normals))
    # Overlapping where the other face lies behind this one: both look at each other through each other's solid.
    overlap = np.einsum("ij,ij->i", on - points, normals) < 0.0
    return a.pieces.areas[index], np.where(overlap, -distance, distance), points


def _skin_and_free(meeting: Meeting, skin: Bvh, kerf_mm: float) -> tuple[float | None, list[Finding]]:
    kerf = meeting.joint.kerf_mm or kerf_mm
    moved = _with_skin(meeting.moves, meeting.moved, meeting.stays, skin, 2.0 * kerf)
    still = _with_skin(meeting.stays, meeting.still, meeting.moves, skin, 2.0 * kerf)
    out = []
    gap = smallest_gap(moved, still, rule=Rule(skip_both=BEARING, need_both=SKIN), limit_mm=4.0 * kerf)
    measured = None
    if np.isfinite(gap.distance_mm):
        measured = gap.distance_mm
        enough, half = measured >= kerf - FACETS_MM, measured >= kerf / 2
        verdict: Verdict = "pass" if enough else ("caution" if half else "fail")
        advice = "" if enough else "the two skins are nearer than the kerf: coats will stick here; widen the kerf"
        out.append(Finding("fit.skin_gap", meeting.subject, verdict, measured, kerf, "mm", gap.middle, advice))
    free = smallest_gap(moved, still, rule=Rule(skip_both=BEARING), limit_mm=4.0 * kerf)
    if np.isfinite(free.distance_mm):
        clear, apart = free.distance_mm >= FREE_MM - 1e-6, free.distance_mm > FACETS_MM
        verdict = "pass" if clear else ("caution" if apart else "fail")
        advice = ""
        if not clear:
            advice = "faces beside the bearing come too near: they will print as one; more clearance or a smaller size"
        out.append(
            Finding("fit.free_gap", meeting.subject, verdict, free.distance_mm, FREE_MM, "mm", free.middle, advice)
        )
    return measured, out


def _with_skin(body: PartBody, surface: Surface, other: PartBody, skin: Bvh, within_mm: float) -> Surface:
    """The surface with those pieces marked that lie on the sculpt's skin, looked for near the other part alone."""
    points = body.middles
    radius = np.linalg.norm(body.pieces.corners - points[:, None], axis=2).max(axis=1)
    low, high = other.pieces.bounds
    reach = (radius + within_mm)[:, None]
    index = np.flatnonzero(np.all((points >= low - reach) & (points <= high + reach), axis=1))
    if len(index):
        # Small pieces first with a short look, so that a few long ones do not make the look long for all.
        short = radius[index] <= within_mm
        for some, look in ((index[short], 2.0 * within_mm), (index[~short], float(reach.max()))):
            far = other.bvh.closest(points[some], look)[0] > reach[some, 0]
            index = np.setdiff1d(index, some[far], assume_unique=True)
    corners = body.pieces.corners[index]
    on = np.ones(len(index), dtype=bool)
    for probe in (points[index], corners[:, 0], corners[:, 1], corners[:, 2]):
        todo = np.flatnonzero(on)
        on[todo] = np.isfinite(skin.closest(probe[todo], _ON_SKIN_MM)[0])
    marks = surface.marks.copy()
    marks[index[on]] |= SKIN
    return surface.marked(marks)


def _insertion(meeting: Meeting) -> list[Finding]:
    joint = meeting.joint
    if meeting.axle >= len(joint.insertion) or joint.travel_mm <= 0.0:
        return []
    away = adv.Shift(-np.asarray(joint.insertion[meeting.axle], dtype=np.float64))
    stop = adv.advance(
        meeting.moved,
        meeting.still,
        away,
        joint.travel_mm,
        clearance_mm=_RUB_MM,
        smallest_step=0.005,
        rule=Rule(skip_both=FRINGE),
    )
    verdict: Verdict = "fail" if stop.blocked else "pass"
    place = _point(stop.place) if stop.blocked else None
    advice = ""
    if stop.blocked:
        advice = (
            f"{meeting.moves.name} cannot be pushed home: {joint.travel_mm - stop.reached:.1f} mm of the way it runs "
            f"through {meeting.stays.name} outside the lip; open the cup or the slot there"
        )
    return [
        Finding("fit.insertion", meeting.subject, verdict, float(stop.reached), joint.travel_mm, "mm", place, advice)
    ]


def _retention(meeting: Meeting) -> tuple[float | None, list[Finding]]:
    joint = meeting.joint
    if meeting.axle >= len(joint.insertion) or joint.travel_mm <= 0.0 or not joint.bearing:
        return None, []
    depth, place = _deepest(meeting, np.asarray(joint.insertion[meeting.axle], dtype=np.float64), joint.travel_mm)
    squeeze = max(0.0, -(joint.clearance_mm or 0.0))
    target = joint.undercut_mm
    if joint.detents:
        # Its bumps are passed on the way in as they are between two rests; what an ear gives is measured there.
        squeeze = joint.detents[meeting.axle].give_mm
    if target <= 0.0:
        passes = depth <= squeeze + BEARING_TOLERANCE_MM
        advice = "" if passes else "this joint has no lip, yet its hardware runs through the other side on the way in"
        verdict: Verdict = "pass" if passes else "fail"
        return depth, [Finding("fit.retention", meeting.subject, verdict, depth, squeeze, "mm", place, advice)]
    low, high = RETENTION_SHARE[0] * target, RETENTION_SHARE[1] * target + FACETS_MM
    verdict, advice = "pass", ""
    if depth < low:
        verdict = "fail" if depth < 0.3 * target else "caution"
        advice = "the lip holds less than computed: the joint may fall apart; a larger undercut or a tighter fit"
    elif depth > high:
        verdict = "caution" if depth < 2.0 * target else "fail"
        advice = "the lip must give way further than computed: it may crack; a smaller undercut or a wider mouth"
    return depth, [Finding("fit.retention", meeting.subject, verdict, depth, target, "mm", place, advice)]


def _deepest(meeting: Meeting, insertion: FloatArray, travel: float) -> tuple[float, Point | None]:
    """How far the moving part's hardware overlaps the staying part across its way in, at the worst point of the way.

    Corners of those of its pieces that face across the way, at steps of 0.1 mm (more where the way
    is longer than 6 mm): from each that lies inside the staying
    part, straight back across the way to where it would be free. Pieces are 0.35 mm at most, so that a lip's edge is
    never missed by more than 0.18 mm along the way (0.008 mm of overlap on a ball of 4 mm across).
    """
    body = meeting.moves
    across = body.pieces.normals - np.outer(body.pieces.normals @ insertion, insertion)
    width = np.linalg.norm(across, axis=1)
    index = np.flatnonzero((meeting.moved.marks & FRINGE != 0) & (width > 0.9))
    if not len(index):
        return 0.0, None
    points = body.pieces.corners[index].reshape(-1, 3)
    inward = np.repeat(-across[index] / width[index, None], 3, axis=0)
    _, first = np.unique(np.round(points, 6), axis=0, return_index=True)
    points, inward = points[first], inward[first]
    lip = meeting.stays.pieces.subset(_near_way(meeting, insertion, travel))
    if lip.triangle_count == 0:
        return 0.0, None
    near = Bvh(lip)
    limit = max(3.0 * meeting.joint.undercut_mm, 0.3)
    best, place = 0.0, None
    step = max(_SWEEP_STEP_MM, travel / 60.0)
    for s in np.arange(0.0, travel + step, step):
        there = points - insertion * s
        distance, on, face = near.closest(there, limit)
        # Behind the nearest face is a quick guess; the winding number has the last word.
        maybe = np.flatnonzero(np.isfinite(distance))
        behind = np.einsum("ij,ij->i", there[maybe] - on[maybe], lip.normals[face[maybe]]) < 0.0
        maybe = maybe[behind]
        if not len(maybe):
            continue
        back, out = near.first_hits(there[maybe], inward[maybe])
        # Out through a face square to the way, as the other side's lip is: not along the wall of a slit.
        grazing = np.einsum("ij,ij->i", lip.normals[out], inward[maybe]) < 0.7
        back[grazing | (out < 0)] = 0.0
        for i in np.argsort(-back, kind="stable"):
            if not best < back[i] <= limit:
                continue
            if meeting.stays.solid.inside(there[maybe[i]][None])[0]:
                best, place = float(back[i]), _point(there[maybe[i]])
                break
    return best, place


def _near_way(meeting: Meeting, insertion: FloatArray, travel: float) -> BoolArray:
    """Pieces of the staying part within reach of the moving hardware on its way."""
    zone = meeting.moved.marks & FRINGE != 0
    corners = meeting.moves.pieces.corners[zone].reshape(-1, 3)
    swept = np.concatenate([corners, corners - insertion * travel])
    low, high = swept.min(axis=0) - 1.0, swept.max(axis=0) + 1.0
    middles = meeting.stays.middles
    return np.asarray(np.all((middles >= low) & (middles <= high), axis=1))


def _least(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return min(known) if known else None


def _point(p: FloatArray) -> Point:
    return (float(p[0]), float(p[1]), float(p[2]))
