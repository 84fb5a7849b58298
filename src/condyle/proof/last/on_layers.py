"""What the build orientation is told: the tension that a finger or a hand brings along each neck and beside each pin.

Layers that lie across a neck are pulled apart by what bends it, so the way a part is laid is chosen against these loads.
They do not depend on the layers themselves: moments come from arms and from joints that let go, and stresses from shape.
"""

from __future__ import annotations

from collections.abc import Mapping

from condyle.build.faces import Neck
from condyle.figure.kit import Kit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.resting import hull_corners
from condyle.proof.last.cross import Cross, Sections
from condyle.proof.last.loads import Finger, JointStrength, Wanted, beyond, strength_of

_LEAST = 0.2
"""A section that gets less than this share of its joint's most strained one has no say in how its part lies."""


def strengths_of(kit: Kit, sections: Sections) -> dict[str, JointStrength]:
    """The strength of every joint with hardware, by name."""
    told = {
        j.name: strength_of(j, sections.necks[j.name], sections.eyes[j.name], sections.seats.get(j.name))
        for j in kit.joints
        if j.built
    }
    return {name: strength for name, strength in told.items() if strength is not None}


def loads_on_layers(kit: Kit, sections: Sections, wanted: Wanted) -> tuple[Neck, ...]:
    """For each part and joint its most strained neck, as printed full in its own material, MPa in the outer fibre.

    A neck is bent by the finger's moment, M·K/W, or by what levers its ball out of the socket, where that is more: it has
    to outlive both. The eye beside a pin is torn by ``tug_n``, F·K/A. Joints that let go are
    counted as in the finger's own proof.
    """
    tree = beyond(kit)
    corners: Mapping[str, FloatArray] = {p.name: hull_corners(p.mesh.vertices) for p in kit.parts}
    strengths = strengths_of(kit, sections)
    finger = Finger(kit, corners, strengths, wanted)
    out: dict[tuple[str, str], Neck] = {}

    def tell(cross: Cross, stress_mpa: float) -> None:
        old = out.get((cross.part, cross.joint))
        x, y, z = (float(v) for v in cross.normal)
        if old is None or stress_mpa > (old.stress_mpa or 0.0):
            neck = Neck(cross.joint, cross.place, (x, y, z), cross.round_mm, stress_mpa, cross.part)
            out[cross.part, cross.joint] = neck

    for joint in kit.joints:
        if not joint.built:
            continue
        moved = joint.axles[0].moves
        for cross in sections.necks[joint.name]:
            push = finger.on(cross.place, tree[moved], moved)
            pried = strengths[joint.name].release_nmm or 0.0
            tell(cross, max(push.moment_nmm, pried) * cross.notch / cross.bar.bending_mm3)
        for cross in sections.eyes[joint.name]:
            tell(cross, wanted.tug_n * cross.notch / cross.bar.area_mm2)
    most: dict[str, float] = {}
    for neck in out.values():
        most[neck.joint] = max(most.get(neck.joint, 0.0), neck.stress_mpa or 0.0)
    return tuple(n for n in out.values() if (n.stress_mpa or 0.0) >= _LEAST * most[n.joint])
