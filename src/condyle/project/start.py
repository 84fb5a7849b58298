"""A sculpt's first figure file, and its joints found again later."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from condyle.errors import InputError, Place, UsageError
from condyle.figure.intake import Intake
from condyle.figure.seating import Seating, seat
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.skeleton_file import load_template, read_skeleton
from condyle.finding import Finding
from condyle.project.figure_file import parse_figure, read_text
from condyle.project.figure_model import LOWEST_MM, TALLEST_MM
from condyle.project.figure_text import NewFigure, new_figure_text, renewed_text
from condyle.project.joints import known_centres, overlaid, placed
from condyle.project.pipeline import Opened, intake_wanted, open_figure, take_in_sculpt
from condyle.project.place import write_file
from condyle.project.sculpt import load_sculpt, naming
from condyle.project.watch import Watch
from condyle.workshop.bench import load_workshop

FILE_NAME = "figure.toml"


@dataclass(frozen=True)
class Begin:
    """What the maker says to start with; what is None is found, or the usual."""

    sculpt: Path
    out: Path
    height_mm: float
    skeleton: str = "upright"
    up: str | None = None
    facing: str | None = None
    unit: str | None = None
    name: str | None = None
    printer: str = "filament-200"
    material: str = "pla"
    fits: Path | None = None
    replace: bool = False


@dataclass(frozen=True)
class Started:
    """The figure file that was written, and what there is to say about it."""

    path: Path
    intake: Intake
    joints: tuple[SeatedJoint, ...]
    findings: tuple[Finding, ...]
    missing: tuple[str, ...] = ()


def start(begin: Begin, watch: Watch) -> Started:
    """Write FOLDER/figure.toml, and nothing else.

    Raises InputError for a sculpt or a height that cannot be used, UsageError when another figure file stands there.
    """
    check_height(begin.height_mm)
    target = begin.out / FILE_NAME
    if begin.out.exists() and not begin.out.is_dir():
        hint = "give --out the name of a folder"
        raise UsageError("out.not_a_folder", "this is a file", hint=hint, place=Place(file=str(begin.out)))
    own_skeleton = begin.skeleton.endswith(".toml")
    skeleton = read_skeleton(Path(begin.skeleton)) if own_skeleton else load_template(begin.skeleton)
    workshop = load_workshop(begin.printer, begin.material, begin.fits)
    with watch.step("read"):
        files = load_sculpt([begin.sculpt])
        files.read()
    draft = _draft(begin, files.hash, joints=(), intake=None)
    document = parse_figure(target, new_figure_text(draft))
    skeleton = overlaid(document, skeleton)
    with watch.step("intake"):
        intake = files.take_in(intake_wanted(document, workshop))
    with watch.step("seat"), naming(begin.sculpt):
        seating = seat(intake.solid, skeleton, known=intake.joints)
    text = new_figure_text(_draft(begin, files.hash, joints=seating.joints, intake=intake))
    parse_figure(target, text)
    with watch.step("files"):
        _write_new(target, text, replace=begin.replace)
    return _started(target, intake, seating, seating.joints, [j.name for j in skeleton.joints])


def check_height(height_mm: float) -> None:
    """InputError for a height that no figure has."""
    if not (math.isfinite(height_mm) and LOWEST_MM <= height_mm <= TALLEST_MM):
        raise InputError(
            "figure.height",
            f"{height_mm:g} mm is no height for a figure",
            hint=f"the height is in mm, from {LOWEST_MM:g} to {TALLEST_MM:g}; 150 is usual",
        )


def seat_again(path: Path, watch: Watch) -> Started:
    """Find the joints whose source is "seated" again (and those the file lacks); hand-set and skinned ones stay.

    The file keeps its comments and order; the sculpt's hash is brought up to date.
    """
    with watch.step("read"):
        opened = open_figure(path)
    taken = take_in_sculpt(opened, watch)
    fixed = known_centres(opened.document, ("hand", "skin"))
    with watch.step("seat"), naming(opened.sculpt.paths[0]):
        seating = seat(taken.intake.solid, opened.skeleton, known={**taken.intake.joints, **fixed})
    tables = opened.document.content.joints
    renewed = [j for j in seating.joints if j.name not in tables or tables[j.name].source == "seated"]
    with watch.step("files"):
        text = renewed_text(opened.document, renewed, opened.sculpt.hash)
        parse_figure(path, text)
        write_file(path, text.encode())
    joints = placed(opened.document, opened.skeleton, {j.name: j for j in seating.joints})
    return _started(path, taken.intake, seating, _latest(renewed, joints), _names(opened))


def _names(opened: Opened) -> list[str]:
    return [j.name for j in opened.skeleton.joints]


def _latest(renewed: Iterable[SeatedJoint], joints: Iterable[SeatedJoint]) -> tuple[SeatedJoint, ...]:
    fresh = {j.name: j for j in renewed}
    return tuple(fresh.get(j.name, j) for j in joints)


def _started(
    path: Path, intake: Intake, seating: Seating, joints: tuple[SeatedJoint, ...], names: list[str]
) -> Started:
    findings = tuple(dict.fromkeys((*intake.findings, *seating.findings)))
    have = {j.name for j in joints}
    return Started(path, intake, joints, findings, tuple(n for n in names if n not in have))


def _draft(begin: Begin, sculpt_hash: str, *, joints: tuple[SeatedJoint, ...], intake: Intake | None) -> NewFigure:
    given = {"up": begin.up, "facing": begin.facing, "unit": begin.unit}
    report: Any = intake.report if intake else None
    own_skeleton = begin.skeleton.endswith(".toml")
    return NewFigure(
        name=begin.name or _name_from(begin.sculpt),
        sculpt=relative(begin.sculpt, begin.out),
        hash=sculpt_hash,
        height_mm=float(begin.height_mm),
        up=begin.up or (report.up if report else None),
        facing=begin.facing or (report.facing if report else None),
        unit=begin.unit or (report.unit if report else None),
        told=frozenset(key for key, value in given.items() if value),
        template=None if own_skeleton else begin.skeleton,
        skeleton_path=relative(Path(begin.skeleton), begin.out) if own_skeleton else None,
        printer=relative(Path(begin.printer), begin.out) if begin.printer.endswith(".toml") else begin.printer,
        material=relative(Path(begin.material), begin.out) if begin.material.endswith(".toml") else begin.material,
        fits=relative(begin.fits, begin.out) if begin.fits else None,
        joints=joints,
    )


def relative(path: Path, folder: Path) -> str:
    """A path as the figure file in ``folder`` writes it: relative and with slashes; absolute on another drive."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def _name_from(sculpt: Path) -> str:
    return re.sub(r"[\x00-\x1f\x7f]", "", sculpt.stem).strip()[:100] or "figure"


def _write_new(target: Path, text: str, *, replace: bool) -> None:
    if target.exists() and not replace:
        same = not target.is_dir() and read_text(target, "figure file") == text
        if same:
            return
        raise UsageError(
            "figure.exists",
            "another figure file stands here; it may hold your own changes",
            hint="renew its joints with: condyle seat, or start in another folder, or add --replace",
            place=Place(file=str(target)),
        )
    write_file(target, text.encode())
