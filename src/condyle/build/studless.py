"""Would a part print without marks on its bearings if its balls were studs of their own? Tried on the part, and measured.

The balls are taken off down to their necks, which stand a little less proud than the recess that a real insert leaves;
the part is then searched and held to its layers again. The keyed hole, which is as wide as a neck, is left out: it closes
within a bridge, or points up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.build.bearing import Band
from condyle.build.faces import PrintPart, kinds
from condyle.build.plan import plan_part
from condyle.build.process import Rules
from condyle.errors import SolidError
from condyle.figure.kit import BuiltJoint
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, subtract
from condyle.workshop.material import Material


@dataclass(frozen=True)
class Studless:
    """What a part would be like without the balls of ``joints``: bearing face touched (mm²), support (mm³), as it lies then."""

    joints: tuple[str, ...]
    touched_mm2: float
    support_mm3: float
    lies: str


def without_balls(
    part: PrintPart, joints: Sequence[BuiltJoint], rules: Rules, material: Material, pin: FloatArray | None = None
) -> Studless | None:
    """The part laid again without the balls that it carries; None where it carries none, or falls apart without them."""
    whole = Bvh(part.plain.mesh)
    mine: list[BuiltJoint] = []
    for joint in joints:
        if joint.built and joint.seated.spec.kind == "ball" and len(joint.axles) == 1 and len(joint.bearing) == 1:
            axle = joint.axles[0]
            held = part.name in (axle.moves, axle.stays)
            if held and bool(whole.inside(np.array(axle.centre)[None] + 0.01)[0]):
                mine.append(joint)
    if not mine:
        return None
    balls = [j.bearing[0] for j in mine]
    try:
        bare, plain = _largest(part.solid, balls), _largest(part.plain, balls)
        light = plain.simplified(0.15)
    except SolidError:
        return None
    if bare.volume_mm3 < 0.5 * part.solid.volume_mm3:
        return None
    centres = np.array([j.axles[0].centre for j in mine])
    bearings = tuple(s for s in part.bearings if not any(s is b for b in balls))
    clear = tuple(
        c for c in part.clear
        if not (isinstance(c, Band) and (np.linalg.norm(centres - np.array(c.centre), axis=1) < 1e-6).any())
    )  # fmt: skip
    mesh = light.mesh
    kind = kinds(mesh.corners.mean(axis=1), bearings, part.skin, clear)
    necks = tuple(n for n in part.necks if n.joint not in {j.name for j in mine})
    new = replace(
        part, solid=bare, plain=plain, light=mesh, light_kinds=kind, necks=necks, bearings=bearings, clear=clear
    )
    plan = plan_part(new, rules, material, pin)
    measures = plan.orientation.chosen.measures
    touched = measures["bearing_mm2"] + measures["feet_bearing_mm2"] + measures["first_bearing_mm2"]
    return Studless(tuple(j.name for j in mine), touched, measures["support_mm3"], plan.orientation.chosen.words)


def _largest(solid: Solid, taken: Sequence[Solid]) -> Solid:
    return subtract(solid, list(taken), "part without its balls").components()[0]
