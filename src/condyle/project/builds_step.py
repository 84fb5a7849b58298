"""From parts and how they lie to print jobs: plates, their files, time, material and cost, and the bench's sheet."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from condyle.build.chamfer import chamfered
from condyle.build.estimate import STARTER, Estimate, FittedPace, Job, Use, fit_pace, use_of
from condyle.build.nesting import Item, Nesting, Plate, Rules, nest, plates_finding
from condyle.build.process import rules_of
from condyle.build.triage import GeometryCause, Measure
from condyle.errors import SolidError
from condyle.export.written import checked_part
from condyle.finding import Finding
from condyle.geometry.formats import threemf_bytes
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.solid import solid_from_mesh
from condyle.project.bench_sheet import BenchSheet, SheetPart, Stand
from condyle.project.record.attempts import jobs as logged_jobs
from condyle.project.record.store import opened
from condyle.proof.print import PartPrint, PrintProof
from condyle.proof.print_words import CUP_MM2, PEEL_MM2
from condyle.workshop.bench import Workshop
from condyle.workshop.card import Process

SUPPORT_FILL = 0.20
"""Share of a support's block that is material: common practice, no source."""

BRIM_MM = 4.0
BRIM_BELOW_DEG, BRIM_BELOW_MM2 = 12.0, 40.0
"""A part that leans at less, or stands on less, gets a brim: common practice, no source."""


@dataclass(frozen=True)
class Build:
    """One print job: its plate, file, and what it takes. ``colour`` is that of its parts where they are printed in one;
    ``cost`` of its use is in the maker's money, None without a price; ``brims`` are in mm by part."""

    name: str
    workshop: Workshop
    plate: Plate
    job: Job
    time: Estimate
    use: Use
    colour: str = ""
    brims: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Builds:
    """All print jobs, their 3MF files by name, how the parts were nested, and findings."""

    builds: tuple[Build, ...]
    files: Mapping[str, bytes]
    nesting: Nesting
    jobs: Mapping[str, Job]
    findings: tuple[Finding, ...]

    def document(self) -> list[dict[str, Any]]:
        """``builds`` of proof.json."""
        return [
            {
                "file": f"builds/{b.name}.3mf",
                "parts": [p.name for p in b.plate.parts],
                "time_s": b.time.time_s,
                "material_g": b.use.material_g,
                "cost": b.use.cost,
            }
            for b in self.builds
        ]


def plan_builds(
    meshes: Mapping[str, Mesh],
    masses_g: Mapping[str, float],
    printed: PrintProof,
    workshops: Mapping[str, Workshop],
    pace: Callable[[Workshop], FittedPace],
    price_per_kg: float | None = None,
    colours: Mapping[str, str] | None = None,
    prefix: str = "build",
) -> Builds:
    """Nest parts as they lie and say what each plate takes.

    ``masses_g`` are those of the printed parts without supports; ``workshops`` says where each part is printed: parts of
    different printers or materials never share a plate. The price is that of the figure's own material.
    ``colours`` names the parts that are printed in a colour of their own: they share plates with their like only.
    """
    jobs: dict[str, Job] = {}
    builds: list[Build] = []
    files: dict[str, bytes] = {}
    plates: list[Plate] = []
    left_out: list[str] = []
    findings: list[Finding] = []
    bound = 0
    for workshop, colour, names in _by_workshop(workshops, [n for n in printed.parts if n in meshes], colours or {}):
        density = workshop.material.density_g_cm3.value
        for name in names:
            part = printed.parts[name]
            laid = 1000.0 * masses_g[name] / density + SUPPORT_FILL * part.support_mm3
            jobs[name] = Job(laid, part.layers, part.layers)
        items = [_item(name, meshes[name], printed.parts[name], workshop) for name in names]
        nesting = nest(items, Rules(workshop.printer.plate_mm))
        cut, uncut = _chamfered({i.name: i.mesh for i in items}, workshop)
        findings += uncut
        for plate in nesting.plates:
            name = f"{prefix}-{len(builds) + 1:02d}"
            on = [jobs[p.name] for p in plate.parts]
            job = Job(sum(j.laid_mm3 for j in on), max(j.layers for j in on), sum(j.part_layers for j in on))
            use = use_of(job, density, price_per_kg=price_per_kg)
            brims = {i.name: i.brim_mm for i in items}
            builds.append(Build(name, workshop, plate, job, pace(workshop).estimate(job), use, colour, brims))
            files[f"builds/{name}.3mf"] = threemf_bytes(
                [(p.name, _moved(cut[p.name], p.transform)) for p in plate.parts]
            )
        plates += nesting.plates
        left_out += nesting.left_out
        findings += nesting.findings
        bound += nesting.bound
    whole = Nesting(tuple(plates), bound, tuple(left_out), tuple(findings))
    return Builds(tuple(builds), files, whole, jobs, _once_a_kit(whole))


