"""How far does a joint move as printed, and how sure is that?

A range of motion (move.py) keeps half a kerf for coats and for the printer. Here the same ends are followed until the *printed*
faces touch, bare of paint: drawn faces that will grow together by g touch where their drawn gap is g. By how much faces
grow is what the printer's coupons say of shafts and holes: an outer face by half the shaft error, the face of a hollow by
half the hole error, inwards (printed minus drawn diameters). At a stop on the sculpt's skin two outer faces meet, at a cut
face or at hardware an outer face and a hollow (common practice, no source: a stop is no round hole).

The doubt is one of normal errors (90 %): both faces' own, the error of lengths (half of it a side), and the play that a bearing
with clearance leaves, taken as even between its ends. In degrees it is that times what a millimetre is worth at the stop,
measured between the two ends. Layer steps and first layers are not in it: print.rubs looks at those (print_fit.py).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion
from condyle.geometry import advance as adv
from condyle.geometry.bvh import Bvh
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.move import BEYOND_DEG, STEP_DEG, End, Turning, sides_about
from condyle.proof.move_case import Case, able
from condyle.workshop.bench import Workshop
from condyle.workshop.fits import Z90

_LEAST_MM = 0.005
_APART_MM = 0.03
_SLIDES = 0.9  # of the gap at rest: what is asked to be nearer than that is there from the start
_LEAST_SLOPE = 0.5  # degrees a millimetre, so that a doubt is never told as none


@dataclass(frozen=True)
class PrintedEnd:
    """Where the printed faces touch: degrees from the sculpt's pose, and the 90 % doubt of that either way; the doubt is None
    where nothing stops the joint within the range that was searched.

    growth_mm  by how much the two faces grow together, and growth_sd_mm how sure that is, play included
    """

    deg: float
    doubt_deg: float | None
    growth_mm: float = 0.0
    growth_sd_mm: float = 0.0


@dataclass(frozen=True)
class Growth:
    """Of two faces that meet: how far they grow together, mm, and its standard deviation."""

    mm: float
    sd_mm: float


def growth(moving: Workshop, staying: Workshop, *, hollow: bool, clearance_mm: float | None) -> Growth:
    """The growth of two printed faces; ``hollow`` where one of them is the inside of something.

    clearance_mm  of the joint's bearing, as drawn, per side
    """
    a, b = moving.printer, staying.printer
    mine, other = a.shaft_error_mm, b.hole_error_mm if hollow else b.shaft_error_mm
    inwards = -1.0 if hollow else 1.0
    mean = 0.5 * (mine.value + inwards * other.value)
    lost = 0.5 * (a.shaft_error_mm.value - b.hole_error_mm.value)
    play = max(0.0, (clearance_mm or 0.0) - lost)
    # The value is itself one standard deviation of a length; each face has half of it.
    lengths = 0.5 * math.hypot(a.xy_error_mm.value, b.xy_error_mm.value)
    sd = math.sqrt(0.25 * (mine.sd**2 + other.sd**2) + lengths**2 + play**2 / 3.0)
    return Growth(mean, sd)


def printed_ranges(
    kit: Kit,
    bodies: Mapping[str, PartBody],
    meetings: Sequence[Meeting],
    skin: Bvh,
    workshop: Workshop,
    reached: Mapping[str, Mapping[Motion, tuple[End, End]]],
    *,
    workers: int = 2,
) -> dict[str, dict[Motion, tuple[PrintedEnd, PrintedEnd]]]:
    """Both ends of every motion as printed, by joint. ``reached`` holds the ends that were found as geometry."""
    shops = {p.name: p.workshop or workshop for p in kit.parts}
    asked = [(j, m) for j, m in able(kit, bodies, meetings) if j.name in reached]

    def one(joint: BuiltJoint, own: list[Meeting]) -> dict[Motion, tuple[PrintedEnd, PrintedEnd]]:
        case = Case(kit, joint, bodies, own, skin, workshop.kerf_mm)
        out: dict[Motion, tuple[PrintedEnd, PrintedEnd]] = {}
        for motion, (low, high) in reached[joint.name].items():
            turnings: list[Turning] = []
            if low.staying is not None or high.staying is not None:
                turnings = sides_about(case, np.asarray(joint.seated.axes[motion], dtype=np.float64))
            out[motion] = (_end(case, turnings, shops, low, -1.0), _end(case, turnings, shops, high, 1.0))
        return out

    with ThreadPoolExecutor(workers) as pool:
        found = list(pool.map(lambda a: one(*a), asked))
    return {joint.name: ends for (joint, _), ends in zip(asked, found, strict=True)}


def _end(case: Case, turnings: Sequence[Turning], shops: Mapping[str, Workshop], end: End, sense: float) -> PrintedEnd:
    if end.staying is None or end.moving is None:
        return PrintedEnd(end.deg, None)
    grown = growth(
        shops[end.moving], shops[end.staying], hollow=end.against != "sculpt", clearance_mm=case.joint.clearance_mm
    )
    kept = next(t.pair.keep_mm for t in turnings if (t.pair.moving, t.pair.staying) == (end.moving, end.staying))
    first = max(grown.mm, _LEAST_MM)
    # Far enough from the gap that the range keeps to tell what a millimetre is worth there.
    second = first if _APART_MM < abs(kept - first) < kept else max(_LEAST_MM, 0.5 * kept)
    at = _touch(turnings, end, sense, first, kept)
    other = at if second == first else _touch(turnings, end, sense, second, kept)
    slope = max(abs(other - end.deg) / abs(kept - second), _LEAST_SLOPE)
    if grown.mm < _LEAST_MM:
        at += sense * slope * (first - grown.mm)
    return PrintedEnd(at, Z90 * slope * grown.sd_mm, grown.mm, grown.sd_mm)


def _touch(turnings: Sequence[Turning], end: End, sense: float, gap_mm: float, kept_mm: float) -> float:
    """Degrees at which a pair comes within ``gap_mm``: on from the end that was found, or up to it where more is asked than
    the ``kept_mm`` of that end.

    Pairs that lie nearer than that at rest keep what they kept before: they slide, and grow tight everywhere alike.
    """
    further = gap_mm < kept_mm
    limit = abs(end.deg) + 3.0 * BEYOND_DEG if further else abs(end.deg)
    start = abs(end.deg) if further else 0.0
    best = min(limit, 180.0)
    for turning in turnings:
        pair = turning.pair
        if pair.touching_at is not None:
            return 0.0
        stop = adv.advance(
            pair.moved, pair.still, adv.Onward(turning.motion, sense * start), sense * max(best - start, 0.0),
            clearance_mm=gap_mm if gap_mm < _SLIDES * pair.gap_mm else min(gap_mm, pair.keep_mm),
            smallest_step=STEP_DEG, rule=pair.rule, known=turning.known,
        )  # fmt: skip
        if stop.blocked:
            best = start + abs(stop.reached)
    return sense * best
