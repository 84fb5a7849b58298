"""What a figure file says about its joints, laid over the skeleton: places, and wishes for the parting."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from condyle.errors import FigureFileError
from condyle.figure.arrangement import shared
from condyle.figure.norms import normed
from condyle.figure.relief import KeptBall, KeptBox, ReliefWish
from condyle.figure.skeleton import DETENTED, MOTIONS, JointSpec, Kind, Motion, Range, SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.finding import Point, point_of
from condyle.geometry.frame import Frame, frame_from_zx, unit
from condyle.geometry.mesh import Mesh
from condyle.project.figure_file import FigureDocument
from condyle.project.figure_model import JointTable, ReliefTable

if TYPE_CHECKING:
    from condyle.joints.custom import OwnJoint

_PLACE_KEYS = ("centre", "along", "axis", "cut")


def check_joint_names(document: FigureDocument, skeleton: Skeleton) -> None:
    """FigureFileError for a ``[joints.NAME]`` that the skeleton does not have."""
    known = [j.name for j in skeleton.joints]
    for name in document.content.joints:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else "its joints are: " + ", ".join(known)
            raise FigureFileError(
                "figure.unknown_joint",
                f"the skeleton {skeleton.name} has no joint {name}",
                hint=hint,
                place=document.place("joints", name),
            )


def overlaid(document: FigureDocument, skeleton: Skeleton) -> Skeleton:
    """The skeleton with the figure file's norm, kinds, sizes, limits and sides in the place of its own."""
    tables = document.content.joints
    skeleton = shared(normed(skeleton, document.content.motion.norms, document.content.motion.factor))
    joints = tuple(_spec(document, j, tables[j.name]) if j.name in tables else j for j in skeleton.joints)
    return replace(skeleton, joints=joints, height_mm=document.content.figure.height_mm)


def _spec(document: FigureDocument, spec: JointSpec, table: JointTable) -> JointSpec:
    if table.stock is not None or table.spares:
        from condyle.project.locker_step import stocked  # late, as it brings the library of solids with it

        spec = stocked(document, spec, table)
    kind = _kind(document, spec, table)
    own = spec.custom if kind == "custom" else None
    if table.custom is not None:
        from condyle.figure.custom_file import read_own_joint  # late, for the same reason

        own = read_own_joint(document.beside(table.custom), spec.side)
    wanted = _wanted(document, spec, table, kind, own)
    return replace(
        spec,
        custom=own,
        kind=kind,
        size=spec.size if table.size is None else table.size,
        wanted=wanted,
        yields=table.yields or spec.yields,
        convex=table.convex or spec.convex,
        seam_mm=spec.seam_mm if table.seam_mm is None else table.seam_mm,
        detent_deg=_detent(document, spec, table, kind),
    )


def _detent(document: FigureDocument, spec: JointSpec, table: JointTable, kind: Kind) -> float:
    if table.detent_deg and kind not in DETENTED:
        raise FigureFileError(
            "figure.detent",
            f"a {kind.replace('_', ' ')} has no detents",
            hint=f'take detent_deg out, or make {spec.name} a hinge: kind = "hinge"',
            place=document.place("joints", spec.name, "detent_deg"),
        )
    asked = spec.detent_deg if table.detent_deg is None else table.detent_deg
    return asked if kind in DETENTED else 0.0


def _kind(document: FigureDocument, spec: JointSpec, table: JointTable) -> Kind:
    """The joint's family; a file of the maker's own makes it custom, and nothing else does."""
    if table.custom is None:
        kind = table.kind or spec.kind
        if kind == "custom" and spec.custom is None:
            raise FigureFileError(
                "figure.custom",
                f"{spec.name} is a joint of your own, but no file says which",
                hint='name it: custom = "socket.toml"',
                place=document.place("joints", spec.name, "kind"),
            )
        return kind
    for key, clash in (
        ("kind", table.kind not in (None, "custom")),
        ("size", table.size is not None),
        ("clearance_mm", table.clearance_mm is not None),
        ("convex", table.convex is not None),
    ):
        if clash:
            raise FigureFileError(
                "figure.custom",
                f"{key} cannot be set beside custom: a joint of your own is used as it was tested",
                hint=f"take {key} out, or change it in {table.custom}",
                place=document.place("joints", spec.name, key),
            )
    return "custom"


def _wanted(
    document: FigureDocument, spec: JointSpec, table: JointTable, kind: Kind, own: OwnJoint | None
) -> dict[Motion, Range]:
    able = MOTIONS[kind] if own is None else own.motions
    wanted = {m: spec.wanted[m] for m in able if m in spec.wanted}
    for motion, span in (table.limits.spans if table.limits else {}).items():
        if motion not in able:
            has = ", ".join(able) or "no motion at all"
            raise FigureFileError(
                "figure.motion",
                f"a {kind.replace('_', ' ')} cannot {motion}",
                hint=f"{spec.name} has: {has}",
                place=document.place("joints", spec.name, "limits", motion),
            )
        wanted[motion] = span
    return wanted


