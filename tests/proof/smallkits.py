"""Kits of two or three parts whose gaps and ranges have closed forms, built from primitives alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.skeleton import Bone, JointSpec, Kind, Motion, Range, SeatedJoint, Skeleton
from condyle.geometry.frame import Frame, frame_from_zx
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, gather, subtract, union

LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)
"""Lays a form turned about z along x."""


def seated(
    name: str, kind: Kind, wanted: Mapping[Motion, Range], *, parent: str = "upper", child: str = "lower",
    z: Sequence[float] = (0.0, 0.0, -1.0), x: Sequence[float] = (1.0, 0.0, 0.0), rest: Mapping[Motion, float] | None = None,
) -> SeatedJoint:  # fmt: skip
    spec = JointSpec(name, kind, parent, child, (0.0, 0.0, 0.5), wanted=dict(wanted))
    frame: Frame = frame_from_zx(np.zeros(3), np.array(z), np.array(x))
    return SeatedJoint(spec, frame, (float(z[0]), float(z[1]), float(z[2])), rest=dict(rest or {}))


def kit_of(parts: Mapping[str, Solid], joints: Sequence[BuiltJoint]) -> tuple[Kit, Solid, Skeleton]:
    """A kit, a stand-in for the sculpt (far larger, so that nothing lies on its skin), and its skeleton."""
    made = tuple(Part(name, name, solid) for name, solid in parts.items())
    volume = sum(p.solid.volume_mm3 for p in made)
    kit = Kit(made, tuple(joints), Balance(volume, volume, 0.0, 0.0, 0.0))
    specs = tuple(j.seated.spec for j in joints)
    parent = {s.child: s.parent for s in specs}
    bones = tuple(Bone(name, parent.get(name)) for name in parts)
    return kit, box((-200, -200, -200), (200, 200, 200)), Skeleton("test", bones, specs)


def ball_kit(
    *, radius: float = 4.0, lip_deg: float = 15.94, neck: float = 1.6, clearance: float = 0.05, kerf: float = 0.1,
    extra: Solid | None = None,
) -> tuple[Kit, Solid, Skeleton]:  # fmt: skip
    """A ball on a neck below, in a round opening: the lip is the edge where the hollow meets the block's flat underside."""
    hollow = radius + clearance
    lip_z = -hollow * math.sin(math.radians(lip_deg))
    block = subtract(box((-9, -9, lip_z), (9, 9, 9)), [sphere(hollow, "outside")])
    stud = [sphere(radius), cylinder(neck, -30.0, 0.0)]
    if extra is not None:
        stud.append(extra)
    joint = BuiltJoint(
        seated("ball", "ball", {"flex": (-40.0, 40.0), "abduct": (-90.0, 90.0), "twist": (-180.0, 180.0)}),
        built=True,
        size_mm=2 * radius,
        clearance_mm=clearance,
        kerf_mm=kerf,
        undercut_mm=radius - hollow * math.cos(math.radians(lip_deg)),
        axles=(Axle("lower", "upper", (0.0, 0.0, 0.0)),),
        insertion=((0.0, 0.0, 1.0),),
        travel_mm=radius - lip_z + 0.5,
        bearing=(sphere(radius + clearance + 0.15),),
    )
    return kit_of({"upper": block, "lower": union(stud)}, [joint])


def hinge_kit(*, clearance: float = 0.1, stop_z: float = -5.0, pinned: bool = True) -> tuple[Kit, Solid, Skeleton]:
    """A flat arm of half height 1 mm hanging from an eye about x between two ears; a block stops it ahead (+y).

    The arm hangs down -z; its axis of flexion is +x, a positive turn brings it to +y, where the block's face y = 6 reaches
    10 mm down from z = stop_z: the arm's front face meets the block's lower edge.
    """
    eye = cylinder(2.5, -1.5, 1.5).transformed(LYING)
    arm = union([eye, box((-1.5, -1.0, -20.0), (1.5, 1.0, 0.0))])
    gap = 1.5 + clearance
    ears = [box((gap, -3, -3), (gap + 2, 3, 8)), box((-gap - 2, -3, -3), (-gap, 3, 8))]
    bridge = box((-gap - 2, -3, 4), (gap + 2, 8, 8))
    front = box((-gap - 2, 6, stop_z - 10), (gap + 2, 8, 8))
    front = subtract(front, [box((-20, 0, stop_z), (20, 20, 4))])
    post = box((-gap - 2, 8, stop_z - 10), (gap + 2, 10, 8))
    joint = BuiltJoint(
        seated("hinge", "hinge", {"flex": (0.0, 60.0)}),
        built=True,
        size_mm=5.0,
        clearance_mm=clearance,
        kerf_mm=0.2,
        axles=(Axle("lower", "upper", (0.0, 0.0, 0.0)),),
        insertion=((0.0, 0.0, 1.0),),
        travel_mm=6.0,
        bearing=(cylinder(2.8, -gap - 0.1, gap + 0.1, "outside").transformed(LYING),),
        pin_mm=(1.0, 6.0) if pinned else None,
    )
    return kit_of({"upper": union([*ears, bridge, front, post]), "lower": arm}, [joint])


def swivel_kit(*, clearance: float = 0.1) -> tuple[Kit, Solid, Skeleton]:
    """A round stud in a blind bore, faces square to the axis one kerf of 0.3 mm apart: nothing ends the turn."""
    upper = subtract(cylinder(6.0, 0.0, 12.0), [cylinder(2.0 + clearance, -1.0, 8.0, "outside")])
    lower = union([cylinder(6.0, -12.0, -0.3), cylinder(2.0, -1.0, 7.5)])
    joint = BuiltJoint(
        seated("swivel", "swivel", {"twist": (-90.0, 90.0)}),
        built=True,
        size_mm=4.0,
        clearance_mm=clearance,
        kerf_mm=0.3,
        axles=(Axle("lower", "upper", (0.0, 0.0, 0.0)),),
        insertion=((0.0, 0.0, 1.0),),
        travel_mm=8.0,
        bearing=(cylinder(2.5, 0.05, 8.2, "outside"),),
    )
    return kit_of({"upper": upper, "lower": lower}, [joint])


def double_hinge_kit() -> tuple[Kit, Solid, Skeleton]:
    """Two bars and a link, axles 6 mm apart along x, the bars clear of the link; only their ends can meet each other.

    Upper bar above z = 3 + 1, lower bar below; both 4 mm thick. At a whole turn t the bars' inner faces fold together.
    """
    link = gather([box((3, -1, -4), (4, 1, 4))])
    upper = box((-2, -2, 4), (2, 2, 30))
    lower = box((-2, -2, -30), (2, 2, -4))
    joint = BuiltJoint(
        seated("double", "double_hinge", {"flex": (0.0, 150.0)}),
        built=True,
        size_mm=4.0,
        clearance_mm=0.1,
        kerf_mm=0.3,
        axles=(Axle("link", "upper", (0.0, 0.0, 3.0)), Axle("lower", "link", (0.0, 0.0, -3.0))),
        insertion=((0.0, 0.0, 1.0), (0.0, 0.0, 1.0)),
    )
    return kit_of({"upper": upper, "link": link, "lower": lower}, [joint])


__all__ = ["ball_kit", "double_hinge_kit", "hinge_kit", "kit_of", "seated", "swivel_kit"]
