"""Pose sheets that come along, and fitting a pose's words to the joints that a figure has."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from importlib import resources

from condyle.errors import UsageError
from condyle.figure.pose.pose import Angles, Pose
from condyle.figure.skeleton import MOTIONS, Motion, SeatedJoint

SHEETS = ("upright", "fourfoot")

# Where a skeleton has no swivel of its own, the ball above turns the limb.
_TURNED_ABOVE = {"biceps": "shoulder", "thigh": "hip"}


def pose_sheet(skeleton: str) -> tuple[Pose, ...]:
    """The poses for a skeleton by name; none for a skeleton that has no sheet."""
    if skeleton not in SHEETS:
        return ()
    text = (resources.files("condyle.figure.pose") / "sheets" / f"{skeleton}.toml").read_text(encoding="utf-8")
    return tuple(
        Pose(p["name"], {j: {m: float(a) for m, a in angles.items()} for j, angles in p["joints"].items()})
        for p in tomllib.loads(text)["poses"]
    )


def both_sides(angles: Mapping[str, Angles], names: Iterable[str]) -> dict[str, Angles]:
    """The angles with names that lack their side written out for both; words for one side alone come first."""
    known = set(names)
    out: dict[str, Angles] = {}
    for name, told in angles.items():
        pair = [f"{name}_{side}" for side in ("left", "right")]
        if name not in known and known.issuperset(pair):
            for one in pair:
                out[one] = {**told, **out.get(one, {})}
        else:
            out[name] = {**out.get(name, {}), **told}
    return out


def suited(pose: Pose, joints: Sequence[SeatedJoint], *, strict: bool = False) -> Pose:
    """The pose in the words of these joints: both sides written out, and what they cannot do left out.

    Where a swivel is missing its twist goes to the ball above it. With ``strict``, a joint or motion that is not there
    is a UsageError instead: for poses that the maker wrote.
    """
    by_name = {j.name: j for j in joints}
    out: dict[str, dict[Motion, float]] = {}
    for name, told in both_sides(pose.angles, by_name).items():
        for motion, angle in told.items():
            target = _taker(name, motion, by_name)
            if target is not None:
                out.setdefault(target, {})[motion] = angle
            elif strict:
                known = ", ".join(by_name)
                raise UsageError(
                    "pose.joint",
                    f"no joint {name} that can {motion}",
                    hint=f"the joints: {known}",
                )
    return Pose(pose.name, out)


def _taker(name: str, motion: Motion, joints: Mapping[str, SeatedJoint]) -> str | None:
    if name in joints:
        return name if motion in MOTIONS[joints[name].spec.kind] else None
    stem, _, side = name.rpartition("_")
    above = f"{_TURNED_ABOVE.get(stem)}_{side}"
    return above if motion == "twist" and above in joints and joints[above].spec.kind == "ball" else None