def _by_workshop(
    workshops: Mapping[str, Workshop], names: Sequence[str], colours: Mapping[str, str]
) -> list[tuple[Workshop, str, list[str]]]:
    """Parts that may share a plate, with their colour where they are printed in one, in the kit's order of first mention."""
    groups: dict[tuple[str, str, str], tuple[Workshop, str, list[str]]] = {}
    for name in names:
        shop, colour = workshops[name], colours.get(name, "")
        groups.setdefault((shop.printer.name, shop.material.name, colour), (shop, colour, []))[2].append(name)
    return list(groups.values())


def _once_a_kit(nesting: Nesting) -> tuple[Finding, ...]:
    """The number of plates is one finding for the whole kit, however many workshops print it."""
    rest = [f for f in nesting.findings if f.check != "print.plates"]
    return (*rest, plates_finding(len(nesting.plates), nesting.bound)) if nesting.plates else tuple(rest)


def _item(name: str, mesh: Mesh, part: PartPrint, workshop: Workshop) -> Item:
    """A part to be nested. Resin hangs from its supports: it takes no brim, and no layer has to cool."""
    filament = workshop.printer.process == "filament"
    lean = part.growth.tip_deg < BRIM_BELOW_DEG or part.growth.contact_mm2 < BRIM_BELOW_MM2
    feet = np.array([c.top[:2] for c in part.columns if c.foot == "plate"]).reshape(-1, 2)
    placed = _moved(mesh, part.orientation.transform)
    footing = part.growth.contact_mm2 if filament else None
    return Item(name, placed, "", BRIM_MM if lean and filament else 0.0, footing, feet)


def _chamfered(lying: Mapping[str, Mesh], workshop: Workshop) -> tuple[dict[str, Mesh], list[Finding]]:
    """Lying parts without what their first layers will add again by spreading; where that breaks a solid it stays whole,
    with a caution."""
    rules = rules_of(workshop.printer)
    out, findings = dict(lying), []
    for name, mesh in lying.items() if rules.first_layer_spread_mm > 0 else ():
        try:
            out[name] = checked_part(chamfered(solid_from_mesh(mesh, name), rules), name)
        except SolidError:
            spread = rules.first_layer_spread_mm
            words = "its edge on the plate could not be chamfered: scrape the bulge of the first layers off with a blade, away from you"
            findings.append(Finding("print.chamfer", name, "caution", spread, 0.0, "mm", None, words))
    return out, findings


def _moved(mesh: Mesh, transform: FloatArray) -> Mesh:
    return Mesh(mesh.vertices @ transform[:3, :3].T + transform[:3, 3], mesh.faces)


def pace_of(workshop: Workshop, record: Path) -> FittedPace:
    """The printer's pace, sharpened by the jobs in the record where there is one."""
    return logged_pace(workshop.printer.name, workshop.printer.process, record)


def logged_pace(printer: str, process: Process, record: Path) -> FittedPace:
    """The pace of a printer by its name."""
    logged: list[tuple[Job, float]] = []
    if record.is_file():
        with opened(record) as connection:
            for job in logged_jobs(connection):
                if job.printer == printer and job.asked is not None and job.time_s is not None:
                    logged.append((job.asked, job.time_s))
    return fit_pace(STARTER[process], logged)


