"""Do the joints still run under paint? What a system of coats leaves of each joint's skin gap and bearing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from condyle.figure.kit import BuiltJoint, Kit
from condyle.finding import Finding, Verdict
from condyle.finish.coats import Film, clearance_left_mm, kerf_left_mm
from condyle.proof.kit import JointProof

OPEN_MM = 0.05
"""Gap that must be left between two painted skins so that they neither stick nor rub: common practice, no source."""


@dataclass(frozen=True)
class Coated:
    """A joint under paint: its skin gap before and after (mean, and the least in nineteen of twenty), and its bearing."""

    joint: str
    gap_mm: float | None
    left_mm: float | None
    least_mm: float | None
    clearance_mm: float | None
    masked: bool


def coated(
    kit: Kit, measured: Mapping[str, JointProof], system: Film, painted_faces: Mapping[str, int] | None = None
) -> tuple[tuple[Coated, ...], tuple[Finding, ...]]:
    """Every built joint under a system of coats. ``painted_faces`` says where bearings are not masked (1 or 2 faces)."""
    unmasked = painted_faces or {}
    joints, findings = [], []
    for joint in kit.joints:
        if not joint.built:
            continue
        told = measured.get(joint.name)
        gap = told.skin_gap_mm if told and told.skin_gap_mm is not None else joint.kerf_mm
        faces = unmasked.get(joint.name, 0)
        left, least = kerf_left_mm(gap, system) if gap is not None else (None, None)
        clearance = clearance_left_mm(joint.clearance_mm, system, faces) if joint.clearance_mm is not None else None
        joints.append(Coated(joint.name, gap, left, least, clearance, faces == 0))
        findings.append(_gap(joint, left, least, system))
        if faces:
            findings.append(_bearing(joint, clearance, system, faces))
    return tuple(joints), tuple(findings)


def _gap(joint: BuiltJoint, left: float | None, least: float | None, system: Film) -> Finding:
    place = joint.axles[0].centre if joint.axles else None
    if left is None or least is None:
        advice = "the gap between its skins was not measured"
        return Finding("coat.gap", joint.name, "unknown", None, OPEN_MM, "mm", place, advice)
    verdict: Verdict = "pass" if least >= OPEN_MM else "caution" if left >= OPEN_MM else "fail"
    advice = ""
    if verdict != "pass":
        advice = (
            f"{system.mm:.2f} mm of paint on each face (up to {system.high_mm:.2f} mm) nearly closes it: "
            f"widen kerf_mm by {OPEN_MM - least:.2f} mm, or keep the cut faces free of paint"
        )
    return Finding("coat.gap", joint.name, verdict, least, OPEN_MM, "mm", place, advice)


def _bearing(joint: BuiltJoint, clearance: float | None, system: Film, faces: int) -> Finding:
    place = joint.axles[0].centre if joint.axles else None
    words = f"{faces} painted bearing face{'s' if faces > 1 else ''} take {faces * system.mm:.2f} mm a side: mask them"
    return Finding("coat.bearing", joint.name, "fail", clearance, joint.clearance_mm, "mm", place, words)
