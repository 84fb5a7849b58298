"""Joints: both gaps, forces, and the ranges reached beside those wanted."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from condyle.book.chapters.verdicts import amount
from condyle.book.matter import Arc, JointEntry, ReachDrawing

_DIAL_DEG = 30.0


def joint_entries(
    joints: Sequence[Mapping[str, Any]], motion: Sequence[Mapping[str, Any]] = ()
) -> tuple[JointEntry, ...]:
    """From the ``joints`` of proof.json and of details/motion.json."""
    moved = {m["name"]: m for m in motion}
    return tuple(_entry(j, moved.get(j["name"], {})) for j in joints)


def _entry(j: Mapping[str, Any], moved: Mapping[str, Any]) -> JointEntry:
    rows = [
        ("bearing clearance", amount(j["clearance_mm"], "mm a side")),
        ("gap between skins", amount(j["kerf_mm"], "mm")),
        ("holds", amount(j["hold_nmm"], "N·mm new")),
        ("after 30 days", amount(j["hold_relaxed_nmm"], "N·mm")),
        ("load on it", amount(j["load_nmm"], "N·mm")),
        ("comes off at", amount(j["retention_n"], "N")),
        ("strain going in", amount(None if j["snap_strain"] is None else 100 * j["snap_strain"], "%")),
    ]
    wanted, reached, ranges = j["wanted"] or {}, j["reached"] or {}, moved.get("ranges", {})
    arcs = tuple(
        Arc(motion, _pair(wanted.get(motion)), _pair(reached.get(motion)), _printed(ranges.get(motion)))
        for motion in ("flex", "abduct", "twist")
        if motion in wanted or motion in reached
    )
    return JointEntry(
        name=j["name"],
        kind=j["kind"].replace("_", " "),
        size=amount(j["size"], "mm"),
        between=f"{j['parent']} and {j['child']}".replace("_", " "),
        built=bool(j["built"]),
        rows=tuple(r for r in rows if r[1]) if j["built"] else (),
        arcs=arcs if j["built"] else (),
        stopped_by=_stops(j["stopped_by"]) if j["built"] else "",
        reach=_reach(moved.get("map")),
        notes=tuple(n for n in (_relief(moved.get("relief")), *_openings(moved), _coupled(moved.get("coupled"))) if n),
    )


def _printed(told: Mapping[str, Any] | None) -> str:
    """Both ends where printed faces touch; only where one has a doubt, since the others were not reached by the search."""
    ends = (told or {}).get("printed")
    if not ends or all(e["doubt_deg"] is None for e in ends):
        return ""
    return " / ".join(
        f"{e['deg']:+.0f}°" if e["doubt_deg"] is None else f"{e['deg']:+.0f} ± {max(e['doubt_deg'], 0.1):.1f}°"
        for e in ends
    )


def _reach(told: Mapping[str, Any] | None) -> ReachDrawing | None:
    if not told:
        return None
    spokes = tuple((0.5 * (s["from"] + s["to"]), s["reach"], s["searched"]) for s in told["sectors"])
    most = max(max(reach, searched) for _, reach, searched in spokes)
    return ReachDrawing(spokes, _DIAL_DEG * math.ceil(most / _DIAL_DEG))


def _relief(told: Mapping[str, Any] | None) -> str:
    """What relief gave for what it took."""
    if not told:
        return ""
    each = [
        f"{told[k]:.2g}° per {unit}" for k, unit in (("deg_per_mm3", "mm³"), ("deg_per_mm2", "mm² of skin")) if told[k]
    ]
    return (
        f"Relief took {told['taken_mm3']:.0f} mm³ and {told['skin_mm2']:.0f} mm² of skin for {told['gained_deg']:.0f}°"
        + (f": {', '.join(each)}." if each else ".")
    )


def _openings(moved: Mapping[str, Any]) -> list[str]:
    """How wide a hinge gapes where it is bent, beside the single hinge that was tried in its place."""
    rows = [
        ("Openings when bent: ", moved.get("openings") or []),
        ("A single hinge there: ", (moved.get("single_hinge") or {}).get("openings") or []),
    ]
    return [
        start + "; ".join(
            f"at {o['flex_from_zero']:.0f}° {o['widest_mm']:.1f} mm wide, {o['seen_mm2']:.0f} mm² of the inside seen" for o in told
        ) + "."
        for start, told in rows
        if told
    ]  # fmt: skip


def _coupled(told: Mapping[str, Any] | None) -> str:
    """The ball's flexion at the ends and the middle of the swivel after it."""
    if not told or not told["rows"]:
        return ""
    rows = told["rows"]
    chosen = [rows[0], rows[len(rows) // 2], rows[-1]]
    said = "; ".join(
        f"{r['twist'][0]:+.0f} to {r['twist'][1]:+.0f}°: flex {r['ranges']['flex'][0]:+.0f} to {r['ranges']['flex'][1]:+.0f}°, "
        f"abduct {r['ranges']['abduct'][0]:+.0f} to {r['ranges']['abduct'][1]:+.0f}°"
        for r in chosen
    )
    return f"With {told['swivel'].replace('_', ' ')} turned by {said}."


def _stops(by_motion: Mapping[str, str | None] | None) -> str:
    """One sentence for all motions that something stops."""
    said = [f"{motion}: {words}" for motion, words in (by_motion or {}).items() if words]
    return ". ".join(said).replace("_", " ")


def _pair(value: Any) -> tuple[float, float] | None:
    return None if value is None else (float(value[0]), float(value[1]))
