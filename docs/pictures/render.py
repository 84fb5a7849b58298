"""Draw the README's pictures: python docs/pictures/render.py FOLDER, where `condyle demo --out FOLDER` has written.

diver.png is the sculpt's portrait; kit.png the parts of its kit, each drawn away from its parent.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from condyle.demo.portrait import portrait
from condyle.geometry.formats import read_scene
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.raster import Item, png_bytes, render_around

HERE = Path(__file__).parent
APART_MM = 11.0
WASHES = ((0.86, 0.81, 0.71), (0.78, 0.74, 0.66), (0.90, 0.86, 0.78))


def picture_of_the_kit(folder: Path) -> bytes:
    """The parts, drawn apart."""
    document = json.loads((folder / "kit" / "proof.json").read_text(encoding="utf-8"))
    shifts = _shifts(document)
    items = []
    for number, part in enumerate(document["parts"]):
        mesh = read_scene(folder / "kit" / part["file"]).merged()
        moved = Mesh(mesh.vertices + shifts[part["name"]], mesh.faces)
        items.append(Item(moved, WASHES[number % len(WASHES)]))
    return png_bytes(render_around(items, 24.0, 6.0, (1000, 900)))


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
    (HERE / "diver.png").write_bytes(portrait())
    (HERE / "kit.png").write_bytes(picture_of_the_kit(source))
