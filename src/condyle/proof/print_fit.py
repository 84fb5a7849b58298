"""Do the joints still fit in the shape that the printer leaves?

Each part is taken as printed in the direction in which it lies (build/printed.py). At points in the middle of every fit the
distances to both printed surfaces are added, signed: that is the printed gap there, with layer steps, spread first layers
and holes that came out small, each part in its own direction.

What is right for a joint is known as a *drawn* clearance, tried on coupons, and the printer eats a share of it that the coupon
already had: half of the shaft's error less half of the hole's. So the printed gap plus that share is compared with the range
in which the drawn clearance feels right. A joint that lies so that it loses more than the coupon did will *fuse* (jam), one
that loses less will *rattle*.

print.fuses    tighter than the range passes only within its own sure range; by more than one standard deviation it fails
print.rattles  looser than the range: a caution; by more than two standard deviations it fails
print.rubs     printed surfaces beside the bearing, up to 0.8 mm further from the joint's centre, that touch: a caution
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.build.layers import Layers
from condyle.build.printed import Printed, Zone, as_printed
from condyle.build.process import Rules
from condyle.errors import UsageError
from condyle.finding import Finding, Point, Verdict
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.proof.bodies import BEARING, FRINGE, Meeting, PartBody
from condyle.workshop.fits import Fits

_FACING_MM = 0.5
_MARGIN_MM = 0.8
_MOST = 500
_LOOK_MM = 0.5
_SAME_FIT_MM = 0.04
_RUB_SHARE = 0.01


@dataclass(frozen=True)
class PrintedFit:
    """One pair of bearing faces as printed, mm.

    gap_mm      mean printed gap over the faces, signed; ``tight_mm`` the gap that a twentieth of the area is below
    drawn_mm    mean gap as drawn, over the same points
    low_mm, high_mm  the range of printed gaps that feels right; None where no fit of this family is known
    sd_mm       how sure the printed gap is, from the spread of the printer's errors
    rub_mm      the least printed gap beside the bearing, None where nothing is near
    parts       the moving and the staying one
    """

    subject: str
    gap_mm: float
    tight_mm: float
    drawn_mm: float
    low_mm: float | None
    high_mm: float | None
    sd_mm: float
    rub_mm: float | None
    place: Point
    parts: tuple[str, str]


def printed_fits(
    meetings: Sequence[Meeting],
    layers: Mapping[str, tuple[Layers, FloatArray]],
    rules: Mapping[str, Rules],
    fits: Fits,
    planned: Mapping[str, Fits] | None = None,
    *,
    workers: int = 2,
) -> tuple[dict[str, Printed], list[PrintedFit], list[Finding]]:
    """Parts as printed, the printed fits, and findings.

    ``layers`` holds each part's layers and its (4, 4) transform, ``rules`` those of the printer that prints it. ``planned``
    names joints that follow other fits than ``fits``: those measured under the conditions in which they will be printed.
    """

    asked = [m for m in meetings if m.moves.name in layers and m.stays.name in layers]
    with ThreadPoolExecutor(workers) as pool:
        looks = [look for look in pool.map(_look, asked) if look is not None]

    def one(name: str) -> Printed:
        own, transform = layers[name]
        return as_printed(own, transform, rules[name], _zones(name, looks, transform))

    with ThreadPoolExecutor(workers) as pool:
        printed = dict(zip(layers, pool.map(one, layers), strict=True))
    measured: list[PrintedFit] = []
    findings: list[Finding] = []
    for look in looks:
        meeting = look.meeting
        own = (planned or {}).get(meeting.joint.name, fits)
        measured.append(_measure(look, printed, (rules[meeting.moves.name], rules[meeting.stays.name]), own))
        findings += _judge(measured[-1])
    return printed, measured, findings


@dataclass(frozen=True, eq=False)
class _Look:
    """Where a meeting is looked at: points between its bearing faces, the area that each stands for and the drawn gap there;
    points between the faces beside, and their areas."""

    meeting: Meeting
    middles: FloatArray
    areas: FloatArray
    drawn: FloatArray
    beside: FloatArray
    weight: FloatArray


def _zones(name: str, looks: Sequence[_Look], transform: FloatArray) -> list[Zone]:
    """Balls in a part's build position that hold all points looked at, and all that lies as near to them as is looked."""
    out: list[Zone] = []
    for look in looks:
        if name in (look.meeting.moves.name, look.meeting.stays.name):
            points = np.concatenate([look.middles, look.beside])
            radius = float(np.linalg.norm(points - look.meeting.centre, axis=1).max()) + _LOOK_MM
            x, y, z = (float(v) for v in look.meeting.centre @ transform[:3, :3].T + transform[:3, 3])
            out.append(((x, y, z), radius))
    return out