def wishes(document: FigureDocument, skeleton: Skeleton) -> dict[str, JointWish]:
    """What the file asks of each joint; joints of which nothing is asked are left out."""
    protect = document.content.last.protect
    asked = {} if protect else {j.name: JointWish(protect=False) for j in skeleton.joints}
    for name, table in document.content.joints.items():
        wish = JointWish(
            kind=table.kind,
            size_mm=table.size,
            axis=_vector(table.axis) if table.source == "hand" else None,
            convex=table.convex,
            yields=table.yields,
            seam_mm=table.seam_mm,
            flare_mm=table.flare_mm,
            socket=table.socket,
            pin=table.pin,
            wanted=dict(table.limits.spans) if table.limits else None,  # type: ignore[arg-type]
            kerf_mm=table.kerf_mm,
            clearance_mm=table.clearance_mm,
            relief=_relief(table.relief),
            insert=table.insert,
            protect=protect,
        )
        if wish != JointWish():
            asked[name] = wish
    return asked


def _relief(table: ReliefTable | None) -> ReliefWish | None:
    if table is None:
        return None
    kept: list[KeptBall | KeptBox] = []
    for k in table.keep:
        if k.centre is not None and k.radius_mm is not None:
            kept.append(KeptBall(point_of(k.centre), k.radius_mm))
        elif k.low is not None and k.high is not None:
            kept.append(KeptBox(point_of(k.low), point_of(k.high)))
    return ReliefWish(table.depth_mm, table.volume_mm3, tuple(kept), table.refill)


def known_centres(document: FigureDocument, sources: Iterable[str] = ("hand", "seated", "skin")) -> dict[str, Point]:
    """The centres that the file gives, of joints with one of these sources."""
    tables = document.content.joints.items()
    return {n: point_of(t.centre) for n, t in tables if t.centre is not None and t.source in sources}


def is_complete(document: FigureDocument, skeleton: Skeleton) -> bool:
    """Whether the file places every joint by itself, so that nothing needs to be found in the sculpt."""
    tables = document.content.joints
    return all(
        spec.name in tables and all(getattr(tables[spec.name], key) is not None for key in _PLACE_KEYS)
        for spec in skeleton.joints
    )


def placed(document: FigureDocument, skeleton: Skeleton, found: Mapping[str, SeatedJoint]) -> tuple[SeatedJoint, ...]:
    """Every joint with the place that the file gives; what it leaves out comes from ``found``.

    Joints that neither the file nor ``found`` places are left out.
    """
    joints = []
    for spec in skeleton.joints:
        table = document.content.joints.get(spec.name)
        base = found.get(spec.name)
        if table is None or all(getattr(table, key) is None for key in _PLACE_KEYS):
            if base is not None:
                joints.append(replace(base, spec=spec))
            continue
        joint = _placed(document, spec, table, base)
        if joint is not None:
            joints.append(joint)
    return tuple(joints)


def _placed(
    document: FigureDocument, spec: JointSpec, table: JointTable, base: SeatedJoint | None
) -> SeatedJoint | None:
    centre = table.centre if table.centre is not None else (base.frame.origin if base else None)
    along = table.along if table.along is not None else (base.frame.z if base else None)
    axis = table.axis if table.axis is not None else (base.frame.x if base else None)
    if centre is None or along is None or axis is None:
        return None
    cut = table.cut if table.cut is not None else (base.cut_axis if base and table.along is None else along)
    frame = _frame(document, spec.name, centre, along, axis)
    try:
        cut_unit = unit(np.asarray(cut))
    except ValueError:
        raise FigureFileError(
            "figure.axis",
            "cut has no length",
            hint="write a direction",
            place=document.place("joints", spec.name, "cut"),
        ) from None
    rest: dict[Motion, float] = dict(base.rest) if base else {}
    if table.rest is not None:
        rest.update(table.rest.angles)  # type: ignore[arg-type]
    sd = table.sd_mm if table.sd_mm is not None else 0.0
    return SeatedJoint(spec, frame, point_of(cut_unit), rest, table.source, sd)


def _frame(document: FigureDocument, name: str, centre: Any, along: Any, axis: Any) -> Frame:
    try:
        frame = frame_from_zx(np.asarray(centre), np.asarray(along), np.asarray(axis))
    except ValueError:
        raise FigureFileError(
            "figure.axis",
            "along and axis must be two directions across each other",
            hint="axis is what the joint flexes about; along points from the centre into the child's limb",
            place=document.place("joints", name, "axis"),
        ) from None
    return frame


def check_inside(document: FigureDocument, joints: Iterable[SeatedJoint], sculpt: Mesh) -> None:
    """FigureFileError for a joint that the file places outside the sculpt, with how far its bounds reach."""
    given = [j for j in joints if (t := document.content.joints.get(j.name)) is not None and t.centre is not None]
    if not given:
        return
    from condyle.geometry.winding import winding_number  # late, as its kernels take half a second to load

    low, high = sculpt.bounds
    turns = winding_number(sculpt, np.stack([j.frame.origin for j in given]))
    for joint, turn in zip(given, turns, strict=True):
        centre = joint.frame.origin
        if turn > 0.5:
            continue
        reach = ", ".join(f"{a} {lo:.1f} to {hi:.1f}" for a, lo, hi in zip("xyz", low, high, strict=True))
        place = replace(document.place("joints", joint.name, "centre"), point_mm=point_of(centre))
        raise FigureFileError(
            "figure.joint_outside",
            f"the centre of {joint.name} lies outside the sculpt",
            hint=f"the sculpt reaches from {reach} mm; move the centre, or delete the key and run: condyle seat",
            place=place,
        )


def _vector(values: list[float] | None) -> Point | None:
    return None if values is None else point_of(values)
