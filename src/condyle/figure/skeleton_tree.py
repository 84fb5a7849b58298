"""Whether bones and joints make one tree, each bone but the root carried by one joint."""

from __future__ import annotations

from collections.abc import Mapping

from condyle.errors import FigureFileError, Place
from condyle.figure.skeleton import Bone, JointSpec
from condyle.workshop.toml_file import KeyPath, line_of


def check_tree(bones: Mapping[str, Bone], joints: Mapping[str, JointSpec], text: str, file: str) -> None:
    def fault(path: KeyPath, message: str, hint: str) -> FigureFileError:
        return FigureFileError("skeleton.tree", message, hint=hint, place=Place(file, line_of(text, path)))

    if not bones:
        raise fault((), "a skeleton needs bones", 'write [bones.pelvis] and so on, or inherits = "upright"')
    roots = [b.name for b in bones.values() if b.parent is None]
    if len(roots) != 1:
        said = "no bone" if not roots else " and ".join(roots)
        path: KeyPath = ("bones", roots[-1]) if roots else ("bones",)
        raise fault(path, f"a skeleton has one root, a bone without parent; here: {said}", "give the others a parent")
    for bone in bones.values():
        if bone.parent is not None and bone.parent not in bones:
            raise fault(("bones", bone.name, "parent"), f"there is no bone {bone.parent}", "check the name")
        seen = {bone.name}
        up = bone.parent
        while up is not None:
            if up in seen:
                raise fault(("bones", bone.name, "parent"), f"the bones run in a ring through {up}", "cut it open")
            seen.add(up)
            up = bones[up].parent
    moved: dict[str, str] = {}
    for joint in joints.values():
        for key, bone_name in (("parent", joint.parent), ("child", joint.child)):
            if bone_name not in bones:
                place: KeyPath = ("joints", joint.name, key)
                raise fault(place, f"joint {joint.name}: there is no bone {bone_name}", "check the name")
        if bones[joint.child].parent != joint.parent:
            hint = f'write parent = "{joint.parent}" under [bones.{joint.child}]'
            message = f"joint {joint.name}: the parent of {joint.child} is {bones[joint.child].parent}"
            raise fault(("joints", joint.name, "child"), message, hint)
        if joint.child in moved:
            message = f"joints {moved[joint.child]} and {joint.name} both carry {joint.child}"
            raise fault(("joints", joint.name, "child"), message, "each bone has one joint to its parent")
        moved[joint.child] = joint.name
    for bone in bones.values():
        if bone.parent is not None and bone.name not in moved:
            raise fault(
                ("bones", bone.name), f"no joint carries the bone {bone.name}", "add one, or leave the bone out"
            )
