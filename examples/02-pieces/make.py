"""A yard hand of the salvage harbour in five meshes: python examples/02-pieces/make.py FOLDER

Writes body.stl, helmet.stl, two halves of a belt, two shoulder plates, skeleton.toml and figure.toml to the folder. Then:

    condyle make FOLDER/figure.toml --out FOLDER/kit

Each piece becomes a part of its own, to be painted apart: the helmet goes over the head on a keyed peg, the belt comes in
two halves on pegs (a closed ring would not come off over the hips), one shoulder plate tilts on a small ball, and the
other hangs on a strap.
"""

from __future__ import annotations

import sys
from pathlib import Path

from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import box, cylinder, frustum, sphere
from condyle.geometry.solid import Solid, intersect, subtract, union

SKELETON = """\
schema = 1
name = "yard hand"
height_mm = 110

[bones.pelvis]

[bones.chest]
parent = "pelvis"

[bones.head]
parent = "chest"

[joints.waist]
kind = "ball"
parent = "pelvis"
child = "chest"
centre = [0.0, 0.0, 0.44]
wanted = { flex = [-12.0, 12.0], abduct = [-12.0, 12.0], twist = [-40.0, 40.0] }

[joints.neck]
kind = "ball"
parent = "chest"
child = "head"
centre = [0.0, 0.0, 0.78]
wanted = { flex = [-15.0, 15.0], twist = [-60.0, 60.0] }
"""

FIGURE = """\
schema = 1

[figure]
name = "yard hand"
sculpt = "body.stl"
height_mm = 110.0
up = "z"
facing = "x"
unit = "millimeter"
true_size = true

[skeleton]
path = "skeleton.toml"

[joints.waist]
source = "hand"
centre = [0.0, 0.0, 48.0]
along = [0.0, 0.0, 1.0]
axis = [0.0, 1.0, 0.0]
cut = [0.0, 0.0, 1.0]

[joints.neck]
source = "hand"
centre = [0.0, 0.0, 85.0]
along = [0.0, 0.0, 1.0]
axis = [0.0, 1.0, 0.0]
cut = [0.0, 0.0, 1.0]

[pieces.helmet]                 # over the head, on a keyed peg in its crown
file = "helmet.stl"
bone = "head"
way = [0.0, 0.0, 1.0]

[pieces.belt_front]             # in two halves, so that each comes off straight
file = "belt_front.stl"
bone = "pelvis"
way = [1.0, 0.0, 0.0]

[pieces.belt_back]
file = "belt_back.stl"
bone = "pelvis"
way = [-1.0, 0.0, 0.0]

[pieces.plate_left]             # tilts by 8 degrees to every side
file = "plate_left.stl"
bone = "chest"
way = [0.0, 1.0, 0.0]
how = "carried"
on = "ball"
tilt_deg = 8.0

[pieces.plate_right]            # hangs loose, and cannot fall off
file = "plate_right.stl"
bone = "chest"
way = [0.0, -1.0, 0.0]
how = "carried"
on = "strap"
"""


def meshes() -> dict[str, Solid]:
    """``body`` and the pieces, mm, soles at z = 0, facing x."""
    coat = frustum(18.0, 0.0, 15.0, 40.0)
    body = union([coat, cylinder(15.0, 39.0, 72.0), frustum(15.0, 72.0, 8.0, 80.0), cylinder(8.0, 79.0, 90.0)])
    body = union([body, sphere(11.0).translated((0.0, 0.0, 97.0))], "body")
    helmet = subtract(
        union([sphere(15.0).translated((0.0, 0.0, 97.0)), cylinder(4.0, 108.0, 113.5)]),
        [sphere(10.8, "outside").translated((0.0, 0.0, 97.0)), box((-20.0, -20.0, 70.0), (20.0, 20.0, 97.0))],
    )
    ring = subtract(cylinder(19.5, 24.0, 31.0), [cylinder(15.2, 23.0, 32.0, "outside")])
    buckle = box((14.0, -5.0, 23.5), (21.0, 5.0, 31.5))
    pouch = box((-24.0, -6.0, 20.0), (-14.0, 6.0, 32.0))
    front = union([intersect(ring, box((0.05, -30.0, 0.0), (30.0, 30.0, 60.0))), buckle])
    back = union([intersect(ring, box((-30.0, -30.0, 0.0), (-0.05, 30.0, 60.0))), pouch])
    shell = subtract(cylinder(17.4, 58.0, 74.0), [cylinder(14.8, 57.0, 75.0, "outside")])
    left = intersect(shell, box((-8.0, 10.0, 57.0), (8.0, 30.0, 75.0)))
    right = intersect(shell, box((-8.0, -30.0, 57.0), (8.0, -10.0, 75.0)))
    return {
        "body": body, "helmet": helmet, "belt_front": front, "belt_back": back, "plate_left": left, "plate_right": right,
    }  # fmt: skip


def write(folder: Path) -> Path:
    """All files of the example; the figure file's path."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, solid in meshes().items():
        (folder / f"{name}.stl").write_bytes(stl_bytes(solid.mesh))
    (folder / "skeleton.toml").write_text(SKELETON, encoding="utf-8")
    path = folder / "figure.toml"
    path.write_text(FIGURE, encoding="utf-8")
    return path


if __name__ == "__main__":
    print(write(Path(sys.argv[1] if len(sys.argv) > 1 else "pieces")))