def _radius(meeting: Meeting) -> float:
    """Of a ball about the axle's centre that holds the bearing faces there, and a little beside them."""
    body, marks = meeting.moves, meeting.moved.marks
    points = body.middles[marks & BEARING != 0]
    if not len(points):
        return 0.75 * (meeting.joint.size_mm or 4.0)
    return float(np.linalg.norm(points - meeting.centre, axis=1).max()) + _MARGIN_MM


def _look(meeting: Meeting) -> _Look | None:
    """None where no faces of the bearing look at each other."""
    mine, theirs = meeting.moved.marks & BEARING != 0, meeting.still.marks & BEARING != 0
    middles, areas, drawn = _between(meeting.moves, mine, meeting.stays, theirs, _FACING_MM)
    if not len(middles):
        return None
    wanted = meeting.joint.clearance_mm
    if wanted is not None:
        # Beside the faces that were drawn to fit, a bearing has some that stand clear on purpose.
        close = np.abs(drawn - wanted) <= _SAME_FIT_MM
        if areas[close].sum() > 0.1 * areas.sum():
            middles, areas, drawn = middles[close], areas[close], drawn[close]
    around, away = meeting.moved.marks & FRINGE == 0, meeting.still.marks & FRINGE == 0
    around &= np.linalg.norm(meeting.moves.middles - meeting.centre, axis=1) < _radius(meeting)
    beside, weight, _ = _between(meeting.moves, around, meeting.stays, away, 1.5 * (meeting.joint.kerf_mm or 0.3))
    return _Look(meeting, middles, areas, drawn, beside, weight)


def _measure(look: _Look, printed: Mapping[str, Printed], rules: tuple[Rules, Rules], fits: Fits) -> PrintedFit:
    meeting, middles, areas, drawn, beside = look.meeting, look.middles, look.areas, look.drawn, look.beside
    a, b = printed[meeting.moves.name], printed[meeting.stays.name]
    gap = a.signed_distance(middles, _LOOK_MM) + b.signed_distance(middles, _LOOK_MM)
    share = areas / areas.sum()
    mean, drawn_mean = float(gap @ share), float(drawn @ share)
    order = np.argsort(gap, kind="stable")
    tight = float(gap[order][min(int(np.searchsorted(np.cumsum(share[order]), 0.05)), len(gap) - 1)])
    worst = middles[order[0]]
    low = high = None
    joint = meeting.joint
    if joint.size_mm is not None and joint.clearance_mm is not None:
        try:
            fit = fits.get(joint.seated.spec.kind, joint.size_mm)
        except UsageError:
            fit = None
        if fit is not None:
            eaten = 0.25 * sum(r.shaft_error_mm - r.hole_error_mm for r in rules)
            low = joint.clearance_mm + fit.low_mm - fit.clearance_mm - eaten
            high = joint.clearance_mm + fit.high_mm - fit.clearance_mm - eaten
    rub = None
    if len(beside):
        free = a.signed_distance(beside, _LOOK_MM) + b.signed_distance(beside, _LOOK_MM)
        by = np.argsort(free, kind="stable")
        heap = np.cumsum(look.weight[by]) / look.weight.sum()
        rub = float(free[by][min(int(np.searchsorted(heap, _RUB_SHARE)), len(by) - 1)])
    return PrintedFit(
        subject=meeting.subject,
        gap_mm=mean,
        tight_mm=tight,
        drawn_mm=drawn_mean,
        low_mm=low,
        high_mm=high,
        sd_mm=math.sqrt(sum(r.hole_sd_mm**2 + r.shaft_sd_mm**2 for r in rules) / 8.0),
        rub_mm=rub,
        place=(float(worst[0]), float(worst[1]), float(worst[2])),
        parts=(meeting.moves.name, meeting.stays.name),
    )


