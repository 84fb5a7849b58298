"""The lay figure of a skeleton: one turned form for each bone, thick enough for the hardware of its joints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.figure.layfigure import forms
from condyle.figure.layfigure.forms import End
from condyle.figure.layfigure.least import least_radius_mm
from condyle.figure.skeleton import Bone, JointSpec, SeatedJoint, Skeleton
from condyle.figure.stance import Standing, is_limb_root, joints_of, trunk_axis
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import Solid
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_THICK = 0.04  # of the height, where a skeleton says nothing
_CLEAR = 1.05
_BASE_SHARE = 0.2
_BOSS_DEPTH = 0.9
_COVES = {"hinge": 0.88, "double_hinge": 0.88}
_FLAT = ("swivel", "peg")
_UP = np.array([0.0, 0.0, 1.0])
_LEFT = np.array([0.0, 1.0, 0.0])


@dataclass(frozen=True, eq=False)
class Wood:
    """The forms of a lay figure, figure coordinates.

    bones  by bone: its whole form
    ends   by (bone, joint): the piece of a bone that is enough to try one of its joints by itself
    """

    bones: dict[str, Solid]
    ends: dict[tuple[str, str], Solid]


def ends_of(skeleton: Skeleton, height_mm: float, fits: Fits, stock: Stock) -> dict[str, End]:
    """How thick the flesh is around every joint."""
    out = {}
    for joint in skeleton.joints:
        base = (joint.thick if joint.thick is not None else _THICK) * height_mm
        cove = _COVES.get(joint.kind, 0.74)
        if is_limb_root(skeleton, joint):
            cove = min(cove, 0.62)  # a limb that leaves aslant must not run through the cut about its own bead
        radius = max(base, least_radius_mm(joint, fits, stock))
        out[joint.name] = End(base, radius, joint.kind in _FLAT, cove)
    return out


def carve(skeleton: Skeleton, stand: Standing, fits: Fits, stock: Stock) -> Wood:
    """The turned form of every bone. UsageError ``skeleton.short`` where two joints of a limb leave no room for it."""
    ends = ends_of(skeleton, stand.height_mm, fits, stock)
    seated = {j.name: j for j in stand.joints}
    bones: dict[str, Solid] = {}
    parts: dict[tuple[str, str], Solid] = {}
    for bone in skeleton.bones:
        carrying, further = joints_of(skeleton, bone.name)
        many = len(further) > 1 or carrying is None or bone.form == "barrel"
        if carrying is None and len(further) == 1:
            whole = _base(bone, seated[further[0].name], stand, ends[further[0].name])
            pieces = {further[0].name: whole}
        elif many and further:
            whole, pieces = _trunk(skeleton, bone, seated, ends)
        elif further and carrying is not None:
            whole, pieces = _limb(carrying, further[0], seated, ends)
        else:
            assert carrying is not None
            whole = _leaf(bone, seated[carrying.name], stand.tips[bone.name], ends[carrying.name])
            pieces = {carrying.name: whole}
        bones[bone.name] = whole
        parts |= {(bone.name, joint): piece for joint, piece in pieces.items()}
    return Wood(bones, parts)


def _limb(
    near: JointSpec, far: JointSpec, seated: Mapping[str, SeatedJoint], ends: Mapping[str, End]
) -> tuple[Solid, dict[str, Solid]]:
    start, stop = seated[near.name].frame.origin, seated[far.name].frame.origin
    length = float(np.linalg.norm(stop - start))
    least = forms.least_length_mm(ends[near.name])
    if length < least:
        raise UsageError(
            "skeleton.short",
            f"the joints {near.name} and {far.name} are {length:.1f} mm apart, and {least:.1f} mm is the least here",
            hint="move their centres apart in the skeleton file, write a smaller thick, or make the figure taller",
        )

    def at(half: int) -> Solid:
        form = forms.spindle(length, ends[near.name], ends[far.name], half)
        return forms.placed(form, start, stop - start, seated[near.name].frame.x)

    # The two axles of a double hinge need more than half a bone, so it is tried on the whole of it.
    halves = {j.name: at(0 if j.kind == "double_hinge" else half) for j, half in ((near, -1), (far, 1))}
    return at(0), halves


def _base(bone: Bone, joint: SeatedJoint, stand: Standing, end: End) -> Solid:
    """The root of a skeleton that has one joint only: a turned post to the ground below it, or to its tip; where it lies
    another way, a fifth of the height long."""
    here = joint.frame.origin
    long = float(here[2]) if float(joint.frame.z[2]) > 0.95 else _BASE_SHARE * stand.height_mm
    way = here - stand.tips[bone.name] if bone.name in stand.tips else joint.frame.z * max(long, 3.0 * end.radius_mm)
    length = float(np.linalg.norm(way))
    wide = 1.15 * end.base_mm
    return forms.placed(forms.spindle(length, End(wide, wide, True), end), here - way, way, joint.frame.x)


def _leaf(bone: Bone, joint: SeatedJoint, tip: FloatArray, end: End) -> Solid:
    here = joint.frame.origin
    way = tip - here
    length = float(np.linalg.norm(way))
    if bone.form == "wedge":
        level = np.array([way[0], way[1], 0.0])
        ahead = float(np.linalg.norm(level))
        form = forms.foot(ahead, 0.42 * ahead + 0.3 * end.radius_mm, float(here[2] - tip[2]), end)
        return forms.placed(form, here, _UP, unit(level) if ahead > 1e-6 else joint.frame.x)
    if bone.form == "paw":
        level = np.array([way[0], way[1], 0.0])
        ahead = float(np.linalg.norm(level))
        form = forms.paw(ahead, float(here[2] - tip[2]), end)
        return forms.placed(form, here, _UP, unit(level) if ahead > 1e-6 else joint.frame.x)
    if bone.form == "pear":
        return forms.placed(forms.egg(length, end, 0.34 * length, full=-0.22), here, way, joint.frame.x)
    if bone.form == "egg":
        return forms.placed(forms.egg(length, end, 0.37 * length), here, way, joint.frame.x)
    if bone.form == "paddle":
        return forms.placed(forms.egg(length, end, 0.33 * length, flat=0.62), here, way, joint.frame.x)
    return forms.placed(forms.stub(length, end), here, way, joint.frame.x)


def _trunk(
    skeleton: Skeleton, bone: Bone, seated: Mapping[str, SeatedJoint], ends: Mapping[str, End]
) -> tuple[Solid, dict[str, Solid]]:
    carrying, further = joints_of(skeleton, bone.name)
    points = {n: j.frame.origin for n, j in seated.items()}
    start, stop = trunk_axis(skeleton, bone.name, points)
    along, length = unit(stop - start), float(np.linalg.norm(stop - start))
    middle = [j for j in further if j.side == "middle"]
    sides = [j for j in further if is_limb_root(skeleton, j)]
    main = middle[0] if middle else None
    reach = [
        float(np.linalg.norm((points[j.name] - start) - along * float((points[j.name] - start) @ along))) for j in sides
    ]
    full = max(ends[j.name].base_mm for j in middle) if middle else 0.0
    # Barrels end where the beads beside them begin, so that each side joint has a bead of its own to be cut about.
    beads = float(np.mean([ends[j.name].base_mm for j in sides])) if sides else 0.0
    belly = (
        max(float(np.mean(reach)) - _CLEAR * beads, full)
        if reach
        else 1.25 * max(ends[j.name].base_mm for j in further)
    )
    first = carrying if carrying is not None else (middle[1] if len(middle) > 1 else None)
    near = ends[first.name] if first is not None else None
    far = ends[main.name] if main is not None else End(0.6 * belly, 0.6 * belly, False)
    heights = [float((points[j.name] - start) @ along) for j in sides]
    z0 = 0.0 if near is not None else -0.75 * belly
    at = np.clip((float(np.mean(heights)) - z0) / (length - z0), 0.3, 0.78) if heights else 0.5
    core = forms.placed(forms.barrel(length, near, far, belly, float(at), 0.74), start, along, _LEFT)
    pieces: dict[str, list[Solid]] = {j.name: [] for j in further}
    knobs: dict[str, Solid] = {}
    if carrying is not None and near is not None:
        pieces[carrying.name] = [sphere(near.radius_mm).translated(points[carrying.name].tolist())]
    for joint in further:
        if joint in (main, first):
            continue
        here = points[joint.name]
        off = (here - start) - along * float((here - start) @ along)
        way = np.asarray(seated[joint.name].cut_axis)
        # The boss lies along the cut, so that hardware rooted in it has flesh all round.
        slant = float(way @ off) / max(float(np.linalg.norm(off)), 1e-9)
        deep = _BOSS_DEPTH * float(np.linalg.norm(off)) / max(slant, 0.5)
        if deep < 0.5 * ends[joint.name].radius_mm:
            continue
        root = here - way * deep
        form = forms.boss(deep, ends[joint.name])
        pieces[joint.name] = [forms.placed(form, root, way, along)]
        knobs[joint.name] = sphere(1.15 * ends[joint.name].radius_mm).translated(root.tolist())
    whole = forms.joined([core, *(s for solids in pieces.values() for s in solids)], bone.name)
    # One joint by itself is held by a knob at its boss's root; a joint on the trunk's own axis takes the whole trunk.
    grips = {n: forms.joined([*pieces[n], knob], bone.name) for n, knob in knobs.items()}
    return whole, {j.name: grips.get(j.name, whole) for j in (*further, *([carrying] if carrying else []))}
