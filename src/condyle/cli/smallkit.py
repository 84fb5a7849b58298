"""A small kit for the self-check: a round bar of two bones with a ball joint in its middle."""

from __future__ import annotations

import numpy as np

from condyle.figure.parting import part
from condyle.figure.skeleton import Bone, JointSpec, SeatedJoint, Skeleton
from condyle.finding import worst
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.primitives import cylinder
from condyle.proof import prove
from condyle.workshop.bench import load_workshop

BAR_RADIUS_MM, BAR_LENGTH_MM = 10.0, 70.0


def small_kit_outcome() -> tuple[bool, str]:
    """Part and prove the bar: sound when there are two closed parts, one built joint, and no fail."""
    bar = cylinder(BAR_RADIUS_MM, 0.0, BAR_LENGTH_MM)
    spec = JointSpec("middle", "ball", "lower", "upper", (0.0, 0.0, 0.5), wanted={"flex": (-20.0, 20.0)})
    skeleton = Skeleton("bar", (Bone("lower", None), Bone("upper", "lower")), (spec,), BAR_LENGTH_MM)
    centre = np.array([0.0, 0.0, BAR_LENGTH_MM / 2])
    frame = frame_from_zx(centre, np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    workshop = load_workshop()
    kit = part(bar, skeleton, [SeatedJoint(spec, frame, (0.0, 0.0, 1.0), source="hand")], workshop)
    proof = prove(kit, bar, skeleton, workshop)
    findings = (*kit.findings, *(f for j in kit.joints for f in j.findings), *proof.findings)
    verdict = worst(findings)
    volumes = ", ".join(f"{p.name} {p.solid.volume_mm3:.1f} mm³" for p in kit.parts)
    failed = "; ".join(f"{f.check} {f.advice}" for f in findings if f.verdict == "fail")
    sound = len(kit.parts) == 2 and all(j.built for j in kit.joints) and verdict != "fail"
    return sound, f"{volumes}; worst verdict {verdict}" + (f": {failed}" if failed else "")
