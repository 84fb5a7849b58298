"""Try single changes for the poses that a figure misses furthest, and rank them: each on a kit of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.project.cache import key_of
from condyle.project.codec import to_bytes
from condyle.project.joints import wishes
from condyle.project.part_tables import mixed_wishes, own_parts
from condyle.project.piece_step import seat_all
from condyle.project.pipeline import check_unchanged, cut_figure, open_figure, seat_joints, take_in_sculpt
from condyle.project.pose_step import solve
from condyle.project.watch import Watch
from condyle.proof.pose_changes import TriedChange, ranking, try_changes


@dataclass(frozen=True)
class Tried:
    """Every pose with how far it is missed, furthest first, and what was tried for the furthest, most helpful first."""

    missed: tuple[tuple[str, float], ...]
    trials: tuple[TriedChange, ...]

    def document(self) -> dict[str, Any]:
        """As values for a JSON file: degrees; the miss is the root of the sum of squares of all changed angles."""
        return {
            "schema": 1,
            "poses": [{"name": name, "missed_deg": round(deg, 2)} for name, deg in self.missed],
            "trials": [
                {
                    "pose": t.pose,
                    "joint": t.joint,
                    "change": t.change,
                    "before_deg": round(t.before_deg, 2),
                    "after_deg": None if t.after_deg is None else round(t.after_deg, 2),
                    "gained_deg": round(t.gained_deg, 2),
                    "place": None if t.place is None else [round(v, 3) for v in t.place],
                }
                for t in self.trials
            ],
            "ranking": [
                {"joint": joint, "change": change, "gained_deg": round(gained, 2), "poses": poses}
                for joint, change, gained, poses in ranking(self.trials)
            ],
        }


def changes_of(path: Path, watch: Watch, *, poses: int = 3) -> Tried:
    """Part the figure, solve its poses, and try changes for those furthest from what was asked."""
    with watch.step("read"):
        opened = open_figure(path)
        check_unchanged(opened)
    taken = take_in_sculpt(opened, watch)
    joints, _ = seat_joints(opened, taken, watch)
    skeleton, workshop = opened.skeleton, opened.workshop
    asked = mixed_wishes(wishes(opened.document, skeleton), skeleton, workshop, own_parts(opened.document, skeleton))
    kit, inputs = cut_figure(opened, taken, joints, asked, watch)
    solved = solve(opened.document, kit, skeleton.name, workshop.kerf_mm, inputs, opened.cache, watch)

    def cut(changed: Sequence[SeatedJoint], wanted: Mapping[str, JointWish]) -> Kit:
        made = part(taken.intake.solid, skeleton, changed, workshop, wanted, relief=True)
        return seat_all(made, taken.pieces, workshop)

    with watch.step("changes") as stored:
        trials, stored.value = opened.cache.fetch(
            "changes",
            key_of("changes", *inputs, to_bytes(tuple(p.asked for p in solved)), str(poses).encode()),
            lambda: try_changes(
                solved, kit, joints, cut, workshop.kerf_mm, asked, poses=poses, progress=watch.watcher.details
            ),
        )
    missed = sorted(((p.name, p.changed_deg) for p in solved), key=lambda m: (-m[1], m[0]))
    return Tried(tuple(missed), trials)
