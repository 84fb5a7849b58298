"""skeleton.toml: bones and joints as a maker writes them, and the two skeletons that come along.

A file may inherit from a template by name or from another file by its path: its own tables then change or add to the
other's; a joint's table need only hold what differs. Every complaint names the file and the line.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from condyle.errors import FigureFileError, Place, UsageError
from condyle.figure.arrangement_file import arrangements_of, check_followers
from condyle.figure.skeleton import DETENTED, MOTIONS, Bone, JointSpec, Kind, Motion, Range, Skeleton
from condyle.figure.skeleton_changes import mirrored, mirrored_arrangements, reduced, resized
from condyle.figure.skeleton_model import JointTable, SkeletonFile
from condyle.figure.skeleton_tree import check_tree
from condyle.workshop.toml_file import line_of, parse_toml, read_checked

if TYPE_CHECKING:
    from condyle.joints.custom import OwnJoint

TEMPLATES = ("upright", "fourfoot")


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


_MOST_BYTES = 4_000_000


def read_skeleton(path: Path, trail: tuple[Path, ...] = ()) -> Skeleton:
    """The skeleton in a file; ``trail`` holds the files that inherit from it.

    Raises FigureFileError: ``skeleton.unreadable`` for a file that cannot be read as text, ``toml.*`` for one whose
    keys or values are off, ``skeleton.*`` for bones and joints that make no tree.
    """
    try:
        if path.exists() and not path.is_file():  # a device or a pipe may never end
            raise OSError("this is no file")
        with path.open("rb") as source:
            data = source.read(_MOST_BYTES + 1)
        if len(data) > _MOST_BYTES:
            raise OSError(f"more than {_MOST_BYTES // 1_000_000} MB of text")
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except (OSError, ValueError) as error:
        unreadable = isinstance(error, UnicodeDecodeError)
        reason = "it is not UTF-8 text" if unreadable else str(getattr(error, "strerror", None) or error)
        raise FigureFileError(
            "skeleton.unreadable",
            f"the skeleton file cannot be read: {reason}",
            hint="check the path under [skeleton]",
            place=Place(file=str(path)),
        ) from error
    return parse_skeleton(text, str(path), trail)


def parse_skeleton(text: str, file: str, trail: tuple[Path, ...] = ()) -> Skeleton:
    """The skeleton in a text; ``file`` is named in errors, and what the text names by path lies beside it.

    Raises what read_skeleton does.
    """
    _check_schema(text, file)
    content = read_checked(SkeletonFile, text, file)
    base = _base(content, text, file, trail)
    height = content.height_mm if content.height_mm is not None else base.height_mm
    if content.scale_sizes:
        base = resized(base, height / base.height_mm)
    bones = {b.name: b for b in base.bones}
    for name, bone in content.bones.items():
        old = bones.get(name)
        tip = bone.tip if bone.tip is not None else (old.tip if old else None)
        parent = bone.parent if bone.parent is not None or old is None else old.parent
        bones[name] = Bone(
            name,
            parent,
            None if tip is None else (float(tip[0]), float(tip[1]), float(tip[2])),
            bone.form or (old.form if old else None),
        )
    joints = {j.name: j for j in base.joints}
    for name, table in content.joints.items():
        joints[name] = _joint(name, table, joints.get(name), text, file)
    groups = {a.name: a for a in base.arrangements}
    if content.mirror is not None:
        _check_one_side(content, text, file)
        bones, joints = mirrored(bones, joints, content.mirror)
    check_tree(bones, joints, text, file)
    check_followers(content.joints, joints, text, file)
    groups = arrangements_of(content.arrangements, groups, joints, text, file)
    if content.mirror is not None:
        groups = mirrored_arrangements(groups, content.mirror)
    made = Skeleton(content.name, tuple(bones.values()), tuple(joints.values()), height, tuple(groups.values()))
    if content.only is None:
        return made
    try:
        return reduced(made, content.only)
    except UsageError as error:
        place = Place(file, line_of(text, ("only",)))
        raise FigureFileError(error.code, error.message, hint=error.hint, place=place) from None


def _base(content: SkeletonFile, text: str, file: str, trail: tuple[Path, ...]) -> Skeleton:
    """The skeleton that a file inherits from; an empty one where it inherits from none."""
    if content.inherits is None:
        return Skeleton(content.name, (), (), 150.0)
    place = Place(file, line_of(text, ("inherits",)))
    if content.inherits in TEMPLATES:
        return load_template(content.inherits)
    if not content.inherits.endswith(".toml"):
        hint = f"inherit from {' or '.join(TEMPLATES)}, or from a file ending in .toml"
        raise FigureFileError("skeleton.inherits", f"there is no skeleton {content.inherits!r}", hint=hint, place=place)
    path = Path(file).parent / content.inherits
    here = Path(file).resolve()
    if path.resolve() in (here, *trail):
        told = f"the skeleton files inherit in a ring through {content.inherits}"
        raise FigureFileError("skeleton.inherits", told, hint="cut it open", place=place)
    return read_skeleton(path, (here, *trail))


def _check_one_side(content: SkeletonFile, text: str, file: str) -> None:
    """What a file makes by mirroring it must not also write out."""
    other = "right" if content.mirror == "left" else "left"
    for table, names in (("bones", content.bones), ("joints", content.joints), ("arrangements", content.arrangements)):
        for name in names:
            if name.endswith(f"_{other}"):
                raise FigureFileError(
                    "skeleton.mirror",
                    f"{name} is made from the {content.mirror} side here",
                    hint=f"take its table out, or take out mirror = {content.mirror!r}",
                    place=Place(file, line_of(text, (table, name))),
                )


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


def _joint(name: str, table: JointTable, base: JointSpec | None, text: str, file: str) -> JointSpec:
    def fault(key: str, message: str, hint: str) -> FigureFileError:
        place = Place(file, line_of(text, ("joints", name, key)))
        return FigureFileError("skeleton.joint", f"joint {name}: {message}", hint=hint, place=place)

    if base is None:
        for key in ("kind", "parent", "child", "centre"):
            if getattr(table, key) is None and not (key == "kind" and table.custom is not None):
                raise fault(key, f"{key} is missing", "a joint needs kind, parent, child and centre")
    own = _own(name, table, base, file, fault)
    asked = table.kind or (base.kind if base else None)
    kind: Kind = "custom" if own is not None else asked  # type: ignore[assignment]
    if table.axis is not None and table.forward is not None:
        raise fault("axis", "axis and forward say the same thing twice", "keep one of them")
    forward = table.forward if table.forward is not None else (base.forward if base else 1)
    if table.axis is not None:
        forward = _forward_of(table.axis, fault)
    able = MOTIONS[kind] if own is None else own.motions
    wanted: dict[Motion, Range] = dict(base.wanted) if base else {}
    if table.wanted is not None:
        for motion, span in table.wanted.spans.items():
            if motion not in able:
                raise fault("wanted", f"a {kind} has no {motion}", f"it moves by {', '.join(able) or 'nothing'}")
            wanted[motion] = span
    wanted = {m: wanted[m] for m in able if m in wanted}
    stance: dict[Motion, float] = dict(base.stance) if base else {}
    stance |= table.stance.angles if table.stance is not None else {}
    if table.detent_deg and kind not in DETENTED:
        raise fault("detent_deg", f"a {kind} has no detents", "hinges and double hinges have them")
    detent = table.detent_deg if table.detent_deg is not None else (base.detent_deg if base else 0.0)
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
        size=None if own else (table.size if table.size is not None else (base.size if base else None)),
        wanted=wanted,
        yields=table.yields or (base.yields if base else "both"),
        convex=table.convex or (base.convex if base else None),
        seam_mm=table.seam_mm if table.seam_mm is not None else (base.seam_mm if base else 0.0),
        custom=own,
        thick=table.thick if table.thick is not None else (base.thick if base else None),
        stance=stance,
        follows=dict(table.follows) or {m: o for m, o in (base.follows if base else {}).items() if m in able},
        detent_deg=detent if kind in DETENTED else 0.0,
    )


def _own(name: str, table: JointTable, base: JointSpec | None, file: str, fault: Any) -> OwnJoint | None:
    """The maker's own hardware, where the joint has it: from its table, or inherited as long as the family stays."""
    if table.custom is not None:
        if table.kind not in (None, "custom"):
            raise fault("kind", f"a {table.kind} is built in, and custom names a joint of your own", "keep one of them")
        if table.size is not None:
            raise fault(
                "size",
                "a joint of your own has the size that its file says",
                f"take size out, or change {table.custom}",
            )
        side = "left" if name.endswith("_left") else "right" if name.endswith("_right") else "middle"
        from condyle.figure.custom_file import read_own_joint  # late, as it brings the library of solids with it

        return read_own_joint(Path(file).parent / table.custom, side)
    kept = base.custom if base is not None and table.kind in (None, "custom") else None
    if table.kind == "custom" and kept is None:
        raise fault("kind", "a joint of your own needs its file", 'name it: custom = "socket.toml"')
    return kept


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
