"""The step that asks whether a kit holds, stands and lasts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from condyle.build.faces import Neck
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose
from condyle.figure.skeleton import Motion, Range, SeatedJoint
from condyle.figure.soles import Lump, Soled
from condyle.figure.wishes import JointWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument
from condyle.project.soles_step import recipe_of
from condyle.project.trial_step import Part, try_changes
from condyle.project.watch import Watch
from condyle.proof import Proof
from condyle.proof.carry import Carried, CarryAsked, carry
from condyle.proof.hold.capacity import HoldWanted
from condyle.proof.hold.worst import Reach
from condyle.proof.last.cross import Sections
from condyle.proof.last.loads import Wanted
from condyle.proof.last.on_layers import loads_on_layers
from condyle.proof.last.scan import Scanner
from condyle.proof.move import wanted_from_pose
from condyle.proof.stand.judge import StandWanted
from condyle.workshop.bench import Workshop


def carry_asked(document: FigureDocument, lumps: tuple[Lump, ...] = ()) -> CarryAsked:
    """What figure.toml asks of holding, standing and lasting."""
    content = document.content
    hold, stand, last = content.hold, content.stand, content.last
    return CarryAsked(
        recipe=recipe_of(document),
        hold=HoldWanted(hold.factor, hold.factor_aged, 1.0 / 3.0, hold.days, hold.warm_c, hold.wear, hold.paint),
        stand=StandWanted(stand.tip_deg, stand.margin_mm),
        last=Wanted(finger_n=last.finger_n, drop_mm=last.drop_mm, safety=last.safety),
        weighed_g=dict(hold.weighed_g),
        lumps=lumps,
    )


def section_loads(
    document: FigureDocument, kit: Kit, workshop: Workshop, inputs: Sequence[bytes], cache: Cache, watch: Watch
) -> tuple[Sections, tuple[Neck, ...]]:
    """The kit's real sections, and what a finger's load brings to its necks and pins: the build orientation goes by it."""
    asked = carry_asked(document)
    key = key_of("sections", *inputs, to_bytes((asked.recipe, asked.last)))

    def read() -> tuple[Sections, tuple[Neck, ...]]:
        sections = Scanner(kit, workshop, asked.recipe).sections()
        return sections, loads_on_layers(kit, sections, asked.last)

    with watch.step("sections") as stored:
        told, stored.value = cache.fetch("sections", key, read)
    return told


def carry_kit(
    document: FigureDocument,
    soled: Soled,
    sculpt: Solid,
    workshop: Workshop,
    proof: Proof,
    poses: Sequence[Pose],
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
    layers: Mapping[str, Sequence[float]] | None = None,
    sections: Sections | None = None,
    again: tuple[Part, Mapping[str, JointWish], Sequence[SeatedJoint]] | None = None,
) -> Carried:
    """The step itself, kept under all that goes into it. ``layers``: the way up of each part as it will be printed;
    ``sections`` of this very kit, where they were read off before; ``again``: how to part with other wishes, the wishes so
    far and the joints, to try what would mend."""
    ups = {n: (float(v[0]), float(v[1]), float(v[2])) for n, v in sorted((layers or {}).items())}
    asked, kit = replace(carry_asked(document, soled.lumps), layers=ups), soled.kit
    key = key_of("carry", *inputs, to_bytes(asked), to_bytes(tuple(poses)))
    reach = reach_of(kit, proof)
    with watch.step("carry") as stored:
        carried, stored.value = cache.fetch(
            "carry", key, lambda: carry(kit, workshop, poses, reach, asked, Bvh(sculpt.mesh), sections)
        )
    if again is None:
        return carried
    part, wishes, joints = again
    return try_changes(kit, carried, sculpt, wishes, part, joints, workshop, poses, reach, asked, inputs, cache, watch)


def reach_of(kit: Kit, proof: Proof) -> Reach:
    """Where each joint goes, from the sculpt's own pose: as measured, else as wanted."""
    out: dict[str, dict[Motion, Range]] = {}
    for joint in kit.joints:
        measured = proof.joints[joint.name].reached if joint.name in proof.joints else {}
        out[joint.name] = {**wanted_from_pose(joint.seated), **measured}
    return out