def bench_sheet(
    name: str, workshop: Workshop, hashes: Mapping[str, str], printed: PrintProof | None, builds: Builds | None
) -> BenchSheet:
    """What the bench asks about this kit."""
    own = {p.name: b.workshop for b in builds.builds for p in b.plate.parts} if builds else {}
    parts = []
    for part, content in hashes.items():
        told = printed.parts.get(part) if printed else None
        job = builds.jobs.get(part) if builds else None
        up = tuple(float(v) for v in told.orientation.direction) if told else None
        parts.append(
            SheetPart(
                part,
                content,
                (up[0], up[1], up[2]) if up else None,
                job.laid_mm3 if job else None,
                job.layers if job else None,
                _measures(told, part, printed, own.get(part, workshop)) if told and printed else {},
                _stand(told, builds) if told and builds else None,
            )
        )
    plates = {b.name: tuple(p.name for p in b.plate.parts) for b in builds.builds} if builds else {}
    return BenchSheet(1, name, workshop.printer.name, workshop.material.name, tuple(parts), plates)


def _stand(told: PartPrint, builds: Builds) -> Stand | None:
    """Where a part stands: on which plate, and where on it its supports do."""
    for b in builds.builds:
        for placed in b.plate.parts:
            if placed.name == told.name:
                feet = np.array([(*c.top[:2], 0.0) for c in told.columns if c.foot == "plate"]).reshape(-1, 3)
                feet = np.round(feet @ placed.transform[:3, :3].T + placed.transform[:3, 3], 3)
                printer, material = b.workshop.printer, b.workshop.material
                return Stand(
                    b.name, printer.plate_mm, printer.name, printer.process, material.name, b.colour,
                    b.brims[told.name], told.growth.contact_mm2 if printer.process == "filament" else None, tuple((float(x), float(y)) for x, y, _ in feet),
                )  # fmt: skip
    return None


def _measures(told: PartPrint, name: str, printed: PrintProof, workshop: Workshop) -> dict[GeometryCause, Measure]:
    """The weak places of a part as the triage weighs them: each measure against its limit. What stands on the plate holds a
    filament part, feet of supports included; a resin part hangs by its supports, and neither contact nor lean is asked of it."""
    line, column = workshop.printer.line_mm.value, rules_of(workshop.printer).column_mm
    islands = [s for s in told.spots if s.kind == "island"]
    worst = max(islands, key=lambda s: s.area_mm2, default=None)
    unsound = [c for c in told.columns if c.foot in ("nothing", "hair", "slope")]
    out: dict[GeometryCause, Measure] = {
        "island": Measure(worst.area_mm2 if worst else 0.0, line * line, "mm²", place=worst.place if worst else None),
        "support": Measure(float(len(unsound)), 0.5, "columns", place=unsound[0].place if unsound else None),
        "thin": Measure(told.lost_mm3, line**3, "mm³", place=told.lost_at),
    }
    if workshop.printer.process == "filament":
        stands = told.growth.contact_mm2 + sum(column**2 for c in told.columns if c.foot == "plate")
        out["contact"] = Measure(max(stands, 1e-3), BRIM_BELOW_MM2, "mm²", more_is_better=True)
        out["slender"] = Measure(max(told.growth.tip_deg, 0.1), BRIM_BELOW_DEG, "degrees", more_is_better=True)
    else:
        cup = max(told.cups, key=lambda c: c.area_mm2, default=None)
        shut = [c for c in told.cups if c.closed]
        out["suction"] = Measure(cup.area_mm2 if cup else 0.0, CUP_MM2, "mm²", place=cup.place if cup else None)
        out["trapped"] = Measure(float(len(shut)), 0.5, "hollows", place=shut[0].place if shut else None)
        if told.peel is not None:
            out["peel"] = Measure(told.peel.area_mm2, PEEL_MM2, "mm²")
    gaps = [f for f in printed.fits if name in f.parts and f.low_mm is not None]
    if gaps:
        tight = min(gaps, key=lambda f: f.gap_mm - (f.low_mm or 0.0))
        short = max(0.0, (tight.low_mm or 0.0) - tight.gap_mm)
        out["gap"] = Measure(short, max(tight.sd_mm, 0.02), "mm too tight", place=tight.place)
    return out
