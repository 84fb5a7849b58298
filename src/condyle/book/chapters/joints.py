"""Joints: both gaps, forces, and the ranges reached beside those wanted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from condyle.book.chapters.verdicts import amount
from condyle.book.matter import Arc, JointEntry


def joint_entries(joints: Sequence[Mapping[str, Any]]) -> tuple[JointEntry, ...]:
    """From the ``joints`` of proof.json."""
    return tuple(_entry(j) for j in joints)


def _entry(j: Mapping[str, Any]) -> JointEntry:
    rows = [
        ("bearing clearance", amount(j["clearance_mm"], "mm a side")),
        ("gap between skins", amount(j["kerf_mm"], "mm")),
        ("holds", amount(j["hold_nmm"], "N·mm new")),
        ("after 30 days", amount(j["hold_relaxed_nmm"], "N·mm")),
        ("load on it", amount(j["load_nmm"], "N·mm")),
        ("comes off at", amount(j["retention_n"], "N")),
        ("strain going in", amount(None if j["snap_strain"] is None else 100 * j["snap_strain"], "%")),
    ]
    wanted, reached = j["wanted"] or {}, j["reached"] or {}
    arcs = tuple(
        Arc(motion, _pair(wanted.get(motion)), _pair(reached.get(motion)))
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
    )


def _stops(by_motion: Mapping[str, str | None] | None) -> str:
    """One sentence for all motions that something stops."""
    said = [f"{motion}: {words}" for motion, words in (by_motion or {}).items() if words]
    return ". ".join(said).replace("_", " ")


def _pair(value: Any) -> tuple[float, float] | None:
    return None if value is None else (float(value[0]), float(value[1]))
