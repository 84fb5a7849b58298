"""proof.json: the contract in proof.schema.json, filled from what parting made and the proofs measured.

All keys are always there, unknown is null, and no number is ever NaN or infinite. The same kit gives the same bytes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

import condyle
from condyle.export import part_file
from condyle.figure.intake import IntakeReport
from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.figure.skeleton import Motion, motions_of
from condyle.finding import Finding
from condyle.geometry.mesh import Mesh
from condyle.project.cache import library_versions
from condyle.proof import JointProof, PartProof, PoseProof, Proof

SCHEMA = 1
_DIGITS = 6


@dataclass(frozen=True)
class Hashes:
    """``blake2b:`` hashes of what went in (``inputs``: of all of it, code and libraries too), and of each part's file."""

    inputs: str
    figure: str
    sculpt: str
    skeleton: str
    workshop: str
    parts: Mapping[str, str]


def proof_document(
    name: str,
    report: IntakeReport,
    kit: Kit,
    written: Mapping[str, Mesh],
    proof: Proof,
    findings: Iterable[Finding],
    hashes: Hashes,
) -> dict[str, Any]:
    """The whole document as plain values, in the order in which it is written.

    ``written`` holds each part's mesh as its file carries it.
    """
    return {
        "schema": SCHEMA,
        "condyle": condyle.__version__,
        "figure": name,
        "units": "mm",
        "versions": library_versions(),
        "hashes": {
            "inputs": hashes.inputs,
            "figure": hashes.figure,
            "sculpt": hashes.sculpt,
            "skeleton": hashes.skeleton,
            "workshop": hashes.workshop,
            "parts": dict(hashes.parts),
        },
        "intake": {
            "triangles_in": report.triangles_in,
            "triangles_out": report.triangles_out,
            "max_deviation_mm": _number(report.max_deviation_mm),
            "changes": list(report.changes),
        },
        "parts": [_part(p, written[p.name], proof.parts[p.name]) for p in kit.parts],
        "joints": [_joint(j, proof.joints[j.name]) for j in kit.joints],
        "poses": [_pose(p) for p in proof.poses],
        "builds": [],
        "findings": [finding_values(f) for f in findings],
    }


def document_bytes(document: Mapping[str, Any]) -> bytes:
    """The document as it stands in the file: UTF-8 JSON, indented, one line end at the end."""
    return (json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def schema() -> dict[str, Any]:
    """The JSON Schema that every proof.json follows."""
    text = (resources.files("condyle.project") / "proof.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _part(part: Part, written: Mesh, proof: PartProof) -> dict[str, Any]:
    return {
        "name": part.name,
        "file": part_file(part.name),
        "bone": part.bone,
        "volume_mm3": _number(written.volume_mm3),
        "mass_g": _number(proof.mass_g),
        "triangles": written.triangle_count,
        "min_wall_mm": _number(proof.min_wall_mm),
        "bounds": [_point(corner) for corner in written.bounds],
    }


def _joint(joint: BuiltJoint, proof: JointProof) -> dict[str, Any]:
    spec = joint.seated.spec
    motions = motions_of(spec)
    axes = joint.seated.axes
    return {
        "name": joint.name,
        "kind": spec.kind,
        "size": _number(joint.size_mm),
        "parent": spec.parent,
        "child": spec.child,
        "centre": _point(joint.seated.frame.origin),
        "axes": [_point(axes[m]) for m in motions],
        "built": joint.built,
        "clearance_mm": _number(joint.clearance_mm),
        "kerf_mm": _number(joint.kerf_mm),
        "bearing_mm2": _number(joint.bearing_mm2),
        "rest_gap_mm": _number(proof.rest_gap_mm),
        "wanted": {m: _span(proof.wanted.get(m)) for m in motions},
        "reached": {m: _span(proof.reached.get(m)) for m in motions},
        "stopped_by": _stops(proof.stopped_by, motions),
        "retention_n": _number(joint.retention_n),
        "snap_strain": _number(joint.snap_strain),
        "hold_nmm": _number(joint.hold_nmm),
        "hold_relaxed_nmm": _number(proof.hold_relaxed_nmm),
        "load_nmm": _number(proof.load_nmm),
    }


def _pose(pose: PoseProof) -> dict[str, Any]:
    return {
        "name": pose.name,
        "stands": pose.stands,
        "tip_deg": _number(pose.tip_deg),
        "margin_mm": _number(pose.margin_mm),
        "weakest_joint": pose.weakest_joint,
    }


def finding_values(finding: Finding) -> dict[str, Any]:
    """A finding as proof.json writes it."""
    return {
        "check": finding.check,
        "subject": finding.subject,
        "verdict": finding.verdict,
        "measured": _number(finding.measured),
        "target": _number(finding.target),
        "unit": finding.unit,
        "place": _point(finding.place) if finding.place is not None else None,
        "advice": finding.advice,
    }


def _number(value: Any) -> float | None:
    """Rounded to a nanometre, a microgram …; None for what is unknown or no number."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DIGITS) + 0.0


def _point(values: Iterable[Any]) -> list[float | None]:
    return [_number(v) for v in values]


def _span(span: Any) -> list[float | None] | None:
    return None if span is None else [_number(v) for v in span]


def _stops(stopped_by: Mapping[Motion, str | None], motions: Iterable[Motion]) -> dict[str, str | None]:
    return {motion: stopped_by.get(motion) for motion in motions}