def _between(
    a: PartBody, mine: BoolArray, b: PartBody, theirs: BoolArray, within_mm: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points half way between pieces of ``a`` and the faces of ``b`` that look back at them, the area that each stands for,
    and the drawn gap, signed. At most 500 points, taken evenly."""
    index = np.flatnonzero(mine)
    nothing = np.zeros((0, 3)), np.zeros(0), np.zeros(0)
    if not len(index) or not theirs.any():
        return nothing
    low, high = b.pieces.bounds
    near = np.all((a.middles[index] >= low - within_mm) & (a.middles[index] <= high + within_mm), axis=1)
    index = index[near]
    faces = Bvh(b.pieces.subset(theirs))
    points = a.middles[index]
    distance, on, triangle = faces.closest(points, within_mm)
    seen = np.isfinite(distance)
    index, points, distance, on, triangle = index[seen], points[seen], distance[seen], on[seen], triangle[seen]
    normals, others = a.pieces.normals[index], faces.mesh.normals[triangle]
    square = np.abs(np.einsum("ij,ij->i", normals, on - points)) >= 0.9 * distance - 1e-6
    facing = square & (np.einsum("ij,ij->i", normals, others) < -0.7)
    keep = np.flatnonzero(facing)
    keep = keep[:: max(1, math.ceil(len(keep) / _MOST))]
    if not len(keep):
        return nothing
    behind = np.einsum("ij,ij->i", on[keep] - points[keep], normals[keep]) < 0.0
    drawn = np.where(behind, -distance[keep], distance[keep])
    return 0.5 * (points[keep] + on[keep]), a.pieces.areas[index[keep]], drawn


def _judge(fit: PrintedFit) -> list[Finding]:
    out = []
    if fit.low_mm is not None and fit.high_mm is not None:
        check, target, advice = "print.fuses", fit.low_mm, ""
        verdict: Verdict = "pass"
        if fit.gap_mm < fit.low_mm:
            verdict = "fail" if fit.gap_mm < fit.low_mm - fit.sd_mm else "caution"
            advice = (
                f"as printed the gap is {fit.gap_mm:.2f} ± {fit.sd_mm:.2f} mm and the joint will jam or fuse: "
                "lay its parts so that the bearing stands upright and off the first layer, or draw it looser"
            )
        elif fit.gap_mm > fit.high_mm:
            check, target = "print.rattles", fit.high_mm
            verdict = "fail" if fit.gap_mm > fit.high_mm + 2.0 * fit.sd_mm else "caution"
            advice = f"as printed the gap is {fit.gap_mm:.2f} ± {fit.sd_mm:.2f} mm and the joint will rattle: draw it tighter"
        out.append(Finding(check, fit.subject, verdict, fit.gap_mm, target, "mm", fit.place, advice))
    if fit.rub_mm is not None and fit.rub_mm <= 0.0:
        advice = "as printed, faces beside the bearing touch: a wider kerf, or less spread of the first layer"
        out.append(Finding("print.rubs", fit.subject, "caution", fit.rub_mm, 0.0, "mm", fit.place, advice))
    return out
