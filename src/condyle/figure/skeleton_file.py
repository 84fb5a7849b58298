"""skeleton.toml: bones and joints as a maker writes them, and the two skeletons that come along.

A file may ``inherits`` a template by name: its own tables then change or add to the template's; a joint's table need
only hold what differs. Every complaint names the file and the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.errors import FigureFileError, Place
from condyle.figure.skeleton import MOTIONS, Bone, JointSpec, Kind, Motion, Range, Skeleton
from condyle.workshop.toml_file import KeyPath, line_of, parse_toml, read_checked

TEMPLATES = ("upright", "fourfoot")

_Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]
_Degrees = Annotated[float, Field(ge=-360.0, le=360.0)]
_Span = Annotated[list[_Degrees], Field(min_length=2, max_length=2)]
_Vector = Annotated[list[float], Field(min_length=3, max_length=3)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class _Wanted(_Table):
    """Degrees by motion, measured from the human zero."""

    flex: _Span | None = None
    abduct: _Span | None = None
    twist: _Span | None = None

    @model_validator(mode="after")
    def _rising(self) -> _Wanted:
        for motion, span in self.spans.items():
            if span[0] > span[1]:
                raise ValueError(f"{motion} runs from {span[0]:g} down to {span[1]:g}; write the smaller angle first")
        return self

    @property
    def spans(self) -> dict[Motion, Range]:
        named: dict[Motion, list[float] | None] = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: (s[0], s[1]) for motion, s in named.items() if s is not None}


class _BoneTable(_Table):
    parent: _Name | None = None


class _JointTable(_Table):
    """Everything optional, as the file may inherit; what is missing in the end is told by ``_complete``."""

    kind: Literal["ball", "hinge", "swivel", "double_hinge", "peg", "custom"] | None = None
    size: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    parent: _Name | None = None
    child: _Name | None = None
    centre: _Vector | None = None
    axis: _Vector | None = None
    forward: Literal[-1, 1] | None = None
    wanted: _Wanted | None = None
    yields: Literal["parent", "child", "both"] | None = None
    convex: Literal["parent", "child"] | None = None
    seam_mm: Annotated[float, Field(ge=0.0, le=100.0)] | None = None


class _SkeletonFile(_Table):
    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Annotated[str, Field(min_length=1, max_length=200)]
    inherits: Literal["upright", "fourfoot"] | None = None
    height_mm: Annotated[float, Field(ge=20.0, le=2000.0)] | None = None
    bones: dict[_Name, _BoneTable] = {}
    joints: dict[_Name, _JointTable] = {}


def load_template(name: str) -> Skeleton:
    """A skeleton that comes with Condyle: ``upright`` or ``fourfoot``.

    Raises FigureFileError (``skeleton.template``) for another name.
    """
    if name not in TEMPLATES:
        raise FigureFileError(
            "skeleton.template",
            f"there is no skeleton template {name!r}",
            hint=f"the templates are {' and '.join(TEMPLATES)}; a skeleton of your own is given by its .toml file",
        )
    file = resources.files("condyle.figure") / "templates" / f"{name}.toml"
    return parse_skeleton(file.read_text(encoding="utf-8"), f"{name}.toml")


def read_skeleton(path: Path) -> Skeleton:
    """The skeleton in a file.

    Raises FigureFileError: ``skeleton.unreadable`` for a file that cannot be read as text, ``toml.*`` for one whose
    keys or values are off, ``skeleton.*`` for bones and joints that make no tree.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = "it is not UTF-8 text" if isinstance(error, UnicodeDecodeError) else str(error.strerror or error)
        raise FigureFileError(
            "skeleton.unreadable",
            f"the skeleton file cannot be read: {reason}",
            hint="check the path under [skeleton]",
            place=Place(file=str(path)),
        ) from error
    return parse_skeleton(text, str(path))


