"""All files of a kit that hold shapes, as bytes: parts/NAME.stl, kit.3mf, figure.glb."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from condyle.errors import UsageError
from condyle.export.glb import Animation, JointNode, figure_glb
from condyle.export.threemf_kit import kit_threemf
from condyle.export.written import checked_part
from condyle.figure.kit import BuiltJoint, Kit
from condyle.geometry.formats import stl_bytes
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid

_FILE_NAME = re.compile(r"\w[\w-]*")


@dataclass(frozen=True, eq=False)
class KitFiles:
    """What to write, by path relative to the kit's folder (``/`` between folders), and the meshes as written: by part, and
    of the accessories by name."""

    files: dict[str, bytes]
    meshes: dict[str, Mesh]
    beside: dict[str, Mesh] = field(default_factory=dict)


def part_file(name: str) -> str:
    """Where a part's STL lies in the kit."""
    if not _FILE_NAME.fullmatch(name):
        raise UsageError("export.name", f"the part name {name!r} cannot be a file name",
                         hint="Name bones with letters, digits, _ and - only.")  # fmt: skip
    return f"parts/{name}.stl"


def kit_files(
    kit: Kit, animations: Sequence[Animation] = (), accessories: Mapping[str, Solid] | None = None
) -> KitFiles:
    """STL, 3MF and GLB of a kit, each part checked as written. SolidError when a part does not survive rounding.

    ``accessories`` (a display base) are printed with the kit but hang on no joint: they are in the STL files and the 3MF,
    and not in the GLB; their meshes are ``beside``.
    """
    meshes = {part.name: checked_part(part.solid, part.name) for part in kit.parts}
    parts = list(meshes.items())
    beside = [(name, checked_part(solid, name)) for name, solid in (accessories or {}).items()]
    files = {part_file(name): stl_bytes(mesh) for name, mesh in (*parts, *beside)}
    files["kit.3mf"] = kit_threemf([*parts, *beside])
    files["figure.glb"] = figure_glb(
        parts, [node for joint in kit.joints if joint.built for node in joint_nodes(joint)], animations
    )
    return KitFiles(files, meshes, dict(beside))


def joint_nodes(joint: BuiltJoint) -> list[JointNode]:
    """The nodes of a built joint: one, or two for a double hinge, whose first is named after the link that it moves.

    The joint's own name goes to the node that moves the child, so posing ``joint:elbow_left`` always moves the forearm.
    """
    last = len(joint.axles) - 1
    return [
        JointNode(joint.name if i == last else axle.moves, axle.centre, axle.stays, axle.moves)
        for i, axle in enumerate(joint.axles)
    ]
