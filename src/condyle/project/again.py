"""Parts that have to be printed again, gathered on plates of their own: KIT/builds/again-01.3mf and so on.

Each part is taken from the plate of the kit that it lay on, as it lay there, and nested anew with the others; parts of
different printers, materials or printed colours still go on plates apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from condyle.build.estimate import Estimate, Job
from condyle.build.nesting import Item, Rules, nest
from condyle.errors import InputError, Place
from condyle.finding import Finding
from condyle.geometry.formats import read_scene_bytes, threemf_bytes
from condyle.geometry.mesh import Mesh
from condyle.project.bench_sheet import BenchSheet, SheetPart, Stand
from condyle.project.builds_step import logged_pace
from condyle.project.cache import content_hash
from condyle.project.place import replace_builds

STEM = "again-"


@dataclass(frozen=True)
class AgainPlate:
    """One plate: its name, its parts, and how long it takes (None where that is not known)."""

    name: str
    parts: tuple[str, ...]
    time: Estimate | None


@dataclass(frozen=True)
class Gathered:
    """What was written, the sheet that knows of it, and what is to be said of it."""

    plates: tuple[AgainPlate, ...]
    sheet: BenchSheet
    findings: tuple[Finding, ...]


def gather(kit: Path, sheet: BenchSheet, names: Sequence[str], record: Path) -> Gathered:
    """Nest parts of a kit anew and write their plates into KIT/builds, in the place of those gathered before.

    No names: those gathered before are taken away. Raises InputError ``again.kit`` where the folder is not the last kit of
    this figure, ``again.part`` for a part that lay on no plate, and ``out.unwritable``; then nothing has changed.
    """
    groups: dict[tuple[str, str, str], list[tuple[SheetPart, Stand]]] = {}
    for name in dict.fromkeys(names):
        part, stand = _known(sheet, name, kit)
        groups.setdefault((stand.printer, stand.material, stand.colour), []).append((part, stand))
    plates: list[AgainPlate] = []
    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    for group in groups.values():
        items = {part.name: _item(part, stand, kit) for part, stand in group}
        nesting = nest(list(items.values()), Rules(group[0][1].plate_mm))
        findings += [f for f in nesting.findings if f.verdict in ("fail", "caution")]
        for plate in nesting.plates:
            name = f"{STEM}{len(plates) + 1:02d}"
            on = tuple(p.name for p in plate.parts)
            plates.append(AgainPlate(name, on, _time([p for p, _ in group if p.name in on], group[0][1], record)))
            files[f"{name}.3mf"] = threemf_bytes(
                [(p.name, items[p.name].mesh.transformed(p.transform)) for p in plate.parts]
            )
    replace_builds(kit, STEM, files)
    kept = {name: on for name, on in sheet.builds.items() if not name.startswith(STEM)}
    told = replace(sheet, builds={**kept, **{p.name: p.parts for p in plates}})
    return Gathered(tuple(plates), told, tuple(findings))


def _known(sheet: BenchSheet, name: str, kit: Path) -> tuple[SheetPart, Stand]:
    part = sheet.part(name)
    if part is None or part.stand is None:
        hint = "the kit as it was made last says how each part lies: make it again"
        raise InputError("again.part", f"{name} lay on no plate", hint=hint, place=Place(file=str(kit)))
    try:
        same = content_hash((kit / "parts" / f"{name}.stl").read_bytes()) == part.hash
    except OSError:
        same = False
    if not same:
        raise InputError(
            "again.kit",
            f"this folder does not hold {name} as it was proved last",
            hint="name the folder of the last kit, or make it again: condyle make FIGURE --out KIT",
            place=Place(file=str(kit)),
        )
    return part, part.stand


def _item(part: SheetPart, stand: Stand, kit: Path) -> Item:
    path = kit / "builds" / f"{stand.build}.3mf"
    try:
        scene = read_scene_bytes(path.read_bytes(), path.name)
    except OSError as error:
        hint = "make the kit again: condyle make FIGURE --out KIT"
        words = f"cannot be opened: {error.strerror or error}"
        raise InputError("again.kit", words, hint=hint, place=Place(file=str(path))) from error
    found = [m.mesh for m in scene.meshes if m.name == part.name]
    if not found:
        hint = "make the kit again: condyle make FIGURE --out KIT"
        raise InputError("again.kit", f"{part.name} is not on this plate", hint=hint, place=Place(file=str(path)))
    # The middle of the part at 0, so that what it is nested with, and not where it lay before, tells where it goes.
    low, high = found[0].bounds
    middle = np.array([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), low[2]])
    mesh = Mesh(found[0].vertices - middle, found[0].faces)
    under = np.array(stand.feet, dtype=np.float64).reshape(-1, 2) - middle[:2]
    return Item(part.name, mesh, "", stand.brim_mm, stand.contact_mm2, under)


def _time(parts: Sequence[SheetPart], stand: Stand, record: Path) -> Estimate | None:
    asked = [Job(p.laid_mm3, p.layers, p.layers) for p in parts if p.laid_mm3 is not None and p.layers is not None]
    if len(asked) != len(parts):
        return None
    job = Job(sum(j.laid_mm3 for j in asked), max(j.layers for j in asked), sum(j.layers for j in asked))
    return logged_pace(stand.printer, stand.process, record).estimate(job)
