"""A diver that comes in three meshes, body, helmet and belt: python examples/02-pieces/make.py FOLDER

Writes body.stl, helmet.stl, belt.stl and figure.toml to the folder. Then: condyle make FOLDER/figure.toml --out KIT
The helmet becomes a part of its own that goes over the head, so that it is painted apart; the belt is a closed ring that
could not come off over the hips, and stays one with the body.
"""

from __future__ import annotations

import sys
from pathlib import Path

from condyle.demo.diver_pieces import diver_pieces
from condyle.geometry.formats import stl_bytes

FIGURE = """\
schema = 1

[figure]
name = "diver in pieces"
sculpt = "body.stl"
height_mm = 150.0
up = "z"
facing = "x"
unit = "millimeter"

[skeleton]
template = "upright"

[pieces.helmet]
file = "helmet.stl"
bone = "head"
way = [0.0, 0.0, 1.0]

[pieces.belt]
file = "belt.stl"
bone = "pelvis"
how = "fused"

[[poses]]
name = "at ease"
"""


def write(folder: Path, step_mm: float = 0.5) -> Path:
    """All files of the example; ``step_mm`` is the grid that the meshes are made on. The figure file's path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, mesh in diver_pieces(step_mm).items():
        (folder / f"{name}.stl").write_bytes(stl_bytes(mesh))
    path = folder / "figure.toml"
    path.write_text(FIGURE, encoding="utf-8")
    return path


if __name__ == "__main__":
    print(write(Path(sys.argv[1] if len(sys.argv) > 1 else "pieces")))
