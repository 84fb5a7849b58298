"""What would a single hinge show and reach in the place of a double one? It is cut in earnest, in the limb alone.

The limb is cut out of the sculpt around the joint and parted at this one joint, as any sculpt is; the rest of the figure,
which could stop it sooner, is not there, so that its range is the limb's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from condyle.errors import SculptError
from condyle.figure.kit import BuiltJoint
from condyle.figure.parting import part
from condyle.figure.skeleton import Bone, Range, SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, overlap
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.proof.move_gaps import Opening, openings
from condyle.workshop.bench import Workshop

_REACH = 3.0


@dataclass(frozen=True)
class SingleHinge:
    """A single hinge tried where a double one stands: its size, its range of flexion from the sculpt's pose, its openings."""

    size_mm: float
    reached_deg: Range
    openings: tuple[Opening, ...]


def single_hinge(joint: BuiltJoint, sculpt: Solid, workshop: Workshop) -> SingleHinge | None:
    """The same joint as a single hinge; None where it finds no room. ``sculpt`` is the clean sculpt."""
    seated = _alone(joint.seated)
    limb = _limb(joint, sculpt)
    if limb is None:
        return None
    spec = seated.spec
    skeleton = Skeleton(spec.name, (Bone(spec.parent, None), Bone(spec.child, spec.parent)), (spec,))
    try:
        kit = part(limb, skeleton, [seated], workshop, {spec.name: JointWish(kind="hinge")}, relief=True)
    except SculptError:
        return None
    (built,) = kit.joints
    if not built.built or built.size_mm is None:
        return None
    bodies, skin = make_bodies(kit), Bvh(sculpt.mesh)
    meetings = make_meetings(kit, bodies)
    reach = ranges(kit, bodies, meetings, skin, workshop.kerf_mm, workers=1)[spec.name]["flex"]
    return SingleHinge(built.size_mm, reach.reached, openings(built, bodies, skin, reach.reached))


def _alone(seated: SeatedJoint) -> SeatedJoint:
    return replace(seated, spec=replace(seated.spec, kind="hinge", size=None), source="hand")


def _limb(joint: BuiltJoint, sculpt: Solid) -> Solid | None:
    """The body of the sculpt at the joint, a few sizes of the joint either way."""
    centre = np.asarray(joint.seated.frame.origin)
    half = _REACH * (joint.size_mm or 4.0)
    low, high = centre - half, centre + half
    cut = overlap(
        sculpt, box((float(low[0]), float(low[1]), float(low[2])), (float(high[0]), float(high[1]), float(high[2])))
    )
    if cut is None:
        return None
    return next((c for c in cut.components() if bool(Bvh(c.mesh).inside(centre[None])[0])), None)
