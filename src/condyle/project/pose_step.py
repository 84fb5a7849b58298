"""The step that solves the poses which the figure file names, or else those of the skeleton's sheet."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Sequence
from typing import Any

from condyle.errors import FigureFileError, UsageError
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, between, pose_sheet, suited, swapped
from condyle.figure.skeleton import SeatedJoint
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument
from condyle.project.pose_model import PoseTable
from condyle.project.watch import Watch
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.pose_solve import Change
from condyle.proof.poses import SolvedPose, solve_poses

_DIGITS = 3


def asked_poses(document: FigureDocument, kit: Kit, skeleton: str) -> tuple[Pose, ...]:
    """The poses in the words of the kit's joints. FigureFileError, with the line, for what cannot be."""
    joints = [j.seated for j in kit.joints]
    sheet = {p.name: p for p in pose_sheet(skeleton)}
    tables = document.content.poses
    if not tables:
        if document.content.stand.held != "no":
            return ()
        return tuple(suited(p, joints) for p in sheet.values())
    known = dict(sheet)
    out: list[Pose] = []
    for number, table in enumerate(tables):
        if any(p.name == table.name for p in out):
            raise _refused(document, number, "name", f"two poses are called {table.name!r}", "give each its own name")
        base = _base(document, number, table, known, joints)
        own = Pose(table.name, {joint: angles.angles for joint, angles in table.joints.items()})
        try:
            # What the maker wrote must be possible; what came from the sheet is fitted to the joints there are.
            over = suited(own, joints, strict=True)
        except UsageError as error:
            raise _refused(document, number, "joints", error.message, error.hint) from None
        angles = {name: dict(told) for name, told in suited(base, joints).angles.items()}
        for name, told in over.angles.items():
            angles.setdefault(name, {}).update(told)
        pose = Pose(table.name, angles)
        known[table.name] = pose
        out.append(pose)
    return tuple(out)


def _base(
    document: FigureDocument, number: int, table: PoseTable, known: dict[str, Pose], joints: Sequence[SeatedJoint]
) -> Pose:
    """What a pose starts from: another, a share of the way between two, a namesake of the sheet, or the sculpt as it stands."""
    if table.between is not None:
        for name in table.between:
            if name not in known:
                raise _refused(document, number, "between", f"there is no pose {name!r}", _poses_hint(name, known))
        one, two = (suited(known[name], joints) for name in table.between)
        base = between(one, two, table.share, joints)
        return swapped(base) if table.swap else base
    source = table.like if table.like is not None else table.name
    if source in known:
        base = known[source]
        return swapped(base) if table.swap else base
    if table.like is None and table.joints:
        if table.swap:
            raise _refused(document, number, "swap", "there is nothing to swap", "name a pose with like")
        return Pose(table.name)
    key = "name" if table.like is None else "like"
    message = f"there is no pose {source!r} to take angles from"
    raise _refused(document, number, key, message, _poses_hint(source, known))


def _poses_hint(name: str, known: Iterable[str]) -> str:
    names = list(known)
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    return f"did you mean {near[0]}?" if near else "the poses: " + ", ".join(names) if names else "give it joints"


def ways_from(document: FigureDocument) -> dict[str, str]:
    """For each pose whose way leads from another one, that one. FigureFileError where it does not stand further up."""
    out: dict[str, str] = {}
    above: list[str] = []
    for number, table in enumerate(document.content.poses):
        if table.after is not None:
            if table.after not in above:
                message = f"no pose {table.after!r} stands further up in the file"
                raise _refused(document, number, "after", message, _poses_hint(table.after, above))
            out[table.name] = table.after
        above.append(table.name)
    return out


def _refused(document: FigureDocument, number: int, key: str, message: str, hint: str) -> FigureFileError:
    return FigureFileError("figure.pose", message, hint=hint, place=document.place("poses", number, key))


def solve(
    document: FigureDocument,
    kit: Kit,
    skeleton: str,
    kerf_mm: float,
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
) -> tuple[SolvedPose, ...]:
    """The step itself, kept under all that goes into it."""
    asked = asked_poses(document, kit, skeleton)
    mine, after = bool(document.content.poses), ways_from(document)

    def work() -> tuple[SolvedPose, ...]:
        bodies = make_bodies(kit)
        return solve_poses(kit, bodies, make_meetings(kit, bodies), kerf_mm, asked, asked_for=mine, after=after)

    with watch.step("poses") as stored:
        if not asked:
            return ()
        found, stored.value = cache.fetch(
            "poses", key_of("poses", *inputs, to_bytes(asked), to_bytes((mine, after))), work
        )
    solved: tuple[SolvedPose, ...] = found
    return solved


def pose_files(solved: Sequence[SolvedPose]) -> dict[str, bytes]:
    """details/poses.json."""
    document = {"schema": 1, "poses": [_pose(p) for p in solved]}
    return {"details/poses.json": (json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()}


def _pose(pose: SolvedPose) -> dict[str, Any]:
    stopped = pose.way.stopped
    return {
        "name": pose.name,
        "asked": _angles(pose.asked),
        "reached": _angles(pose.reached),
        "changes": [_change(c) for c in pose.changes],
        "way": {
            "followed": pose.way.followed,
            "free": pose.way.free if pose.way.followed else None,
            "order": pose.way.order,
            "keys": [_angles(k) for k in pose.way.keys],
            "stopped_by": None if stopped is None else [stopped.first, stopped.second],
            "place": None if stopped is None else _row(stopped.place),
        },
        "transforms": {part: [_row(row, 6) for row in m.tolist()] for part, m in pose.transforms.items()},
    }


def _change(change: Change) -> dict[str, Any]:
    met = change.contact
    return {
        "joint": change.joint,
        "motion": change.motion,
        "asked_deg": _round(change.asked_deg),
        "reached_deg": _round(change.reached_deg),
        "by_deg": _round(change.by_deg),
        "reason": change.reason,
        "meet": None if met is None else [met.first, met.second],
        "place": None if met is None else _row(met.place),
    }


def _angles(pose: Pose) -> dict[str, dict[str, float]]:
    return {joint: {m: _round(a) for m, a in told.items()} for joint, told in pose.angles.items()}


def _row(values: Sequence[float], digits: int = _DIGITS) -> list[float]:
    return [_round(v, digits) for v in values]


def _round(value: float, digits: int = _DIGITS) -> float:
    return round(float(value), digits) + 0.0
