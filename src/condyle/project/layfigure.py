"""A skeleton's lay figure or its sculptor's guide, in a folder with the figure file that goes with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from condyle.errors import Place, UsageError
from condyle.export import part_file
from condyle.export.guide_files import guide_files
from condyle.figure.guide import Guide, sculptors_guide
from condyle.figure.layfigure import LayFigure, lay_figure
from condyle.figure.skeleton import SeatedJoint, Skeleton
from condyle.figure.skeleton_file import load_template, read_skeleton
from condyle.geometry.formats import stl_bytes
from condyle.joints.stock import stock_of
from condyle.project.cache import content_hash
from condyle.project.figure_text import NewFigure, new_figure_text
from condyle.project.pipeline import Result, make_kit
from condyle.project.place import clear_unfinished, write_file
from condyle.project.start import check_height, relative
from condyle.project.watch import Watch
from condyle.proof.one_limb import Held
from condyle.workshop.bench import Workshop, load_workshop

FIGURE, SCULPT, SKELETON, KIT, GUIDED = "figure.toml", "layfigure.stl", "skeleton.toml", "kit", "sculpt.stl"


@dataclass(frozen=True)
class Turned:
    """What the maker asks for.

    limb  a joint, a bone or a limb by name: that and all beyond; only: these joints; both empty for the whole figure
    """

    skeleton: str
    out: Path
    height_mm: float | None = None
    limb: str | None = None
    only: tuple[str, ...] = ()
    printer: str = "filament-200"
    material: str = "pla"
    fits: Path | None = None


@dataclass(frozen=True)
class Made:
    """The kit of a lay figure, and which parts' files differ from those that stood in the folder before."""

    result: Result
    changed: tuple[str, ...]
    same: tuple[str, ...]


def make_lay_figure(turned: Turned, watch: Watch) -> Made:
    """Write OUT/layfigure.stl, OUT/figure.toml (for a limb also OUT/skeleton.toml) and OUT/kit.

    Raises UsageError for a folder that holds something else and for names that the skeleton does not have.
    """
    _check_place(turned.out, SCULPT)
    with watch.step("read"):
        skeleton, workshop = _read(turned)
    with watch.step("sculpt"):
        lay = _turned(turned, skeleton, workshop)
        sculpt = stl_bytes(lay.sculpt.mesh)
        write_file(turned.out / SCULPT, sculpt)
        path = _own_skeleton(turned, lay, skeleton)
        held = _held(skeleton, lay.skeleton)
        name = f"{skeleton.name} lay figure"
        text = _text(turned, lay.skeleton, lay.joints, name, SCULPT, content_hash(sculpt), path, held)
        write_file(turned.out / FIGURE, text.encode())
    before = _part_bytes(turned.out / KIT)
    result = make_kit(turned.out / FIGURE, turned.out / KIT, watch)
    names = [p.name for p in result.kit.parts]
    same = tuple(n for n in names if before.get(n) == result.files[part_file(n)])
    return Made(result, tuple(n for n in names if n not in same), same)


def make_guide(turned: Turned, watch: Watch) -> Guide:
    """Write OUT/guide.glb, guide.obj and guide-KIND.stl, and OUT/figure.toml for the sculpt that will be made around it.

    A figure file that stands there already is left alone, so that the maker's own words in it are kept.
    """
    _check_place(turned.out, "guide.glb")
    with watch.step("read"):
        skeleton, workshop = _read(turned)
    with watch.step("sculpt"):
        lay = _turned(turned, skeleton, workshop)
    with watch.step("guide"):
        guide = sculptors_guide(lay, workshop)
    with watch.step("files"):
        for name, data in guide_files(guide).items():
            write_file(turned.out / name, data)
        path = _own_skeleton(turned, lay, skeleton)
        held = _held(skeleton, lay.skeleton)
        text = _text(turned, lay.skeleton, guide.joints, skeleton.name, GUIDED, "", path, held)
        if not (turned.out / FIGURE).exists():
            write_file(turned.out / FIGURE, text.encode())
    return guide


def _read(turned: Turned) -> tuple[Skeleton, Workshop]:
    own = turned.skeleton.endswith(".toml")
    skeleton = read_skeleton(Path(turned.skeleton)) if own else load_template(turned.skeleton)
    height = skeleton.height_mm if turned.height_mm is None else turned.height_mm
    check_height(height)
    return replace(skeleton, height_mm=height), load_workshop(turned.printer, turned.material, turned.fits)


def _turned(turned: Turned, skeleton: Skeleton, workshop: Workshop) -> LayFigure:
    return lay_figure(
        skeleton, skeleton.height_mm, workshop.fits, stock_of(workshop), limb=turned.limb, only=turned.only
    )


def _own_skeleton(turned: Turned, lay: LayFigure, skeleton: Skeleton) -> str | None:
    """The skeleton's path as the figure file writes it; for a limb a small file that inherits and keeps only its joints."""
    own = turned.skeleton.endswith(".toml")
    there = relative(Path(turned.skeleton), turned.out) if own else turned.skeleton
    if len(lay.skeleton.joints) == len(skeleton.joints):
        return there if own else None
    only = ", ".join(f'"{j.name}"' for j in lay.skeleton.joints)
    text = f'schema = 1\nname = "{skeleton.name}"\ninherits = "{there}"\nonly = [{only}]\n'
    write_file(turned.out / SKELETON, text.encode())
    return SKELETON


def _held(whole: Skeleton, chosen: Skeleton) -> Held:
    """Whether this is the whole skeleton, one limb with all beyond it, or joints that have more beyond them."""
    if len(chosen.joints) == len(whole.joints):
        return "no"
    names, carried = {j.name for j in chosen.joints}, {j.child for j in chosen.joints}
    return "joint" if any(j.parent in carried and j.name not in names for j in whole.joints) else "limb"


def _text(
    turned: Turned,
    skeleton: Skeleton,
    joints: tuple[SeatedJoint, ...],
    name: str,
    sculpt: str,
    sculpt_hash: str,
    path: str | None,
    held: Held,
) -> str:
    def card(given: str) -> str:
        return relative(Path(given), turned.out) if given.endswith(".toml") else given

    return new_figure_text(
        NewFigure(
            name=name,
            sculpt=sculpt,
            hash=sculpt_hash,
            height_mm=float(skeleton.height_mm),
            up="z",
            facing="x",
            unit="millimeter",
            told=frozenset(("up", "facing", "unit")),
            template=None if path else turned.skeleton,
            skeleton_path=path,
            printer=card(turned.printer),
            material=card(turned.material),
            fits=relative(turned.fits, turned.out) if turned.fits else None,
            joints=joints,
            true_size=True,
            sizes=True,
            held=held,
        )
    )


def _part_bytes(kit: Path) -> Mapping[str, bytes]:
    """The part files of a kit that stands there."""
    folder = kit / "parts"
    if not folder.is_dir():
        return {}
    return {p.stem: p.read_bytes() for p in sorted(folder.iterdir()) if p.suffix == ".stl" and p.is_file()}


def _check_place(out: Path, ours: str) -> None:
    place = Place(file=str(out))
    if out.exists() and not out.is_dir():
        raise UsageError("out.not_a_folder", "this is a file", hint="give --out the name of a folder", place=place)
    if out.is_dir():
        clear_unfinished(out)
    if out.is_dir() and any(out.iterdir()) and not (out / ours).is_file():
        hint = "give --out a new folder, or one that this command has made"
        raise UsageError("out.not_ours", "this folder holds something else", hint=hint, place=place)
