"""``[arrangements.NAME]`` of a skeleton file, and ``follows`` of its joints, checked: every complaint names its line."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from condyle.errors import FigureFileError, Place
from condyle.figure.arrangement import FULL, even_shares
from condyle.figure.skeleton import Arrangement, JointSpec, Motion, motions_of
from condyle.figure.skeleton_model import ArrangementTable, JointTable
from condyle.workshop.toml_file import line_of


def arrangements_of(
    tables: Mapping[str, ArrangementTable],
    base: Mapping[str, Arrangement],
    joints: Mapping[str, JointSpec],
    text: str,
    file: str,
) -> dict[str, Arrangement]:
    """All arrangements of a file by name: inherited ones, with what its own tables change or add.

    Raises FigureFileError ``skeleton.arrangement``.
    """
    out = dict(base)
    for name, table in tables.items():
        out[name] = _read(name, table, base.get(name), joints, text, file)
    taken: dict[tuple[str, Motion], str] = {}
    for made in out.values():
        for motion, shares in made.share.items():
            for joint, share in zip(made.joints, shares, strict=True):
                other = taken.setdefault((joint, motion), made.name) if share > 0.0 else made.name
                if other != made.name:
                    told = f"{joint} has its {motion} in {other} and in {made.name}"
                    raise _fault(text, file, made.name, "joints", told, "each motion of a joint belongs to one of them")
    return out


def check_followers(tables: Mapping[str, JointTable], joints: Mapping[str, JointSpec], text: str, file: str) -> None:
    """FigureFileError ``skeleton.follows`` for a joint of this file that follows none, itself, or one without that motion.

    What is inherited and no longer fits (an ankle made a hinge) asks for nothing.
    """
    for spec in (joints[name] for name, table in tables.items() if table.follows):
        for motion, other in spec.follows.items():
            place = Place(file, line_of(text, ("joints", spec.name, "follows")))
            for wrong, told, hint in (
                (other not in joints or other == spec.name, f"there is no other joint {other}", "check the name"),
                (motion not in motions_of(spec), f"a {spec.kind} has no {motion}", "follow with a motion that it has"),
                (
                    other in joints and motion not in motions_of(joints[other]),
                    f"{other} has no {motion}",
                    "name another",
                ),
            ):
                if wrong:
                    raise FigureFileError("skeleton.follows", f"joint {spec.name}: {told}", hint=hint, place=place)


def _read(
    name: str,
    table: ArrangementTable,
    base: Arrangement | None,
    joints: Mapping[str, JointSpec],
    text: str,
    file: str,
) -> Arrangement:
    members = tuple(table.joints) if table.joints is not None else (base.joints if base else ())
    whole = table.whole.spans if table.whole is not None else (dict(base.whole) if base else {})
    if not members or not whole:
        told = "an arrangement needs joints, and the whole range that they share"
        raise _fault(text, file, name, "", told, 'write joints = ["…"] and whole = { flex = [low, high] }')
    for joint in members:
        if joint not in joints:
            raise _fault(text, file, name, "joints", f"there is no joint {joint}", "check the name")
    for above, below in pairwise(members):
        if joints[below].parent != joints[above].child:
            told = f"{below} does not hang on {above}"
            raise _fault(text, file, name, "joints", told, "name them from the trunk outwards, each on the one before")
    specs = [joints[j] for j in members]
    kept = base.share if base is not None and base.joints == members else {}
    asked = {m: tuple(s) for m, s in table.share.lists.items()}
    share: dict[Motion, tuple[float, ...]] = {}
    for motion in whole:
        if not any(motion in motions_of(s) for s in specs):
            raise _fault(text, file, name, "whole", f"none of its joints has a {motion}", "take the motion out")
        share[motion] = asked.get(motion) or kept.get(motion) or even_shares(specs, motion)
    for motion, shares in asked.items():
        if motion not in whole or len(shares) != len(members):
            told = f"share.{motion} has {len(shares)} numbers for {len(members)} joints, and whole must have {motion}"
            raise _fault(text, file, name, "share", told, "write one number for each joint, in their order")
        if sum(shares) > FULL:
            told = f"the shares of {motion} add up to {sum(shares):g}"
            raise _fault(
                text, file, name, "share", told, "they add up to 1, or to less where the figure leaves a part out"
            )
        for spec, part in zip(specs, shares, strict=True):
            if part > 0.0 and motion not in motions_of(spec):
                told = f"{spec.name} is a {spec.kind} and has no {motion}"
                raise _fault(text, file, name, "share", told, "give it a share of 0")
    return Arrangement(name, members, whole, share)


def _fault(text: str, file: str, name: str, key: str, message: str, hint: str) -> FigureFileError:
    path = ("arrangements", name, key) if key else ("arrangements", name)
    place = Place(file, line_of(text, path))
    return FigureFileError("skeleton.arrangement", f"arrangement {name}: {message}", hint=hint, place=place)
