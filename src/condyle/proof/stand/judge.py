"""Findings about standing: rest, margin, tip angle, flat feet, and a few degrees off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.finding import Finding, Point, Verdict
from condyle.geometry.mesh import FloatArray
from condyle.proof.mass import PartMass
from condyle.proof.stand.ankles import Offer
from condyle.proof.stand.standing import FLAT_DEG, Ground, Shaken, Standing


@dataclass(frozen=True)
class StandWanted:
    """What is asked of a stand; all can be changed."""

    tip_deg: float = 8.0
    margin_mm: float = 3.0
    off_deg: float = 3.0


def centre_sd_mm(standing: Standing, masses: Mapping[str, PartMass]) -> float:
    """Standard deviation (mm) of the centre of mass along the direction in which it tips first, from the parts' masses."""
    t = math.radians(standing.foot.weakest_deg)
    way = np.array([math.cos(t), math.sin(t), 0.0])
    total = sum(m.printed.mass_g for m in masses.values())
    variance = 0.0
    for name, mass in masses.items():
        m = standing.placed[name]
        arm = m[:3, :3] @ mass.printed.centre_mm + m[:3, 3] - standing.centre_mm
        variance += (mass.sd_g / total * float(arm @ way)) ** 2
    return math.sqrt(variance)


def stand_findings(
    ground: Ground,
    standing: Standing,
    off: Shaken | None,
    offered: Offer | None,
    wanted: StandWanted,
) -> list[Finding]:
    """Of one pose. Only the sculpt's own pose (one without angles) fails by falling: any other is a choice of the maker's."""
    name = standing.pose.name
    place = _edge(ground, standing)
    sd = centre_sd_mm(standing, ground.masses)
    offer = ""
    if offered is not None and offered.standing.stands and offered.standing.tip_deg > standing.tip_deg + 0.5:
        found = "solved" if offered.standing.tip_deg >= wanted.tip_deg else "the best found"
        offer = (
            f"{found}: {offered.words} tips at {offered.standing.tip_deg:.1f}° with a margin of "
            f"{offered.standing.margin_mm:.1f} mm"
        )
    otherwise = offer or "no ankle angles within their limits do: move the feet apart or use a base ([stand])"
    if not standing.stands:
        onto = ", ".join(standing.touching)
        return [
            Finding(
                "stand.rest",
                name,
                "fail" if not standing.pose.angles else "caution",
                round(standing.lean_deg, 2),
                15.0,
                "° of lean",
                place,
                f"it does not stand: it rolls onto {onto}; {otherwise}",
            )
        ]
    sd_deg = math.degrees(sd / standing.foot.height_mm)
    out = [Finding("stand.rest", name, "pass", round(standing.lean_deg, 2), 15.0, "° of lean", place)]
    way = _words(standing.foot.weakest_deg)
    for check, value, target, unit, spread in (
        ("stand.tip", standing.tip_deg, wanted.tip_deg, "°", sd_deg),
        ("stand.margin", standing.margin_mm, wanted.margin_mm, "mm", sd),
    ):
        sure = value - 1.645 * spread >= target
        verdict: Verdict = "pass" if value >= target and (sure or value >= target + spread) else "caution"
        advice = "" if verdict == "pass" else f"±{spread:.2f}; it tips first {way}; {otherwise}"
        out.append(Finding(check, name, verdict, round(value, 3), target, unit, place, advice))
    for part, tilt in standing.flat_deg.items():
        flat = tilt <= FLAT_DEG
        out.append(
            Finding(
                "stand.flat",
                f"{name}/{part}",
                "pass" if flat else "caution",
                round(tilt, 2),
                FLAT_DEG,
                "°",
                place,
                ""
                if flat
                else f"this foot stands on its edge; {offer or 'turn the ankle, or flatten the sole ([stand])'}",
            )
        )
    if off is not None:
        still = off.standing.stands
        out.append(
            Finding(
                "stand.off",
                name,
                "pass" if still else "caution",
                round(off.standing.tip_deg, 3),
                0.0,
                "°",
                place,
                "" if still else f"{off.joint} {off.motion} off by {off.off_deg:+.0f}° lets it fall; {otherwise}",
            )
        )
    return out


def _words(direction_deg: float) -> str:
    """A direction in words; the figure faces +x, its left is +y."""
    names = ("forward", "forward and left", "left", "backward and left", "backward", "backward and right", "right",
             "forward and right")  # fmt: skip
    return names[round(direction_deg / 45.0) % 8]


def _edge(ground: Ground, standing: Standing) -> Point | None:
    """The middle of the edge over which it tips first, as a point of the part that bears there, rest coordinates."""
    polygon = standing.foot.polygon
    if not len(polygon):
        return None
    t = math.radians(standing.foot.weakest_deg)
    way = np.array([math.cos(t), math.sin(t)])
    corner = polygon[int(np.argmax(polygon @ way))] + standing.centre_mm[:2]
    spot = np.array([corner[0], corner[1], 0.0])
    best: tuple[float, FloatArray] | None = None
    for name in standing.touching:
        m = standing.placed[name]
        local = m[:3, :3].T @ (spot - m[:3, 3])
        gap = float(np.linalg.norm(ground.corners[name] - local, axis=1).min())
        if best is None or gap < best[0]:
            best = (gap, local)
    return None if best is None else (float(best[1][0]), float(best[1][1]), float(best[1][2]))
