"""Inserts in a finished kit: a joint's stud or socket becomes a part of its own on a keyed peg.

The part and the peg's joint are added to the kit: ``JOINT_stud`` or ``JOINT_cup``, and a fixed joint ``JOINT_peg`` between
it and its host, so that every later question is asked of both. Where the host has no flesh for the peg, the hardware
stays built in and a fail says what is missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.parting.hardware import Hardware
from condyle.figure.parting.plan import Half
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.figure.wishes import Insert, JointWish
from condyle.finding import Finding, Point, Verdict, point_of
from condyle.geometry.frame import Frame
from condyle.geometry.solid import Solid, remainder, subtract
from condyle.joints import insert
from condyle.joints.ball import BallShape
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_LEAST_MISSING_MM3 = 0.15


def with_inserts(
    kit: Kit, hardware: Sequence[Hardware], wishes: Mapping[str, JointWish], fits: Fits, stock: Stock
) -> Kit:
    """The kit with the inserts that are wished for, and the studs that were chosen where a ball would break first."""
    for h in hardware:
        name = h.plan.joint.name
        wanted = _wanted(h, wishes)
        if wanted in ("stud", "cup"):
            kit = _inserted(kit, h, wanted, fits, stock, chosen=bool(h.plan.insert))
        elif wanted == "double_ball" and len(h.placed) == 1:
            joint = next(j for j in kit.joints if j.name == name)
            kit = _told(
                kit, joint, _refusal(joint, "no room for a link with two balls: a smaller size, or a longer limb")
            )
    return kit


def host_bone(h: Hardware, wishes: Mapping[str, JointWish]) -> str | None:
    """The bone whose part holds the joint's insert; None for a joint that has none."""
    wanted = _wanted(h, wishes)
    if wanted not in ("stud", "cup"):
        return None
    spec = h.plan.joint.spec
    return spec.child if _on_child(h.plan.halves[0], wanted) else spec.parent


def _wanted(h: Hardware, wishes: Mapping[str, JointWish]) -> Insert | Literal[""]:
    return wishes.get(h.plan.joint.name, JointWish()).insert or h.plan.insert


def _on_child(half: Half, kind: insert.InsertKind) -> bool:
    return (half.cup_side if kind == "stud" else half.knuckle_side) == "child"


def _inserted(kit: Kit, h: Hardware, kind: insert.InsertKind, fits: Fits, stock: Stock, *, chosen: bool = False) -> Kit:
    """The kit with one insert. One that was ``chosen``, not asked for, and finds no flesh after all is a caution."""
    half = h.plan.halves[0]
    joint = next(j for j in kit.joints if j.name == h.plan.joint.name)
    shape = half.shape
    if not joint.built or not isinstance(shape, BallShape):
        return _told(kit, joint, _refusal(joint, "only a ball can be an insert: set kind, or take insert out"))
    if kind == "cup" and shape.socket == "split":
        advice = (
            'a split socket parts the whole limb and cannot be an insert: socket = "slit", a stud, or a thicker limb'
        )
        return _told(kit, joint, _refusal(joint, advice))
    on_child = _on_child(half, kind)
    host = kit.part(joint.axles[0].moves if on_child else joint.axles[0].stays)
    local = host.solid.transformed(half.frame.inverse)
    found = _cut_free(local, kind, half, shape, fits, stock)
    if isinstance(found, float):
        advice = f"the limb lacks {found:.1f} mm³ of flesh around the insert's peg: a smaller size, or a thicker limb"
        return _told(kit, joint, _refusal(joint, advice, "caution" if chosen else "fail"))
    body, left, seat = found
    matrix = half.frame.matrix
    part = Part(f"{joint.name}_{kind}", host.bone, body.transformed(matrix), build_up=_across(half.frame, kind))
    kept = replace(host, solid=left.transformed(matrix))
    parts = tuple(p for old in kit.parts for p in ((kept, part) if old.name == host.name else (old,)))
    peg = _peg(joint, host, part, half, seat, on_child=on_child)
    axle = joint.axles[0]
    moved = replace(axle, moves=part.name) if on_child else replace(axle, stays=part.name)
    x, y, z = (float(v) for v in half.frame.origin)
    why = "mm; chosen, since its neck would break before the ball lets go: the stud can be replaced" if chosen else "mm"
    note = Finding("joint.insert", joint.name, "pass", measured=seat.size_mm, unit=why, place=(x, y, z))
    joints = tuple(
        j
        for old in kit.joints
        for j in ((replace(old, axles=(moved,), findings=(*old.findings, note)), peg) if old is joint else (old,))
    )
    change = sum(p.solid.volume_mm3 for p in (part, kept)) - host.solid.volume_mm3
    b = kit.balance
    balance = Balance(b.sculpt_mm3, b.parts_mm3 + change, b.voids_mm3 - change, b.crumbs_mm3, b.outside_mm3)
    return replace(kit, parts=parts, joints=joints, balance=balance)


