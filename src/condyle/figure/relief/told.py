"""What the relief of a joint cost, in findings."""

from __future__ import annotations

from condyle.figure.kit import JointRelief
from condyle.figure.skeleton import SeatedJoint
from condyle.finding import Finding, Point

ENOUGH_DEG = 1.0
"""A range that is short by no more than this is as long as was asked."""


def findings_of(record: JointRelief, joint: SeatedJoint) -> list[Finding]:
    """What the relief of a joint cost, and whether the budget ended it."""
    x, y, z = (float(v) for v in joint.frame.origin)
    place: Point = (x, y, z)
    short = {
        k: record.asked[k] - record.after[k] for k in record.asked if record.asked[k] - record.after[k] > ENOUGH_DEG
    }
    advice = ""
    if short:
        worst = max(short, key=lambda k: short[k])
        advice = (
            f"the budget ends {worst} at {record.after[worst]:.0f}° of {record.asked[worst]:.0f}°: a larger depth_mm or volume_mm3 "
            f'under [joints.{joint.name}.relief], or yields = "both", would give more'
        )
    return [
        Finding(
            "relief.volume",
            joint.name,
            "caution" if short else "pass",
            record.taken_mm3,
            record.budget_mm3,
            "mm³",
            place,
            advice,
        ),
        Finding("relief.skin", joint.name, "pass", record.skin_mm2, None, "mm²", place),
    ]
