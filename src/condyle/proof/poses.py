"""Which poses can the figure take, what had to be changed, and is there a way there without contact?

Verdict of pose.reach: the largest change of an angle; pass up to 5°, caution up to 30°, fail beyond (common practice, no
source: 5° is about what an eye tells). A pose of the sheet that nobody asked for is a caution at worst. pose.way tells
whether a free way from the sculpt's own pose was found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, forward, ground
from condyle.finding import Finding, Verdict
from condyle.geometry.mesh import FloatArray
from condyle.proof.bodies import Meeting, PartBody
from condyle.proof.pose_contact import Figure
from condyle.proof.pose_solve import Change, Solution, nearest
from condyle.proof.pose_way import Way, find_way, straight_way

PASS_DEG, CAUTION_DEG = 5.0, 30.0
_SCULPTED = Pose("as sculpted")


@dataclass(frozen=True, eq=False)
class SolvedPose:
    """A pose as asked, and as the figure takes it.

    asked       in the words of the kit's joints, degrees from the human zero
    reached     every joint's angles
    changes     every angle that differs, largest first
    findings    pose.reach and pose.way
    transforms  by part: (4, 4) from figure coordinates at rest to the pose, put on its feet (lowest point at z = 0)
    way         the row of poses from the sculpt's own pose, or from that pose which was asked to come before
    """

    name: str
    asked: Pose
    reached: Pose
    changes: tuple[Change, ...]
    findings: tuple[Finding, ...]
    transforms: dict[str, FloatArray]
    way: Way

    @property
    def changed_deg(self) -> float:
        """How far the pose is from what was asked: the root of the sum of squares of all changes."""
        return float(np.linalg.norm([c.by_deg for c in self.changes])) if self.changes else 0.0


def solve_poses(
    kit: Kit,
    bodies: Mapping[str, PartBody],
    meetings: Sequence[Meeting],
    kerf_mm: float,
    poses: Sequence[Pose],
    *,
    asked_for: bool = True,
    after: Mapping[str, str] | None = None,
    workers: int = 2,
) -> tuple[SolvedPose, ...]:
    """Every pose, in order. The poses speak of the kit's joints (``figure.pose.suited``).

    after  for a pose by name, the one of these poses from which its way leads; all others come from the sculpt's own
    """
    figure = Figure(kit, bodies, meetings, kerf_mm)
    with ThreadPoolExecutor(workers) as pool:
        solutions = list(pool.map(lambda pose: nearest(figure, pose), poses))
        reached = {pose.name: solution.pose for pose, solution in zip(poses, solutions, strict=True)}

        def done(pose: Pose, solution: Solution) -> SolvedPose:
            before = (after or {}).get(pose.name)
            start = _SCULPTED if before is None else reached[before]
            return _solved(figure, pose, solution, start, asked_for=asked_for)

        return tuple(pool.map(done, poses, solutions))


def _solved(figure: Figure, pose: Pose, solution: Solution, start: Pose, *, asked_for: bool) -> SolvedPose:
    """One pose put on its feet, and where it was asked for the way to it followed."""
    placed = forward(figure.kit, solution.pose)
    down = ground(figure.kit, placed)
    way = (find_way if asked_for else straight_way)(figure, start, solution.pose)
    findings = (_reach(pose, solution, asked_for), *_way(pose, way, start))
    on_feet = {name: down @ m for name, m in placed.items()}
    return SolvedPose(pose.name, pose, solution.pose, solution.changes, findings, on_feet, way)


def change_words(change: Change) -> str:
    """A change in words: which angle, from where to where, by how much, and why."""
    said = f"{change.joint} {change.motion} {change.asked_deg:.1f}° → {change.reached_deg:.1f}° ({change.by_deg:+.1f}°)"
    if change.contact is not None:
        return f"{said}: {change.contact.first} meets {change.contact.second}"
    why: dict[str, str] = {
        "limit": "the joint's limit",
        "not built": "this joint was not built",
        "rest": "the joint clicks into its nearest rest",
        "stuck": "the joint's two sides touch outside their bearing",
        "contact": "to give way elsewhere",
    }
    return f"{said}: {why[change.reason]}"


def _reach(pose: Pose, solution: Solution, asked_for: bool) -> Finding:
    worst = max((abs(c.by_deg) for c in solution.changes), default=0.0)
    verdict: Verdict = "pass" if worst <= PASS_DEG else "caution" if worst <= CAUTION_DEG or not asked_for else "fail"
    if solution.left:
        verdict = "unknown"
    place = next((c.contact.place for c in solution.changes if c.contact is not None), None)
    advice = ""
    if verdict != "pass":
        shown = [change_words(c) for c in solution.changes[:3]]
        more = len(solution.changes) - len(shown)
        advice = "; ".join(shown) + (f"; and {more} smaller" if more > 0 else "")
        if solution.left:
            advice = f"{solution.left[0].first} meets {solution.left[0].second} in the sculpt's own pose"
    return Finding("pose.reach", pose.name, verdict, round(worst, 2), PASS_DEG, "°", place, advice)


def _way(pose: Pose, way: Way, start: Pose) -> tuple[Finding, ...]:
    if not way.followed:
        return ()
    if way.stopped is None:
        return (Finding("pose.way", pose.name, "pass"),)
    met = way.stopped
    whence = start.name if start.angles else "the sculpt's pose"
    advice = (
        f"no way from {whence} was found: {met.first} meets {met.second} on the straight one; move one limb "
        "aside first, or take the part off and put it back"
    )
    return (Finding("pose.way", pose.name, "caution", place=met.place, advice=advice),)
