"""The step that tries what would mend a kit: parted again with other values, on a lighter copy, and measured by the same proofs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from condyle.errors import CondyleError
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose
from condyle.figure.pose.sheet import suited
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.watch import Watch
from condyle.proof.carry import Carried, CarryAsked, carry
from condyle.proof.carry_trial import Change, Trial, changes, told
from condyle.proof.hold.worst import Reach
from condyle.workshop.bench import Workshop

_ROUNDS = 2
_LIGHT = 80_000
"""Trials part a copy of the sculpt with about so many triangles: grips and necks do not hang on its detail."""

_FINE_MM, _COARSE_MM = 0.01, 0.1

Part = Callable[[Solid, Mapping[str, JointWish]], Kit]


def try_changes(
    kit: Kit,
    carried: Carried,
    sculpt: Solid,
    wishes: Mapping[str, JointWish],
    part: Part,
    joints: Sequence[SeatedJoint],
    workshop: Workshop,
    poses: Sequence[Pose],
    reach: Reach,
    asked: CarryAsked,
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
) -> Carried:
    """The findings of a kit with what came of the changes that may mend them.

    ``part`` makes a kit of a sculpt with other wishes, as the kit itself was made but without relief and with its soles as
    sculpted, which neither grip nor neck depends on; ``joints`` are those that it parts at. Only poses are asked that load
    some joint most.
    """
    asking = {h.pose for h in carried.holds.values()}
    poses = [p for p in poses if p.name in asking]
    wishes = _pinned(kit, joints, wishes)
    trials: list[Trial] = []
    light: Solid | None = None
    for _ in range(_ROUNDS):
        tried = changes(kit, carried, trials)
        if not tried:
            break
        with watch.step("tries again" if trials else "tries") as stored:

            def make(tried: Mapping[str, Change] = tried) -> Trial | None:
                nonlocal light
                light = light or _lighter(sculpt)
                return _trial(light, wishes, tried, part, workshop, poses, reach, asked)

            trial, stored.value = cache.fetch(
                "tries", key_of("tries", *inputs, to_bytes((asked, tuple(poses), tried))), make
            )
        if trial is None:
            break
        trials.append(trial)
    return told(kit, carried, trials) if trials else carried


def _pinned(kit: Kit, joints: Sequence[SeatedJoint], wishes: Mapping[str, JointWish]) -> dict[str, JointWish]:
    """The wishes with every built joint's own size, so that a change stands alone. A joint that became another family for
    want of room is left to find its place as it did."""
    asked = {j.name: wishes.get(j.name, JointWish()).kind or j.spec.kind for j in joints}
    out = dict(wishes)
    for joint in kit.joints:
        kind = joint.seated.spec.kind
        if joint.built and kind != "custom" and asked.get(joint.name) == kind:
            out[joint.name] = replace(wishes.get(joint.name, JointWish()), size_mm=joint.size_mm)
    return out


def _trial(
    sculpt: Solid,
    wishes: Mapping[str, JointWish],
    tried: Mapping[str, Change],
    part: Part,
    workshop: Workshop,
    poses: Sequence[Pose],
    reach: Reach,
    asked: CarryAsked,
) -> Trial | None:
    """One trial; None where the sculpt cannot be parted so at all."""
    changed = {**wishes, **{n: c.on(wishes.get(n, JointWish())) for n, c in tried.items()}}
    try:
        kit = part(sculpt, changed)
    except CondyleError:
        return None
    seated = [j.seated for j in kit.joints]
    told = [suited(p, seated) for p in poses]
    found = carry(kit, workshop, told, reach, asked, Bvh(sculpt.mesh), only=tried)
    # Of the trial's parts nothing is needed any more.
    return Trial(tried, Kit((), kit.joints, kit.balance), found.findings)


def _lighter(sculpt: Solid) -> Solid:
    out, tolerance = sculpt, _FINE_MM
    while out.triangle_count > _LIGHT and tolerance <= _COARSE_MM:
        out = sculpt.simplified(tolerance)
        tolerance *= 2.0
    return out
