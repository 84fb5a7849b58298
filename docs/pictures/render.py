"""Draw the README's pictures from what `condyle demo --out FOLDER` wrote: python docs/pictures/render.py FOLDER.

diver.png is the sculpt from two sides; kit.png the parts of its kit, each drawn away from its parent along the joint's cut.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from condyle.geometry.formats import read_scene
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.raster import Item, png_bytes, render_around, stack_side_by_side

HERE = Path(__file__).parent
APART_MM = 11.0
CLAY = (0.86, 0.81, 0.71)
INK_WASHES = ((0.86, 0.81, 0.71), (0.78, 0.74, 0.66), (0.90, 0.86, 0.78))


def picture_of_the_sculpt(folder: Path) -> bytes:
    """The sculpt from in front and from behind."""
    mesh = read_scene(folder / "diver.stl").merged()
    views = [render_around([Item(mesh, CLAY)], azimuth, 6.0, (640, 860)) for azimuth in (24.0, 204.0)]
    return png_bytes(stack_side_by_side(views))


def picture_of_the_kit(folder: Path) -> bytes:
    """The parts, drawn apart."""
    document = json.loads((folder / "kit" / "proof.json").read_text(encoding="utf-8"))
    shifts = _shifts(document)
    items = []
    for number, part in enumerate(document["parts"]):
        mesh = read_scene(folder / "kit" / part["file"]).merged()
        moved = Mesh(mesh.vertices + shifts[part["name"]], mesh.faces)
        items.append(Item(moved, INK_WASHES[number % len(INK_WASHES)]))
    return png_bytes(render_around(items, 24.0, 6.0, (1280, 1100)))


def _shifts(document: dict) -> dict[str, FloatArray]:  # type: ignore[type-arg]
    """How far each part is drawn from its place: one step from its parent, along the line between their middles."""
    parts = {p["name"]: p for p in document["parts"]}
    above = {}
    for joint in document["joints"]:
        if joint["built"]:
            link = joint["name"] + "_link"
            above[joint["child"]] = link if link in parts else joint["parent"]
            if link in parts:
                above[link] = joint["parent"]
    shifts: dict[str, FloatArray] = {}

    def shift(name: str) -> FloatArray:
        if name not in shifts:
            parent = above.get(name)
            if parent not in parts:
                shifts[name] = np.zeros(3)
            else:
                step = _middle(parts[name]) - _middle(parts[parent])
                shifts[name] = shift(parent) + APART_MM * step / np.linalg.norm(step)
        return shifts[name]

    return {name: shift(name) for name in parts}


def _middle(part: dict) -> FloatArray:  # type: ignore[type-arg]
    return np.mean(np.array(part["bounds"]), axis=0)


if __name__ == "__main__":
    source = Path(sys.argv[1] if len(sys.argv) > 1 else "build-demo")
    (HERE / "diver.png").write_bytes(picture_of_the_sculpt(source))
    (HERE / "kit.png").write_bytes(picture_of_the_kit(source))
