"""Colours: swatches, what each part takes, where to mask, and what a split would save."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from condyle.book.chapters.verdicts import amount
from condyle.book.drawings.figure import ON_WHITE
from condyle.book.matter import Swatch, Table
from condyle.finish.coats import Mix
from condyle.finish.colours import Colour, PartColours
from condyle.geometry.mesh import IntArray, Mesh
from condyle.geometry.raster import Item, png_bytes, render_around, stack_side_by_side

SHOWN = 14


def swatches(colours: Sequence[Colour], parts: Mapping[str, PartColours], mixes: Sequence[Mix]) -> tuple[Swatch, ...]:
    """Every colour that is used, with its area and what to mix of it."""
    out = []
    for c in colours:
        area = sum(p.area_mm2.get(c.name, 0.0) for p in parts.values())
        if area > 0.0:
            ml = sum(m.paint_ml for m in mixes if m.colour == c.name and m.role == "base")
            said = f"{area / 100:.3g} cm²" + (f", {ml:.2g} ml of base coat" if ml else ", printed")
            out.append(Swatch(c.name, c.rgb, said))
    return tuple(out)


def colour_map(
    meshes: Mapping[str, Mesh],
    of_face: Mapping[str, IntArray],
    colours: Sequence[Colour],
    size: tuple[int, int] = (620, 860),
) -> bytes:
    """A PNG of the figure in its colours, from the front left and from behind; cut faces are white."""
    shades = np.array([c.rgb for c in colours], dtype=np.float64) / 255.0
    items = []
    for name, mesh in meshes.items():
        number = of_face.get(name)
        if number is None or len(number) != mesh.triangle_count:
            items.append(Item(mesh))
            continue
        tint = np.ones((len(mesh.vertices), 3))
        for k in range(len(colours)):
            tint[mesh.faces[number == k].ravel()] = shades[k]
        items.append(Item(mesh, vertex_colours=tint))
    views = [render_around(items, azimuth, 6.0, size, ON_WHITE, fineness=2) for azimuth in (26.0, 206.0)]
    return png_bytes(stack_side_by_side(views))


def colour_tables(parts: Mapping[str, PartColours]) -> tuple[Table, ...]:
    """Where to mask, and which splits would save most of it. Nothing for a figure of one colour."""
    rows = []
    for name, p in parts.items():
        areas = ", ".join(f"{c} {a / 100:.2g} cm²" for c, a in sorted(p.area_mm2.items(), key=lambda v: -v[1]))
        border = "; ".join(f"{a} against {b} {mm:.0f} mm" for (a, b), mm in p.borders_mm.items() if mm >= 1.0)
        rows.append((name.replace("_", " "), areas or "not seen", border or "none"))
    if len({c for p in parts.values() for c in p.area_mm2}) < 2:
        return ()
    tables = [
        Table(
            "Colours of each part",
            ("part", "seen area", "borders to mask"),
            tuple(rows),
            "Borders are measured along the triangles' edges: too long by up to a third.",
        )
    ]
    splits = sorted((s for p in parts.values() for s in p.splits), key=lambda s: -s.saves_mm)[:SHOWN]
    if splits:
        tables.insert(
            0,
            Table(
                "Splits that would save masking",
                ("part", "made separate", "masking saved", "costs"),
                tuple(
                    (
                        s.part.replace("_", " "),
                        s.colour,
                        amount(s.saves_mm, "mm"),
                        f"{s.parts} more part{'s' if s.parts > 1 else ''}, {s.joints} more peg{'s' if s.joints > 1 else ''}",
                    )
                    for s in splits
                ),
                "Give the piece a mesh of its own and name it under [pieces].",
            ),
        )
    return tuple(tables)
