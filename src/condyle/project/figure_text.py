"""Writing figure.toml: a new one with comments for the hand that will edit it, and the joints of an old one renewed.

A renewed file keeps its comments, its order and everything that is not a renewed value.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import tomlkit
from tomlkit.items import Table

from condyle.figure.skeleton import MOTIONS, JointSpec, SeatedJoint
from condyle.project.figure_file import FigureDocument
from condyle.project.figure_model import SCHEMA

_HEAD = f"""\
# A figure of Condyle. Edit it by hand as you like: comments and order are kept, and a mistake is told with its line.
# Lengths in mm, angles in degrees. x is forward, y to the figure's own left, z up; the soles are at z = 0.
schema = {SCHEMA}
"""

_JOINTS_HEAD = """\
# The joints. What stands here wins over the skeleton; what is left out (or commented out) comes from it.
#   source   "seated": found in the sculpt, and found again by `condyle seat`
#            "hand": yours; `condyle seat` leaves it alone. Write this when you have moved a joint.
#            "skin": came with the joints of a skinned file; left alone too
#   centre   where it turns                 along  from the centre into the child's limb
#   axis     what it flexes about           cut    square to the cut, towards the child
#   rest     the angles in which the sculpt stands, counted from standing upright, arms hanging, palms in
#   limits   the motion that you want, counted from the same pose: limits = { flex = [0.0, 140.0] }
#   kind     ball, hinge, swivel, double_hinge, peg          size   of the hardware; else the largest that fits
#   custom   the file of a joint of your own, used as it was tested: custom = "socket.toml"
#   yields   which side gives way for motion: parent, child or both
#   convex   which side is round at the cut: parent or child
#   socket   of a ball: plain, slit or split                 pin    of a hinge: printed, filament or metal
#   detent_deg  of a hinge: degrees from one rest that it clicks into to the next
#   seam_mm  how far the cut may move to meet a cuff, a belt, a boot top
#   flare_mm how much flesh may be added where a limb is too thin
#   kerf_mm  the gap between the two skins                   clearance_mm  the bearing's gap per side
"""


@dataclass(frozen=True)
class NewFigure:
    """What ``start`` knows; ``told`` holds the keys among up, facing and unit that the maker gave."""

    name: str
    sculpt: str
    hash: str
    height_mm: float
    up: str | None
    facing: str | None
    unit: str | None
    told: frozenset[str]
    template: str | None
    skeleton_path: str | None
    printer: str
    material: str
    fits: str | None
    joints: tuple[SeatedJoint, ...]
    true_size: bool = False
    sizes: bool = False
    held: Literal["no", "limb", "joint"] = "no"


def new_figure_text(new: NewFigure) -> str:
    """The text of a new figure file."""
    lines = [_HEAD, "[figure]", f"name = {_quoted(new.name)}"]
    lines.append(f"sculpt = {_quoted(new.sculpt)}  # relative to this file; pieces = [...] takes several files instead")
    if new.hash:
        lines.append(f"hash = {_quoted(new.hash)}  # of the sculpt; when you change it, run: condyle seat")
    lines.append(f"height_mm = {new.height_mm!r}")
    found = {"up": "the axis of the input that points up", "facing": "the axis of the input that the figure faces"}
    given = (("up", new.up, "z"), ("facing", new.facing, "x"), ("unit", new.unit, "millimeter"))
    for key, value, usual in given:
        meaning = found.get(key, "of the input; the figure is scaled to height_mm whatever it is")
        told = "as you said" if key in new.told else "found; change it if it is wrong"
        lines.append(f"{key} = {_quoted(value)}  # {meaning}: {told}" if value else f'# {key} = "{usual}"  # {meaning}')
    if new.true_size:
        lines.append(
            "true_size = true  # the sculpt keeps its size and place, so that the joints below fit it as they stand"
        )
    lines += ["", "[skeleton]"]
    if new.skeleton_path is not None:
        lines.append(f"path = {_quoted(new.skeleton_path)}")
    else:
        lines.append(f'template = {_quoted(new.template or "upright")}  # or: path = "skeleton.toml"')
    lines += ["", "[workshop]", f'printer = {_quoted(new.printer)}  # the name of a card, or a file: "printer.toml"']
    lines.append(f"material = {_quoted(new.material)}")
    lines.append(f"fits = {_quoted(new.fits)}" if new.fits else '# fits = "fits.toml"  # what your own coupons gave')
    lines += [
        "",
        "# [motion]",
        '# norms = "aaos"  # a published norm of human joints in place of the skeleton\'s ranges',
    ]
    lines.append("# factor = 1.0  # times all wanted ranges")
    if new.held != "no":
        what = "one limb" if new.held == "limb" else "joints taken out of a limb"
        lines += [
            "",
            "[stand]",
            f"held = {_quoted(new.held)}  # {what}, held by the root: not asked to stand, nor for the figure's poses",
        ]
    lines += ["", _JOINTS_HEAD]
    for joint in new.joints:
        lines.append(joint_text(joint, sizes=new.sizes))
    return "\n".join(lines).rstrip("\n") + "\n"


def joint_text(joint: SeatedJoint, *, sizes: bool = False) -> str:
    """One ``[joints.NAME]`` table, what the skeleton gives as comments; with ``sizes`` kind and size are set."""
    lines = [f"[joints.{joint.name}]"]
    for key, value in place_values(joint).items():
        lines.append(f"{key} = {tomlkit.item(value).as_string()}")
    if sizes and joint.spec.custom is None and joint.spec.size is not None:
        lines += [f'kind = "{joint.spec.kind}"', f"size = {joint.spec.size!r}"]
    lines.append("# " + ", ".join(_skeleton_words(joint.spec)))
    return "\n".join(lines) + "\n"


def place_values(joint: SeatedJoint) -> dict[str, Any]:
    """The keys of a joint that say where it is, rounded to what a maker can read and no bearing can feel."""
    values: dict[str, Any] = {
        "source": joint.source,
        "centre": _rounded(joint.frame.origin, 3),
        "along": _rounded(joint.frame.z, 6),
        "axis": _rounded(joint.frame.x, 6),
        "cut": _rounded(joint.cut_axis, 6),
    }
    rest = {m: _plain(joint.rest[m], 2) for m in MOTIONS[joint.spec.kind] if m in joint.rest}
    if rest:
        inline = tomlkit.inline_table()
        inline.update(rest)
        values["rest"] = inline
    if joint.sd_mm > 0:
        values["sd_mm"] = _plain(joint.sd_mm, 2)
    return values


def renewed_text(document: FigureDocument, joints: Iterable[SeatedJoint], sculpt_hash: str) -> str:
    """The figure file with these joints' places and the sculpt's hash put in; nothing else changes."""
    tree = tomlkit.parse(document.text)
    tree["figure"]["hash"] = sculpt_hash
    if "joints" not in tree:
        tree["joints"] = tomlkit.table(is_super_table=True)
    tables: Any = tree["joints"]
    for joint in joints:
        if joint.name in tables:
            _renew(tables[joint.name], joint)
        else:
            fresh = tomlkit.parse(joint_text(joint))["joints"][joint.name]
            tables[joint.name] = fresh
    return str(tomlkit.dumps(tree))


def _renew(table: Any, joint: SeatedJoint) -> None:
    values = place_values(joint)
    for stale in ("rest", "sd_mm"):
        if stale in table and stale not in values:
            table.remove(stale)
    for key, value in values.items():
        if key not in table and isinstance(table, Table):
            _insert_after_places(table, key, value)
        else:
            table[key] = value


def _insert_after_places(table: Table, key: str, value: Any) -> None:
    """A place key that was missing goes to the other place keys, not behind the comments at the table's end."""
    before = [k for k in ("source", "centre", "along", "axis", "cut", "rest") if k in table and k != key]
    if before:
        table.value._insert_after(before[-1], tomlkit.key(key), tomlkit.item(value))
    else:
        table[key] = value


def _skeleton_words(spec: JointSpec) -> list[str]:
    words = [f'kind = "{spec.kind}"', f"size = {spec.size!r}" if spec.size else "size: the largest that fits"]
    if spec.wanted:
        words.append(f"limits = {_limits(spec.wanted)}")
    words.append(f'yields = "{spec.yields}"')
    if spec.convex:
        words.append(f'convex = "{spec.convex}"')
    if spec.seam_mm:
        words.append(f"seam_mm = {spec.seam_mm!r}")
    return words


def _limits(wanted: Mapping[Any, tuple[float, float]]) -> str:
    return "{ " + ", ".join(f"{m} = [{float(a)!r}, {float(b)!r}]" for m, (a, b) in wanted.items()) + " }"


def _rounded(vector: Any, digits: int) -> list[float]:
    return [_plain(v, digits) for v in np.asarray(vector, dtype=np.float64)]


def _plain(value: float, digits: int) -> float:
    """Rounded, and without a negative zero."""
    return round(float(value), digits) + 0.0


def _quoted(text: str) -> str:
    return str(tomlkit.item(text).as_string())
