"""Masks and holding points: what keeps paint off which bearing, and by what each part is held."""

from __future__ import annotations

import numpy as np

from condyle.book.drawings.figure import LINE, WASHES
from condyle.book.matter import Table
from condyle.finish.masks import MaskList
from condyle.geometry.mesh import Mesh
from condyle.geometry.raster import Item, png_bytes, render_around

WORDS = (
    "Push a cap over each ball and stud, and a plug into each socket and pin hole, before the first coat; they come off when "
    "the last is touch dry. Print one of each first and try it: it shall hold by itself and not force the socket open. A "
    "holder is the same with a stick: hold the part by nothing else, and stand the sticks in a board with 5 mm holes while "
    "the paint dries.",
)


def mask_tables(masks: MaskList) -> tuple[Table, ...]:
    """One row a part, and what to print."""
    parts: dict[str, list[str]] = {}
    for m in masks.masks:
        what = m.file.removesuffix(".stl") if m.file else "tape or liquid mask"
        parts.setdefault(m.part, []).append(f"{m.joint.replace('_', ' ')}: {what}")
    rows = []
    for name, held in masks.holders.items():
        by = (
            f"holder-{held.file.removesuffix('.stl')} at {held.joint.replace('_', ' ')}"
            if held
            else "a stick in a 2 mm hole, drilled where nobody looks"
        )
        rows.append((name.replace("_", " "), by, "; ".join(parts.get(name, [])) or "nothing"))
    counts = [f"{k} × {n.removesuffix('.stl')}" for n, k in masks.counts().items()]
    tables = [Table("Masks and holding points", ("part", "hold it by", "mask"), tuple(rows))]
    if counts:
        note = "In the folder masks. Slack and taper are common practice: scale them by a few hundredths if yours are loose."
        counts += [""] * (-len(counts) % 4)
        printed = [tuple(counts[k : k + 4]) for k in range(0, len(counts), 4)]
        tables.insert(0, Table("To print for it", ("", "", "", ""), tuple(printed), note))
    return tuple(tables)


def mask_picture(masks: MaskList, size: tuple[int, int] = (1200, 420)) -> bytes | None:
    """A PNG of every mask and holder side by side; None where nothing is printed."""
    items, x = [], 0.0
    for n, solid in enumerate(masks.solids().values()):
        low, high = solid.bounds
        mesh = solid.mesh
        items.append(Item(Mesh(mesh.vertices + np.array([0.0, x - low[1], 0.0]), mesh.faces), WASHES[n % 3]))
        x += high[1] - low[1] + 3.0
    return png_bytes(render_around(items, 12.0, 24.0, size, LINE, fineness=2)) if items else None
