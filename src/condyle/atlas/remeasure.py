"""What is measured anew of parts that were cut again, as the page shows it: fit and walls first, then motion."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from condyle.atlas.outfit import Fitted
from condyle.figure.kit import BuiltJoint, Part
from condyle.figure.skeleton import Motion
from condyle.finding import Finding
from condyle.proof.bodies import Meeting, make_bodies, make_meetings
from condyle.proof.fit import fits
from condyle.proof.move import Reach, findings_of, ranges, wanted_from_pose
from condyle.proof.wall import walls

if TYPE_CHECKING:
    from condyle.atlas.live import Live


def measures(
    live: Live, joint: BuiltJoint, fitted: Fitted, told: dict[str, Any], start: float
) -> Iterator[dict[str, Any]]:
    """What is told of a moved joint, first with fit and walls, then with its motion, last with that of its neighbours.

    ``live`` has the kit as it is now; the bodies of parts that are new are made here.
    """
    shop, kit = live.workshop, live.kit
    fresh = set(fitted.anew)
    at = tuple(j for j in kit.joints if any(a.moves in fresh or a.stays in fresh for a in j.axles))
    near = replace(kit, parts=tuple(p for p in kit.parts if p.name in fresh), joints=at)
    bodies = make_bodies(near)
    live.bodies = {p.name: bodies.get(p.name) or live.bodies[p.name] for p in kit.parts}
    own = replace(near, joints=tuple(j for j in at if j.name == joint.name or j.name in fitted.also))
    meetings = make_meetings(own, live.bodies)
    with ThreadPoolExecutor(1) as beside:
        moves = beside.submit(_reaches, live, meetings, {joint.name})
        _, found = fits(own, meetings, live.skin, shop.kerf_mm)
        thin, on_walls = walls(own, bodies, shop.printer.line_mm.value)
        for part in told["parts"]:
            wall = thin.get(part["name"])
            part["min_wall_mm"] = wall.thickness_mm if wall else None
        told = _more(told, "fit", start, [*found, *on_walls])
        told["measured"] = ["fit", "wall"]
        yield told
        reach = moves.result()
    told = _more(told, "motion", start, findings_of(reach))
    told["joint"] = {**told["joint"], **_ends(reach.get(joint.name, {}))}
    told["measured"] = ["fit", "wall", "move"]
    yield told


def _more(told: dict[str, Any], what: str, start: float, found: list[Finding]) -> dict[str, Any]:
    """The same with more findings, and when they were there."""
    seconds = {**told["seconds"], what: time.perf_counter() - start}
    return {**told, "findings": told["findings"] + [finding_told(f) for f in found], "seconds": seconds}


def _ends(motions: dict[Motion, Reach]) -> dict[str, Any]:
    return {
        "reached": {m: list(r.reached) for m, r in motions.items()},
        "stopped_by": {m: "; ".join(e.words for e in (r.low, r.high) if e.words) or None for m, r in motions.items()},
    }


def _reaches(live: Live, meetings: list[Meeting], only: set[str]) -> dict[str, dict[Motion, Reach]]:
    return ranges(live.kit, live.bodies, meetings, live.skin, live.workshop.kerf_mm, only=only)


def told_of_cut(joint: BuiltJoint, parts: list[Part], findings: list[Finding]) -> dict[str, Any]:
    seated = joint.seated
    return {
        "joint": {
            "name": joint.name,
            "kind": seated.spec.kind,
            "centre": [float(v) for v in seated.frame.origin],
            "size": joint.size_mm,
            "built": joint.built,
            "axes": {m: list(a) for m, a in seated.axes.items()},
            "wanted": {m: list(r) for m, r in wanted_from_pose(seated).items()},
            "reached": {},
            "stopped_by": {},
            "hold_nmm": joint.hold_nmm,
            "load_nmm": None,
        },
        "parts": [
            {"name": p.name, "bone": p.bone, "volume_mm3": p.solid.volume_mm3, "min_wall_mm": None}
            for p in parts
        ],
        "findings": [finding_told(f) for f in findings],
        "gone": [],
        "measured": [],
    }  # fmt: skip


def finding_told(f: Finding) -> dict[str, Any]:
    measured = None if f.measured is None or not np.isfinite(f.measured) else float(f.measured)
    return {
        "check": f.check, "subject": f.subject, "verdict": f.verdict, "measured": measured,
        "target": None if f.target is None else float(f.target), "unit": f.unit,
        "place": None if f.place is None else list(f.place), "advice": f.advice,
    }  # fmt: skip
