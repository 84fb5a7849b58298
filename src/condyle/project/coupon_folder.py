"""A folder of coupons: plates as 3MF and STL, and the sheet for what is felt. Written whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, get_args

import numpy as np

from condyle.errors import UsageError
from condyle.export.written import checked_part
from condyle.geometry.formats import stl_bytes, threemf_bytes
from condyle.geometry.mesh import Mesh
from condyle.joints.coupons.friction_beam import MARKS, friction_beam
from condyle.joints.coupons.halves import SERIES
from condyle.joints.coupons.ladder import Ladder, ladder_coupon
from condyle.project.place import check_new_folder, write_new_folder
from condyle.project.printer_file import proposed_ladder
from condyle.workshop.bench import Workshop, load_workshop
from condyle.workshop.calibration import sheet
from condyle.workshop.calibration.propose import SPECIMENS
from condyle.workshop.coupons.gauges import hole_gauge, step_gauge, strain_ladder, wall_ladder
from condyle.workshop.coupons.plate import Effort, Piece, effort, span_mm
from condyle.workshop.fits import FitKind

What = Literal["ladder", "gauge", "steps", "walls", "strain", "friction"]
EVERYTHING: Final[tuple[What, ...]] = get_args(What)
FRICTION_STEP_MM = 0.03
MOST_JOINTS = 9
_SHARES = (1.0, 0.75, 0.5, 0.35, 0.25)
_MOVES_MM = (0.0, 0.02, -0.02, 0.04, -0.04, 0.06, -0.06)


@dataclass(frozen=True)
class CouponWish:
    """What to make. ``what`` empty: everything, or only ladders when families or sizes are named."""

    out: Path
    what: tuple[What, ...] = ()
    families: tuple[FitKind, ...] = ()
    sizes_mm: tuple[float, ...] = ()
    printer: str = "filament-200"
    material: str = "pla"
    fits: Path | None = None
    count: int = SPECIMENS


@dataclass(frozen=True, eq=False)
class Plate:
    """One printed plate: its name, what is on it, its extent in mm, and what printing it takes."""

    name: str
    pieces: tuple[Piece, ...]
    size_mm: tuple[float, float, float]
    effort: Effort
    about: str


def write_coupons(wish: CouponWish) -> list[Plate]:
    """Make the plates and write OUT/NAME.3mf, OUT/NAME.stl and OUT/answers.toml.

    Raises UsageError for a place, family, size or count that cannot be, InputError for files that cannot be used.
    """
    check_new_folder(wish.out)
    workshop = load_workshop(wish.printer, wish.material, wish.fits)
    plates, sections = _plates(wish, workshop)
    names = "-".join(sorted({p.name.split("-")[0] for p in plates}))
    body = "".join(sections)
    mark = hashlib.blake2b((wish.printer + wish.material + body).encode(), digest_size=4).hexdigest()
    printer = wish.printer if not wish.printer.endswith(".toml") else Path(wish.printer).name
    head = sheet.head(f"{names[:40]} {mark}", printer, wish.material, workshop.printer.process)
    files: dict[str, bytes] = {"answers.toml": (head + body).encode("utf-8")}
    for plate in plates:
        meshes = [(p.name, checked_part(p.solid, p.name)) for p in plate.pieces]
        files[f"{plate.name}.3mf"] = threemf_bytes(meshes, translation=(1.0, 1.0, 0.0))
        files[f"{plate.name}.stl"] = stl_bytes(_together([mesh for _, mesh in meshes]))
    write_new_folder(wish.out, files)
    return plates


def _plates(wish: CouponWish, workshop: Workshop) -> tuple[list[Plate], list[str]]:
    named = bool(wish.families or wish.sizes_mm)
    what = wish.what or (("ladder",) if named else EVERYTHING)
    if not 3 <= wish.count <= MOST_JOINTS:
        raise UsageError("coupon.count", f"a ladder has 3 to {MOST_JOINTS} joints, not {wish.count}")
    plates: list[Plate] = []
    sections: list[str] = []

    def add(name: str, pieces: tuple[Piece, ...], about: str, section: str) -> None:
        took = effort(pieces, workshop.printer, workshop.material)
        plates.append(Plate(name, pieces, span_mm(pieces), took, about))
        sections.append(section)

    printer, material = workshop.printer, workshop.material
    if "gauge" in what:
        gauge = hole_gauge(printer)
        add("gauge", gauge.pieces, "holes, shafts and outside lengths to be read with a calliper",
            sheet.gauge(gauge.diameters_mm, gauge.lengths_mm))  # fmt: skip
    if "steps" in what:
        stair = step_gauge(printer)
        add(
            "steps",
            stair.pieces,
            "heights, and how far the first layers spread",
            sheet.steps(stair.heights_mm, stair.width_mm),
        )
    if "walls" in what:
        thin = wall_ladder(printer)
        add(
            "walls",
            thin.pieces,
            f"walls from {thin.walls_mm[0]:g} to {thin.walls_mm[-1]:g} mm",
            sheet.walls(thin.walls_mm),
        )
    if "strain" in what:
        tongues = strain_ladder(printer, material)
        add("strain", tongues.pieces, "tongues to be bent to a known strain, along and across the layers",
            sheet.strain(tongues.along, tongues.across))  # fmt: skip
    if "ladder" in what:
        for family, size in _joints(wish):
            made = _ladder(family, size, wish, workshop)
            about = (
                f"{family.replace('_', ' ')} {size:g} mm, drawn {made.drawn_mm[0]:+.3f} to {made.drawn_mm[-1]:+.3f} mm"
            )
            add(f"ladder-{family.replace('_', '-')}-{_plain(size)}", made.pieces, about + (f", {made.socket} socket" if made.socket else ""),
                sheet.ladder(family, size, made.build, made.drawn_mm, made.pin_mm))  # fmt: skip
    if "friction" in what:
        size = next((s for s in wish.sizes_mm if s in SERIES["ball"]), 6.0)
        middle = workshop.fits.get("ball", size).clearance_mm
        drawn = tuple(round(middle - k * FRICTION_STEP_MM, 3) for k in (2, 1, 0))
        beam = friction_beam(size, drawn, workshop)
        add(f"friction-ball-{_plain(size)}", beam.pieces, f"a ball of {size:g} mm with an arm to hang known masses on",
            sheet.friction(size, beam.build, dict(zip(MARKS, drawn, strict=False)), beam.holes_mm, beam.own_nmm,
                           beam.nmm_per_mm))  # fmt: skip
    return plates, sections


def _joints(wish: CouponWish) -> list[tuple[FitKind, float]]:
    families = wish.families or ("ball",)
    sizes = wish.sizes_mm or (6.0,)
    pairs = [(family, size) for family in families for size in sizes if size in SERIES[family]]
    for size in sizes:
        if not any(s == size for _, s in pairs):
            known = "; ".join(f"{f}: {', '.join(f'{s:g}' for s in SERIES[f])}" for f in families)
            raise UsageError("coupon.size", f"no such joint in {size:g} mm", hint=known)
    if len(pairs) > 20:
        raise UsageError("coupon.many", f"{len(pairs)} ladders at once", hint="ask for twenty at most")
    return list(dict.fromkeys(pairs))


def _ladder(family: FitKind, size: float, wish: CouponWish, workshop: Workshop) -> Ladder:
    """The ladder that tells most; drawn together and moved where its end joints cannot be made of this material.

    A small ball has a lip only within a narrow range of clearances: tighter would strain it too far, looser would leave
    nothing of it.
    """
    drawn = proposed_ladder(wish.printer, wish.fits, family, size, workshop, wish.count)
    middle = sum(drawn) / len(drawn)
    refused: UsageError | None = None
    for share in _SHARES:
        for move in _MOVES_MM:
            steps = tuple(round(middle + move + share * (c - middle), 3) for c in drawn)
            if len(set(steps)) < len(steps):
                continue
            try:
                return ladder_coupon(family, size, steps, workshop)
            except UsageError as error:
                if error.code != "coupon.shape":
                    raise
                refused = refused or error
    assert refused is not None
    raise refused


def _plain(size: float) -> str:
    return f"{size:g}".replace(".", "p")


def _together(meshes: Sequence[Mesh]) -> Mesh:
    """Bodies that stand apart as one mesh, moved off the corner of the plate."""
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes[:-1])])
    vertices = np.concatenate([m.vertices for m in meshes]) + np.array([1.0, 1.0, 0.0])
    return Mesh(vertices, np.concatenate([m.faces + s for m, s in zip(meshes, starts, strict=True)]).astype(np.int32))
