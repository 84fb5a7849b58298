"""Parting: one cut through the whole sculpt, then each part by itself gets its hardware.

The whole sculpt is touched a fixed number of times, whatever the number of joints: once to subtract all kerfs and
cavities, once to fall apart into components, and once to weigh what stands out of it. Limbs are measured on sections of
local views.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from condyle.errors import SculptError
from condyle.figure.kit import Kit
from condyle.figure.parting.assemble import assemble
from condyle.figure.parting.balance import weigh
from condyle.figure.parting.built import built_joint, refused_joint
from condyle.figure.parting.choice import choose
from condyle.figure.parting.fall import fall_apart
from condyle.figure.parting.flare import flared
from condyle.figure.parting.hardware import hardware_of
from condyle.figure.parting.inserts import with_inserts
from condyle.figure.parting.settle import settled
from condyle.figure.relief.of_kit import relieved
from condyle.figure.skeleton import SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.locality import Locality
from condyle.geometry.solid import Solid
from condyle.joints.stock import stock_of
from condyle.workshop.bench import Workshop

Progress = Callable[[str], None]


def part(
    sculpt: Solid,
    skeleton: Skeleton,
    seated: Sequence[SeatedJoint],
    workshop: Workshop,
    wishes: Mapping[str, JointWish] | None = None,
    progress: Progress = lambda step: None,
    relief: bool = False,
    inserts: bool = True,
) -> Kit:
    """Part a sculpt along its joints.

    Joints that find no room are refused: they stay in the kit's list with ``built`` False and a finding, and the two
    bones stay one part. With ``relief``, material goes where the sculpt itself stops a joint short; without ``inserts``
    studs and sockets stay built in. Raises SculptError when a joint lies outside the sculpt's bounds.
    """
    wishes = wishes or {}
    stock = stock_of(workshop)
    for joint in seated:
        _must_be_near(joint, sculpt)
    progress("measuring the limbs")
    locality = Locality(sculpt.mesh)
    height = float(sculpt.bounds[1, 2] - sculpt.bounds[0, 2])
    placed = [settled(j, locality, height, _seam_mm(j, wishes)) for j in seated]
    progress("choosing sizes")
    choice = choose(placed, wishes, locality, workshop.fits, workshop.kerf_mm, stock)
    del locality
    body, flare_findings = flared(sculpt, choice.plans, stock)
    progress("making hardware")
    made = [hardware_of(plan, stock) for plan in choice.plans]
    progress("cutting")
    fallen = fall_apart(body, skeleton, made, stock)
    hardware = [h for h in made if h.plan.joint.name not in fallen.hanging]
    progress("adding hardware")
    parts, part_findings = assemble(fallen, hardware)
    progress("weighing")
    balance, outside = weigh(sculpt, body, parts, fallen, hardware)
    by_name = {h.plan.joint.name: h for h in hardware}
    refused = {r.joint.name: r for r in choice.refusals}
    joints = []
    for joint in placed:
        if joint.name in by_name:
            joints.append(built_joint(by_name[joint.name], fallen.part_of, outside.get(joint.name, 0.0), stock))
        else:
            joints.append(refused_joint(joint, refused.get(joint.name), fallen.hanging.get(joint.name)))
    kit = Kit(parts, tuple(joints), balance, (*flare_findings, *fallen.findings, *part_findings))
    kit = relieved(kit, body, hardware, fallen.part_of, wishes, stock, progress) if relief else kit
    return with_inserts(kit, hardware, wishes, workshop.fits, stock) if inserts else kit


def _seam_mm(joint: SeatedJoint, wishes: Mapping[str, JointWish]) -> float:
    asked = wishes.get(joint.name, JointWish()).seam_mm
    return joint.spec.seam_mm if asked is None else asked


def _must_be_near(joint: SeatedJoint, sculpt: Solid) -> None:
    low, high = sculpt.bounds
    if (joint.frame.origin < low).any() or (joint.frame.origin > high).any():
        x, y, z = (float(v) for v in joint.frame.origin)
        raise SculptError(
            "joint.outside",
            f"the joint {joint.name} lies outside the sculpt, at ({x:.1f}, {y:.1f}, {z:.1f}) mm",
            hint=f"correct the centre of [joints.{joint.name}], or let seating find it again",
        )
