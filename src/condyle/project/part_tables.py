"""``[parts.NAME]`` of a figure file: a part's own printer, material and build orientation."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from condyle.errors import FigureFileError, UsageError
from condyle.figure.kit import Kit
from condyle.figure.skeleton import JointSpec, Skeleton
from condyle.figure.wishes import JointWish
from condyle.finding import Finding, Point
from condyle.project.figure_file import FigureDocument
from condyle.project.part_model import PartTable
from condyle.workshop.bench import Workshop, load_workshop
from condyle.workshop.mixed import between


@dataclass(frozen=True)
class OwnPart:
    """A part's own workshop (None: the figure's), the direction that points up when it is printed, and the wall to which it is
    hollowed (None: it stays full)."""

    workshop: Workshop | None
    up: Point | None
    hollow_mm: float | None = None


def own_parts(document: FigureDocument, skeleton: Skeleton) -> dict[str, OwnPart]:
    """What the file gives to parts by name.

    FigureFileError for a name that no part of this figure can have, and for cards that cannot be used.
    """
    known = _part_names(document, skeleton)
    out = {}
    for name, table in document.content.parts.items():
        if name not in known:
            near = difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.6)
            hint = f"did you mean {near[0]}?" if near else "parts are named by their bones, JOINT_link and JOINT_stud"
            for kind in ("stud", "cup"):
                joint = name.removesuffix(f"_{kind}")
                if joint != name and joint in {j.name for j in skeleton.joints}:
                    hint = f'{joint} has no such insert; ask for it with insert = "{kind}" under [joints.{joint}]'
            raise FigureFileError(
                "figure.unknown_part", f"no part of this figure is named {name}", hint=hint,
                place=document.place("parts", name),
            )  # fmt: skip
        up = None if table.up is None else (table.up[0], table.up[1], table.up[2])
        out[name] = OwnPart(_workshop(document, name, table), up, table.hollow_mm)
    return out


def _part_names(document: FigureDocument, skeleton: Skeleton) -> set[str]:
    names = {b.name for b in skeleton.bones} | {f"{j.name}_link" for j in skeleton.joints}
    for name, table in document.content.joints.items():
        if table.insert in ("stud", "cup"):
            names.add(f"{name}_{table.insert}")
    return names


def _workshop(document: FigureDocument, name: str, table: PartTable) -> Workshop | None:
    if table.printer is None and table.material is None and table.fits is None:
        return None
    figure = document.content.workshop

    def card(given: str) -> str:
        return str(document.beside(given)) if given.endswith(".toml") else given

    fits = table.fits or figure.fits
    try:
        return load_workshop(
            card(table.printer or figure.printer),
            card(table.material or figure.material),
            document.beside(fits) if fits else None,
        )
    except UsageError as error:
        key = "printer" if error.code == "workshop.printers" or table.material is None else "material"
        place = document.place("parts", name, key)
        raise FigureFileError(error.code, error.message, hint=error.hint, place=place) from None


def mixed_wishes(
    wishes: Mapping[str, JointWish], skeleton: Skeleton, figure: Workshop, own: Mapping[str, OwnPart]
) -> dict[str, JointWish]:
    """The wishes, with fits half way between where a joint's two sides are not printed alike."""
    out = dict(wishes)
    for spec in skeleton.joints:
        wish = out.get(spec.name, JointWish())
        one, other = _sides(spec, wish, figure, own)
        if one != other and wish.clearance_mm is None:
            out[spec.name] = replace(wish, fits=between(one.fits, other.fits))
    return out


def _sides(spec: JointSpec, wish: JointWish, figure: Workshop, own: Mapping[str, OwnPart]) -> tuple[Workshop, Workshop]:
    """What the two bearing sides of a joint are printed with. An insert stands for its host; the other bone is taken to
    be the child unless that is printed as the insert is."""

    def of(name: str) -> Workshop:
        found = own.get(name)
        return figure if found is None or found.workshop is None else found.workshop

    parent, child = of(spec.parent), of(spec.child)
    if wish.insert not in ("stud", "cup"):
        return parent, child
    insert = of(f"{spec.name}_{wish.insert}")
    return insert, child if child != insert else parent


def with_own(kit: Kit, own: Mapping[str, OwnPart], figure: Workshop) -> Kit:
    """The kit with each part's own workshop and build orientation, and what there is to say about them."""
    if not own:
        return kit
    parts = []
    for part in kit.parts:
        mine = own.get(part.name)
        if mine is not None:
            part = replace(part, workshop=mine.workshop, build_up=mine.up or part.build_up)
        parts.append(part)
    there = {p.name for p in parts}
    findings = [
        Finding(
            "part.own",
            name,
            "caution",
            advice="this part is not in the kit, since its joint was not built: its printer and material are not used",
        )
        for name in own
        if name not in there
    ]
    for joint in kit.joints:
        flexing = {n for a in joint.axles for n in (a.moves, a.stays)} & set(own)
        other = [n for n in sorted(flexing) if (w := own[n].workshop) is not None and w.material != figure.material]
        if joint.built and joint.snap_strain is not None and other:
            findings.append(_in_other_material(joint.name, joint.snap_strain, other, own))
    return replace(kit, parts=tuple(parts), findings=(*kit.findings, *findings))


def _in_other_material(joint: str, strain: float, names: list[str], own: Mapping[str, OwnPart]) -> Finding:
    """A snap's strain is a matter of its shape; whether the part's own material takes it is not."""
    limit = min(w.material.strain_once.value for n in names if (w := own[n].workshop) is not None)
    sound = strain <= limit
    return Finding(
        "joint.own_material",
        joint,
        "pass" if sound else "fail",
        measured=100.0 * strain,
        target=100.0 * limit,
        unit="%",
        advice=""
        if sound
        else f"{', '.join(names)} is printed in a material that takes less strain than this lip needs: a tougher "
        "material there, or a larger size",
    )
