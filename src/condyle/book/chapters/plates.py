"""Plates: true outlines of what lies on each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from condyle.book.chapters.verdicts import amount
from condyle.book.matter import PlateEntry
from condyle.build.nesting import Plate
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import solid_from_mesh


def plate_entry(
    name: str,
    plate: Plate,
    placed: Mapping[str, Mesh],
    plate_mm: tuple[float, float, float],
    rows: tuple[tuple[str, str], ...],
    counted: Mapping[str, str],
) -> PlateEntry:
    """``placed`` holds the meshes in plate coordinates by name, ``counted`` the numbers of parts and the letters of what
    else lies on the plate."""
    outlines = []
    for part in plate.parts:
        rings = solid_from_mesh(placed[part.name], part.name).shadow(0.2)
        outlines.append(
            (
                f"{counted.get(part.name, '')} {part.name}".strip(),
                tuple(tuple((round(float(x), 2), round(float(y), 2)) for x, y in r) for r in rings),
            )
        )
    return PlateEntry(name, plate_mm[0], plate_mm[1], tuple(outlines), rows)


def lettered(names: Iterable[str]) -> dict[str, str]:
    """A, B, … Z, AA, … for what is no part of the figure: a base, accessories, spares and tools."""
    out: dict[str, str] = {}
    for n, name in enumerate(dict.fromkeys(names)):
        letters, k = "", n + 1
        while k > 0:
            k, rest = divmod(k - 1, 26)
            letters = chr(ord("A") + rest) + letters
        out[name] = letters
    return out


def took(
    time_s: float, low_s: float, high_s: float, material_g: float, cost: float | None
) -> tuple[tuple[str, str], ...]:
    """Rows on what a plate takes."""
    rows = [
        ("time", f"{_clock(time_s)}, between {_clock(low_s)} and {_clock(high_s)}"),
        ("material", amount(material_g, "g")),
    ]
    if cost is not None:
        rows.append(("cost", f"{cost:.2f}"))
    return tuple(rows)


def _clock(seconds: float) -> str:
    minutes = int(np.round(seconds / 60.0))
    return f"{minutes // 60} h {minutes % 60:02d} min"