def parse_skeleton(text: str, file: str) -> Skeleton:
    """The skeleton in a text; ``file`` is only named in errors, which are those of read_skeleton."""
    _check_schema(text, file)
    content = read_checked(_SkeletonFile, text, file)
    base = load_template(content.inherits) if content.inherits else Skeleton(content.name, (), (), 150.0)
    bones = {b.name: b for b in base.bones}
    for name, bone in content.bones.items():
        bones[name] = Bone(name, bone.parent)
    joints = {j.name: j for j in base.joints}
    for name, table in content.joints.items():
        joints[name] = _joint(name, table, joints.get(name), text, file)
    _check_tree(bones, joints, text, file)
    height = content.height_mm if content.height_mm is not None else base.height_mm
    return Skeleton(content.name, tuple(bones.values()), tuple(joints.values()), height)


def _check_schema(text: str, file: str) -> None:
    """A later schema is told before its unknown keys are."""
    schema = parse_toml(text, file).get("schema")
    if isinstance(schema, int) and not isinstance(schema, bool) and schema > 1:
        raise FigureFileError(
            "skeleton.schema",
            f"this skeleton file has schema {schema}; this version of Condyle reads schema 1",
            hint="use a newer Condyle",
            place=Place(file, line_of(text, ("schema",))),
        )


def _joint(name: str, table: _JointTable, base: JointSpec | None, text: str, file: str) -> JointSpec:
    def fault(key: str, message: str, hint: str) -> FigureFileError:
        place = Place(file, line_of(text, ("joints", name, key)))
        return FigureFileError("skeleton.joint", f"joint {name}: {message}", hint=hint, place=place)

    if base is None:
        for key in ("kind", "parent", "child", "centre"):
            if getattr(table, key) is None:
                raise fault(key, f"{key} is missing", "a joint needs kind, parent, child and centre")
    kind: Kind = table.kind or base.kind if base else table.kind  # type: ignore[assignment]
    if table.axis is not None and table.forward is not None:
        raise fault("axis", "axis and forward say the same thing twice", "keep one of them")
    forward = table.forward if table.forward is not None else (base.forward if base else 1)
    if table.axis is not None:
        forward = _forward_of(table.axis, fault)
    wanted: dict[Motion, Range] = dict(base.wanted) if base else {}
    if table.wanted is not None:
        for motion, span in table.wanted.spans.items():
            if motion not in MOTIONS[kind]:
                raise fault(
                    "wanted", f"a {kind} has no {motion}", f"it moves by {', '.join(MOTIONS[kind]) or 'nothing'}"
                )
            wanted[motion] = span
    wanted = {m: wanted[m] for m in MOTIONS[kind] if m in wanted}
    centre = table.centre if table.centre is not None else (base.centre if base else None)
    assert centre is not None
    if table.centre is not None and not all(-2.0 <= v <= 2.0 for v in centre):
        raise fault("centre", "centre is given in fractions of the height", "write numbers between -2 and 2")
    return JointSpec(
        name=name,
        kind=kind,
        parent=table.parent or (base.parent if base else ""),
        child=table.child or (base.child if base else ""),
        centre=(float(centre[0]), float(centre[1]), float(centre[2])),
        forward=forward,
        size=table.size if table.size is not None else (base.size if base else None),
        wanted=wanted,
        yields=table.yields or (base.yields if base else "child"),
        convex=table.convex or (base.convex if base else None),
        seam_mm=table.seam_mm if table.seam_mm is not None else (base.seam_mm if base else 0.0),
    )


def _forward_of(axis: list[float], fault: Any) -> int:
    """The sense of flexion that an axis states, for a limb that hangs: about -y the far end goes forward."""
    x, y, z = axis
    if abs(y) < 0.7 * (x * x + y * y + z * z) ** 0.5 or y == 0.0:
        raise fault(
            "axis",
            "the axis of flexion runs across the figure, along -y (far end forward) or +y (backward)",
            "write forward = 1 or forward = -1 instead, and set another axis in figure.toml once the joint is seated",
        )
    return 1 if y < 0 else -1


def _check_tree(bones: Mapping[str, Bone], joints: Mapping[str, JointSpec], text: str, file: str) -> None:
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
