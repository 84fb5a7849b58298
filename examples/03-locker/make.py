"""A locker of hands for a deck crane's arm: python examples/03-locker/make.py FOLDER

Writes a locker (three hands and a rod, each a mesh with its TOML file), an arm without a hand, skeleton.toml and figure.toml. Then:

    condyle make FOLDER/figure.toml --out FOLDER/kit

The line stock = "locker/fist.toml" puts the fist on the arm, scaled to its wrist; spares = [...] cuts the other hands for
the same ball, so that they change places with it. A hand modelled for the left goes on the right as its mirror image.
"""

from __future__ import annotations

import sys
from pathlib import Path

from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import box, cylinder, frustum, sphere
from condyle.geometry.solid import Solid, union

PIECE = """\
schema = 1
name = "{name}"
mesh = "{file}.stl"    # the centre of motion at the origin, z out into the hand
side = "left"
unit = "millimeter"

[joint]                # what it hangs on: every hand of this set has the same
kind = "ball"
size = 5.0
convex = "child"       # the hand holds the socket
"""

TOOL = """\
schema = 1
name = "sounding rod"
mesh = "rod.stl"       # z along the handle, its middle in the hand at the origin
handle_mm = 4.0
unit = "millimeter"
"""

SKELETON = """\
schema = 1
name = "crane arm"
height_mm = 90

[bones.arm_left]

[bones.hand_left]
parent = "arm_left"

[joints.wrist_left]
kind = "ball"
parent = "arm_left"
child = "hand_left"
centre = [0.0, 0.0, 0.66]
wanted = { flex = [-20.0, 20.0], abduct = [-20.0, 20.0], twist = [-60.0, 60.0] }
"""

FIGURE = """\
schema = 1

[figure]
name = "crane arm"
sculpt = "arm.stl"
height_mm = 90.0
up = "z"
facing = "x"
unit = "millimeter"
true_size = true

[skeleton]
path = "skeleton.toml"

[joints.wrist_left]
source = "hand"
centre = [0.0, 0.0, 60.0]
along = [0.0, 0.0, 1.0]
axis = [0.0, -1.0, 0.0]
cut = [0.0, 0.0, 1.0]
stock = "locker/fist.toml"
spares = ["locker/open_hand.toml", "locker/hook.toml"]

[grips.hand_left]      # the fist is bored for the rod, which is pushed in along the bore
tool = "locker/rod.toml"
point = [0.0, 0.0, 80.0]
axis = [0.0, 1.0, 0.0]
"""


def hands() -> dict[str, Solid]:
    """Fist, open hand and hook, mm, each with a wrist of 6 mm radius about its origin; z runs out into the hand."""
    wrist = union([cylinder(6.0, -6.0, 9.0), frustum(6.0, 8.0, 7.5, 12.0)])
    fist = union([wrist, box((-6.5, -7.5, 11.0), (6.5, 7.5, 24.0)), box((-6.0, 7.0, 12.0), (0.0, 10.5, 19.0))])
    palm = box((-3.5, -7.5, 11.0), (3.5, 7.5, 20.0))
    fingers = [box((-2.0, y, 19.0), (2.0, y + 3.2, 31.0)) for y in (-7.5, -3.4, 0.7, 4.3)]
    thumb = box((-2.0, 7.0, 12.0), (2.0, 11.0, 17.0))
    hook = union([wrist, box((-7.0, -3.5, 11.0), (7.0, 3.5, 16.0)), box((3.0, -3.5, 15.0), (7.0, 3.5, 30.0))])
    hook = union([hook, box((-6.0, -3.5, 26.0), (7.0, 3.5, 30.0)), box((-6.0, -3.5, 21.0), (-2.5, 3.5, 27.0))])
    return {"fist": fist, "open_hand": union([wrist, palm, *fingers, thumb]), "hook": hook}


def arm() -> Solid:
    """An arm of 7 mm radius at the wrist, with a stump where the locker's hand goes on."""
    post = union(
        [box((-14.0, -12.0, 0.0), (14.0, 12.0, 6.0)), frustum(11.0, 5.0, 7.0, 40.0), cylinder(7.0, 39.0, 74.0)]
    )
    return union([post, sphere(7.5).translated((0.0, 0.0, 78.0))], "arm")


def write(folder: Path) -> Path:
    """All files of the example; the figure file's path."""
    locker = folder / "locker"
    locker.mkdir(parents=True, exist_ok=True)
    for file, solid in hands().items():
        (locker / f"{file}.stl").write_bytes(stl_bytes(solid.mesh))
        text = PIECE.format(name=file.replace("_", " "), file=file)
        (locker / f"{file}.toml").write_text(text, encoding="utf-8")
    rod = union([cylinder(2.0, -40.0, 40.0), frustum(2.0, 39.5, 0.8, 46.0)])
    (locker / "rod.stl").write_bytes(stl_bytes(rod.mesh))
    (locker / "rod.toml").write_text(TOOL, encoding="utf-8")
    (folder / "arm.stl").write_bytes(stl_bytes(arm().mesh))
    (folder / "skeleton.toml").write_text(SKELETON, encoding="utf-8")
    path = folder / "figure.toml"
    path.write_text(FIGURE, encoding="utf-8")
    return path


if __name__ == "__main__":
    print(write(Path(sys.argv[1] if len(sys.argv) > 1 else "locker-arm")))
