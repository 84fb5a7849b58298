"""Which single change helps a figure most towards the poses that it misses furthest?

For each of the poses furthest from what was asked, the joint that gave way most is changed in one respect at a time: moved
1 mm along its limb either way; the next smaller hardware; a larger budget of relief; and the flesh at the place of contact
made a piece of its own, which is taken off for the pose. Each change is tried in earnest: the sculpt is parted anew (a piece is
cut out of the finished part) and the pose solved again. So a trial costs as much as a kit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from condyle.figure.kit import Kit, Part
from condyle.figure.pose import forward
from condyle.figure.relief import ReliefWish
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.finding import Point
from condyle.geometry.gap import smallest_gap
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import remainder
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.pose_contact import Figure
from condyle.proof.pose_solve import Change, Solution, nearest
from condyle.proof.poses import SolvedPose

_MOVE_MM = 1.0
_SMALLER = 0.8
_MISSED_DEG = 5.0
_PIECE_MM = 4.0
_MORE_VOLUME, _MORE_DEPTH = 2.0, 1.5

Cut = Callable[[Sequence[SeatedJoint], Mapping[str, JointWish]], Kit]
"""Parts the sculpt: joints, what is asked of each → a kit."""


@dataclass(frozen=True)
class TriedChange:
    """A change of one joint and what it gave: how far the pose misses what was asked, before and after.

    The miss is the root of the sum of squares of all changed angles, degrees. after_deg is None where the joint could not
    be built that way. ``place`` is that of a piece, in the part as it lies at rest.
    """

    pose: str
    joint: str
    change: str
    before_deg: float
    after_deg: float | None
    place: Point | None = None

    @property
    def gained_deg(self) -> float:
        return 0.0 if self.after_deg is None else self.before_deg - self.after_deg


def try_changes(
    solved: Sequence[SolvedPose],
    kit: Kit,
    seated: Sequence[SeatedJoint],
    cut: Cut,
    kerf_mm: float,
    wishes: Mapping[str, JointWish] | None = None,
    *,
    poses: int = 3,
    progress: Callable[[str], None] = lambda step: None,
) -> tuple[TriedChange, ...]:
    """Every trial, the most helpful first. At most four kits are cut for each of ``poses`` poses."""
    wishes = dict(wishes or {})
    made: dict[tuple[str, str], Figure | None] = {}
    out: list[TriedChange] = []
    missed = [p for p in solved if p.changed_deg > _MISSED_DEG]
    for pose in sorted(missed, key=lambda p: (-p.changed_deg, p.name))[:poses]:
        change = next((c for c in pose.changes if c.contact is not None), None)
        built = next((j for j in kit.joints if change and j.name == change.joint and j.built), None)
        if change is None or built is None:
            continue
        for words, joints, asked in _trials(kit, built.name, built.size_mm, seated, wishes):
            progress(f"{pose.name}: {built.name}, {words}")
            if (built.name, words) not in made:
                made[built.name, words] = _figure(cut(joints, asked), built.name, kerf_mm)
            figure = made[built.name, words]
            after = None if figure is None else _miss(nearest(figure, pose.asked))
            out.append(TriedChange(pose.name, built.name, words, pose.changed_deg, after))
        progress(f"{pose.name}: {built.name}, a piece")
        out += _piece(pose, change, kit, kerf_mm)
    return tuple(sorted(out, key=lambda t: (-t.gained_deg, t.pose, t.joint, t.change)))


def ranking(tried: Sequence[TriedChange]) -> list[tuple[str, str, float, list[str]]]:
    """The same change over all poses: joint, change, degrees gained in all, and the poses, the most helpful first."""

    def key(t: TriedChange) -> tuple[str, str]:
        return (t.joint, t.change)

    rows = []
    for (joint, change), group in groupby(sorted(tried, key=key), key):
        each = list(group)
        rows.append((joint, change, sum(t.gained_deg for t in each), [t.pose for t in each]))
    return sorted(rows, key=lambda r: (-r[2], r[0], r[1]))


def _trials(
    kit: Kit, name: str, size_mm: float | None, seated: Sequence[SeatedJoint], wishes: Mapping[str, JointWish]
) -> list[tuple[str, list[SeatedJoint], dict[str, JointWish]]]:
    wish = wishes.get(name, JointWish())
    # The size stays what it was, so that one thing alone changes.
    same = {**wishes, name: replace(wish, size_mm=size_mm)}
    out = []
    for words, step in (("moved 1 mm towards the child", _MOVE_MM), ("moved 1 mm towards the parent", -_MOVE_MM)):
        out.append((words, [_moved(j, step) if j.name == name else j for j in seated], same))
    if size_mm is not None:
        smaller = round(_SMALLER * size_mm * 2.0) / 2.0
        if smaller < size_mm:
            out.append((f"size {smaller:g} mm", list(seated), {**wishes, name: replace(wish, size_mm=smaller)}))
    record = next((r for r in kit.reliefs if r.joint == name), None)
    if record is not None:
        allowed = replace(
            wish.relief or ReliefWish(),
            volume_mm3=_MORE_VOLUME * record.budget_mm3,
            depth_mm=_MORE_DEPTH * record.depth_mm,
        )
        words = f"relief of {allowed.volume_mm3:.0f} mm³, {allowed.depth_mm:.1f} mm deep"
        out.append((words, list(seated), {**wishes, name: replace(wish, size_mm=size_mm, relief=allowed)}))
    return out


def _moved(joint: SeatedJoint, by_mm: float) -> SeatedJoint:
    frame = joint.frame
    return replace(joint, frame=replace(frame, origin=frame.origin + by_mm * frame.z), source="hand")


def _figure(kit: Kit, name: str, kerf_mm: float) -> Figure | None:
    """A kit made ready for poses; None where the changed joint was not built."""
    if not any(j.name == name and j.built for j in kit.joints):
        return None
    bodies = make_bodies(kit)
    return Figure(kit, bodies, make_meetings(kit, bodies), kerf_mm)


def _piece(pose: SolvedPose, change: Change, kit: Kit, kerf_mm: float) -> list[TriedChange]:
    """The flesh near the contact cut out of the part that stays; nothing where hardware is that near."""
    contact = change.contact
    if contact is None:
        return []
    figure = _figure(kit, change.joint, kerf_mm)
    if figure is None:
        return []
    first, second = contact.first, contact.second
    if figure.hangs_on(second, change.joint) and not figure.hangs_on(first, change.joint):
        first, second = second, first
    pair = next(p for p in figure.pairs if {p.first, p.second} == {first, second})
    placed = forward(kit, pose.reached)
    surfaces = pair.surfaces if pair.first == first else pair.surfaces[::-1]
    at = smallest_gap(*surfaces, np.linalg.inv(placed[second]) @ placed[first], rule=pair.rule).on_still
    place: Point = (float(at[0]), float(at[1]), float(at[2]))
    words = f"the flesh of {second} within {_PIECE_MM:g} mm of the contact a piece, taken off"
    if not _clear_of_hardware(kit, second, place):
        return [TriedChange(pose.name, change.joint, words, pose.changed_deg, None, place)]
    rest = remainder(kit.part(second).solid, [sphere(_PIECE_MM).translated(place)])
    if rest is None:
        return []
    body = max(rest.components(), key=lambda s: s.volume_mm3)
    parts: tuple[Part, ...] = tuple(replace(p, solid=body) if p.name == second else p for p in kit.parts)
    without = _figure(replace(kit, parts=parts), change.joint, kerf_mm)
    after = None if without is None else _miss(nearest(without, pose.asked))
    return [TriedChange(pose.name, change.joint, words, pose.changed_deg, after, place)]


def _clear_of_hardware(kit: Kit, part: str, place: Point) -> bool:
    """Whether a piece at the place would reach no joint's hardware in the part."""
    for joint in kit.joints:
        for axle in joint.axles if joint.built else ():
            if part in (axle.moves, axle.stays):
                away = float(np.linalg.norm(np.asarray(axle.centre) - np.asarray(place)))
                if away < _PIECE_MM + 0.75 * (joint.size_mm or 0.0):
                    return False
    return True


def _miss(solution: Solution) -> float:
    return float(np.linalg.norm([c.by_deg for c in solution.changes])) if solution.changes else 0.0
