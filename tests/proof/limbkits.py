"""Kits of blocks whose loads, stands and breaking moments have closed forms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.skeleton import JointSpec, Kind, Motion, Range, SeatedJoint
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid

ALL_ROUND: dict[Motion, Range] = {"flex": (-90.0, 90.0), "abduct": (-90.0, 90.0), "twist": (-90.0, 90.0)}


def joint(
    name: str, kind: Kind, parent: str, child: str, centre: Sequence[float], *, z: Sequence[float] = (0.0, 0.0, -1.0),
    x: Sequence[float] = (0.0, 1.0, 0.0), hold: float | None = 50.0, clearance: float = -0.04, size: float = 6.0,
    retention: float | None = None, undercut: float = 0.0, wanted: Mapping[Motion, Range] | None = None,
) -> BuiltJoint:  # fmt: skip
    """A joint between two blocks, at ``centre``; its limb hangs along ``z``, it flexes about ``x``."""
    spec = JointSpec(name, kind, parent, child, (0.0, 0.0, 0.5), wanted=dict(wanted or ALL_ROUND))
    at = np.asarray(centre, dtype=np.float64)
    place = (float(at[0]), float(at[1]), float(at[2]))
    way = (float(z[0]), float(z[1]), float(z[2]))
    seat = SeatedJoint(spec, frame_from_zx(at, np.asarray(z), np.asarray(x)), way)
    return BuiltJoint(
        seat,
        built=True,
        size_mm=size,
        clearance_mm=clearance,
        kerf_mm=0.3,
        hold_nmm=hold,
        retention_n=retention,
        insertion_n=retention,
        undercut_mm=undercut,
        stiffness_n_mm=200.0 if undercut else 0.0,
        axles=(Axle(child, parent, place),),
        insertion=((-way[0], -way[1], -way[2]),),
        travel_mm=4.0,
    )


def kit_of(parts: Mapping[str, Solid], joints: Sequence[BuiltJoint]) -> Kit:
    made = tuple(Part(name, name, solid) for name, solid in parts.items())
    volume = sum(p.solid.volume_mm3 for p in made)
    return Kit(made, tuple(joints), Balance(volume, volume, 0.0, 0.0, 0.0))


def walker(*, arm: bool = False, leg: float = 30.0, apart: float = 20.0) -> Kit:
    """A trunk on two straight legs with flat feet; x forward, y left. Hips and ankles are balls.

    Trunk 16 × 30 × 40 mm from z = 40; legs 8 × 8 mm; feet 24 × 10 × 6 mm, reaching 16 mm forward of the leg's middle.
    """
    parts = {"trunk": box((-8, -15, 40), (8, 15, 80))}
    joints = []
    for side, y in (("left", apart / 2), ("right", -apart / 2)):
        parts[f"leg_{side}"] = box((-4, y - 4, 6.5), (4, y + 4, 39.5))
        parts[f"foot_{side}"] = box((-8, y - 5, 0), (16, y + 5, 6))
        joints += [
            joint(f"hip_{side}", "ball", "trunk", f"leg_{side}", (0, y, 40)),
            joint(f"ankle_{side}", "ball", f"leg_{side}", f"foot_{side}", (0, y, 6)),
        ]
    if arm:
        parts["arm"] = box((8.5, -3, 67), (48.5, 3, 73))
        joints.append(joint("shoulder", "ball", "trunk", "arm", (8, 0, 70), z=(1, 0, 0)))
    return kit_of(parts, joints)
