"""What the bench asks about the last kit, kept beside the figure file so that logging an attempt need not make it again.

FOLDER/.condyle/bench.json is written after each proof; like all of .condyle it may be deleted, and comes back with the
next ``condyle prove`` or ``condyle make``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from condyle.build.triage import GeometryCause, Measure
from condyle.errors import CondyleError, InputError, Place
from condyle.project.place import write_file
from condyle.workshop.card import Process

SCHEMA = 1


@dataclass(frozen=True)
class Stand:
    """How a part stands on its plate, so that it can be nested again with others.

    build, plate_mm  the 3MF of KIT/builds that holds it, and the build volume that was for
    printer, process, material, colour   parts that differ in one of them never share a plate
    contact_mm2      in its first layer, None for resin
    feet             where its supports stand, in that plate's coordinates
    """

    build: str
    plate_mm: tuple[float, float, float]
    printer: str
    process: Process
    material: str
    colour: str
    brim_mm: float
    contact_mm2: float | None
    feet: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class SheetPart:
    """One part: its content, how it lies (None where no orientation was planned), what it lays down, its weak places, and
    where it stands (None where it is on no plate)."""

    name: str
    hash: str
    up: tuple[float, float, float] | None = None
    laid_mm3: float | None = None
    layers: int | None = None
    measures: Mapping[GeometryCause, Measure] = field(default_factory=dict)
    stand: Stand | None = None


@dataclass(frozen=True)
class BenchSheet:
    """The last kit of a figure as the bench sees it; ``builds`` names the parts of each plate."""

    schema: int
    figure: str
    printer: str
    material: str
    parts: tuple[SheetPart, ...]
    builds: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def part(self, name: str) -> SheetPart | None:
        return next((p for p in self.parts if p.name == name), None)


def sheet_path(figure: Path) -> Path:
    """Where the sheet of a figure file lies; a variant beside figure.toml has one of its own."""
    name = "bench" if figure.stem == "figure" else f"bench-{figure.stem}"
    return figure.parent / ".condyle" / f"{name}.json"


def keep_sheet(figure: Path, sheet: BenchSheet) -> None:
    """Write the sheet; a folder that cannot be written to goes without."""
    adapter: TypeAdapter[BenchSheet] = TypeAdapter(BenchSheet)
    text = json.dumps(adapter.dump_python(sheet, mode="json"), indent=1, sort_keys=True, allow_nan=False) + "\n"
    with suppress(CondyleError):
        write_file(sheet_path(figure), text.encode())


def read_sheet(figure: Path) -> BenchSheet:
    """The sheet of a figure file. InputError ``bench.none`` where there is none, or one that cannot be understood."""
    adapter: TypeAdapter[BenchSheet] = TypeAdapter(BenchSheet)
    try:
        value: Any = json.loads(sheet_path(figure).read_text(encoding="utf-8"))
        sheet = adapter.validate_python(value)
        if sheet.schema == SCHEMA:
            return sheet
    except (OSError, ValueError, ValidationError):
        pass
    raise InputError(
        "bench.none",
        "no kit of this figure is known yet",
        hint=f"make it first: condyle make {figure} --out KIT",
        place=Place(file=str(figure)),
    )