def _cut_free(
    local: Solid,
    kind: insert.InsertKind,
    half: Half,
    shape: BallShape,
    fits: Fits,
    stock: Stock,
) -> tuple[Solid, Solid, insert.Seat] | float:
    """The insert, the host without it, and the seat between them (knuckle frame); or the flesh that is missing, mm³."""
    if kind == "cup":
        clearance = fits.get("peg", 2.0 * insert.cup_radius_mm(shape, stock)).clearance_mm
        body, seat = insert.cup(local, shape, half.cut, clearance, stock)
        missing = _missing(local, seat, [insert.stud_room(shape, half.cut)])
        if missing > _LEAST_MISSING_MM3:
            return missing
        bodies = body.components()
        return bodies[0], subtract(local, [seat.room], "host of an insert"), seat
    clearance = fits.get("peg", 2.0 * insert.stud_peg_mm(shape)).clearance_mm
    missing = 0.0
    bare = subtract(local, [insert.stud_room(shape, half.cut)], "host without its stud")
    for length in insert.LENGTHS:
        body, seat = insert.stud(shape, half.cut, length, clearance, stock)
        missing = _missing(bare, seat, [])
        if missing <= _LEAST_MISSING_MM3:
            return body, subtract(bare, [seat.room], "host of an insert"), seat
    return missing


def _missing(host: Solid, seat: insert.Seat, beside: list[Solid]) -> float:
    """How much of the wall around a seat is not there, mm³."""
    left = remainder(seat.around, [host, seat.room, *beside])
    return 0.0 if left is None else left.volume_mm3


def _peg(joint: BuiltJoint, host: Part, part: Part, half: Half, seat: insert.Seat, *, on_child: bool) -> BuiltJoint:
    """The fixed joint between an insert and its host."""
    parent, child = (part.name, host.name) if on_child else (host.name, part.name)
    frame = half.frame
    # The insert goes from its mouth to its end; when the host is what moves, it comes the other way.
    way = frame.z * (1.0 if seat.end_z > seat.mouth_z else -1.0) * (-1.0 if on_child else 1.0)
    centre = frame.to_outer(np.array([0.0, 0.0, 0.5 * (seat.mouth_z + seat.end_z)]))
    spec = JointSpec(f"{joint.name}_peg", "peg", parent, child, (0.0, 0.0, 0.0), size=None)
    seated = SeatedJoint(spec, Frame(centre, frame.rotation), point_of(frame.z), {}, joint.seated.source, 0.0)
    length = abs(seat.end_z - seat.mouth_z)
    return BuiltJoint(
        seated=seated,
        built=True,
        size_mm=seat.size_mm,
        clearance_mm=seat.clearance_mm,
        kerf_mm=joint.kerf_mm,
        bearing_mm2=float(np.pi * seat.size_mm * length),
        axles=(Axle(child, parent, point_of(centre)),),
        insertion=(point_of(way),),
        travel_mm=length + 1.0,
        bearing=(seat.bearing.transformed(frame.matrix),),
    )


def _across(frame: Frame, kind: insert.InsertKind) -> Point:
    """What points up when an insert is printed: a stud lies on its side, so that no layer crosses its neck; a cup stands."""
    return point_of(frame.x if kind == "stud" else frame.z)


def _refusal(joint: BuiltJoint, advice: str, verdict: Verdict = "fail") -> Finding:
    return Finding("joint.insert", joint.name, verdict, place=point_of(joint.seated.frame.origin), advice=advice)


def _told(kit: Kit, joint: BuiltJoint, finding: Finding) -> Kit:
    joints = tuple(replace(j, findings=(*j.findings, finding)) if j is joint else j for j in kit.joints)
    return replace(kit, joints=joints)
