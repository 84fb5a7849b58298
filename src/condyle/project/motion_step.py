"""The step that measures a kit's motion beyond each axis alone, and details/motion.json."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from condyle.figure.kit import BuiltJoint, JointRelief, Kit
from condyle.figure.skeleton import Motion
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.watch import Watch
from condyle.proof import JointProof, Proof
from condyle.proof.motion import MotionProof, prove_motion
from condyle.proof.move import End
from condyle.proof.move_coupled import Coupled
from condyle.proof.move_gaps import Opening
from condyle.proof.move_map import ReachMap, Sector
from condyle.proof.move_printed import PrintedEnd
from condyle.proof.move_single import SingleHinge
from condyle.workshop.bench import Workshop

_DIGITS = 3


def prove_kit_motion(
    kit: Kit, sculpt: Solid, workshop: Workshop, proof: Proof, inputs: Sequence[bytes], cache: Cache, watch: Watch
) -> MotionProof:
    """The step itself, kept under all that goes into it."""
    ends = {name: j.ends for name, j in proof.joints.items() if j.ends}
    with watch.step("motion") as stored:
        found, stored.value = cache.fetch(
            "motion", key_of("motion", *inputs), lambda: prove_motion(kit, sculpt, workshop, ends)
        )
    return found


def motion_document(kit: Kit, proof: Proof, motion: MotionProof) -> dict[str, Any]:
    """details/motion.json as values: degrees from the sculpt's own pose; add ``rest`` to count from the human zero."""
    reliefs = {r.joint: r for r in kit.reliefs}
    joints = [_joint(j, proof.joints[j.name], motion, reliefs.get(j.name)) for j in kit.joints if j.built]
    return {"schema": 1, "joints": joints}


def motion_files(document: Mapping[str, Any]) -> dict[str, bytes]:
    """details/motion.json."""
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    return {"details/motion.json": text.encode()}


def _joint(joint: BuiltJoint, proof: JointProof, motion: MotionProof, relief: JointRelief | None) -> dict[str, Any]:
    name, seated = joint.name, joint.seated
    printed = motion.printed.get(name, {})
    return {
        "name": name,
        "kind": seated.spec.kind,
        "centre": _row(seated.frame.origin.tolist()),
        "axes": {m: _row(axis) for m, axis in seated.axes.items()},
        "rest": {m: _number(seated.rest.get(m, 0.0)) for m in seated.axes},
        "ranges": {m: _range(proof, m, printed.get(m)) for m in seated.axes if m in proof.ends},
        "map": _map(motion.maps.get(name)),
        "coupled": next((_coupled(c) for c in motion.coupled if c.joint == name), None),
        "openings": [_opening(o) for o in motion.openings.get(name, ())],
        "single_hinge": _single(motion.singles.get(name)),
        "relief": None if relief is None else _relief(relief),
    }


def _range(proof: JointProof, motion: Motion, printed: tuple[PrintedEnd, PrintedEnd] | None) -> dict[str, Any]:
    ends = proof.ends[motion]
    return {
        "wanted": _row(proof.wanted[motion]) if motion in proof.wanted else None,
        "reached": [_number(e.deg) for e in ends],
        "printed": None if printed is None else [_printed(e) for e in printed],
        "stops": [_stop(e) for e in ends],
    }


def _printed(end: PrintedEnd) -> dict[str, Any]:
    known = end.doubt_deg is not None
    return {"deg": _number(end.deg), "doubt_deg": _number(end.doubt_deg or 0.0) if known else None}


def _stop(end: End | Sector) -> dict[str, Any] | None:
    if end.staying is None:
        return None
    place = None if end.place is None else _row(end.place)
    return {"moving": end.moving, "staying": end.staying, "kind": end.against, "place": place}


def _map(found: ReachMap | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "sectors": [
            {
                "from": _number(s.low_deg), "to": _number(s.high_deg), "reach": _number(s.reach_deg),
                "searched": _number(limit), "stop": _stop(s),
            }
            for s, limit in zip(found.sectors, found.limits_deg, strict=True)
        ],
        "twists": [
            {"from": _number(t.low_deg), "to": _number(t.high_deg), "swing": _row((t.inner_deg, t.outer_deg)),
             "twist": _row(t.twist_deg)}
            for t in found.twists
        ],
    }  # fmt: skip


def _coupled(found: Coupled) -> dict[str, Any]:
    return {
        "swivel": found.swivel,
        "rows": [
            {
                "twist": _row(row.twist_deg),
                "ranges": {m: _row(span) for m, span in row.reached.items()},
                "stops": {m: [None if s is None else list(s) for s in both] for m, both in row.stopped.items()},
            }
            for row in found.rows
        ],
    }


def _opening(found: Opening) -> dict[str, Any]:
    return {
        "flex_from_zero": _number(found.flex_deg),
        "seen_mm2": _number(found.seen_mm2),
        "widest_mm": _number(found.widest_mm),
        "place": None if found.place is None else _row(found.place),
    }


def _single(found: SingleHinge | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "size_mm": _number(found.size_mm),
        "reached": _row(found.reached_deg),
        "openings": [_opening(o) for o in found.openings],
    }


def _relief(found: JointRelief) -> dict[str, Any]:
    gained = found.gained_deg
    return {
        "taken_mm3": _number(found.taken_mm3),
        "handed_mm3": _number(found.handed_mm3),
        "skin_mm2": _number(found.skin_mm2),
        "gained_deg": _number(gained),
        "deg_per_mm3": _number(gained / found.taken_mm3, 5) if found.taken_mm3 > 0.0 else None,
        "deg_per_mm2": _number(gained / found.skin_mm2, 5) if found.skin_mm2 > 0.0 else None,
        "ends": {
            end: {"before": _number(found.before[end]), "after": _number(after), "asked": _number(found.asked[end])}
            for end, after in found.after.items()
        },
        "curve": {end: [_row(point) for point in points] for end, points in found.curve.items()},
    }


def _row(values: Sequence[float]) -> list[float]:
    return [_number(v) for v in values]


def _number(value: float, digits: int = _DIGITS) -> float:
    return round(float(value), digits) + 0.0
