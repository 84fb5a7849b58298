"""A socket of your own in a sculpt: a harbour crane's arm, its shoulder a joint that was proven elsewhere.

Run it with a folder to write to; it makes the joint's meshes and its file, the sculpt and the figure file:

    python examples/01-own-socket/run.py OUT
    condyle make OUT/figure.toml --out OUT/kit

The one line that brings the joint in stands under [joints.shoulder] of the figure file: custom = "socket/joint.toml".
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import arc, box, cylinder, frustum, sphere, turned
from condyle.geometry.solid import Solid, subtract, union

BALL_MM, SEAT_MM, NECK_MM = 5.0, 5.05, 3.5  # radii
LIP_DEG, CUT_MM, KERF_MM = 16.0, 11.5, 0.35
FLAT_MM = 10.5  # the sculpt's back, flat: the post is printed lying on it

JOINT = """\
schema = 1
name = "crane shoulder, ball of 10 mm"
size_mm = 10.0
convex = "child"        # the child ends round and holds the socket; the ball stands on the parent
unit = "millimeter"
travel_mm = 6.5         # from first contact to home
undercut_mm = 0.146     # how far the lip overlaps the ball, all round

[cut]
shape = "sphere"
radius_mm = 11.5

[parent]
add = "stud.stl"

[child]
take = "socket.stl"

[bearing]               # where touching is by design: a ball about the centre
radius_mm = 5.25

[range]                 # degrees, from the pose in which the meshes are drawn
flex = [-28.0, 28.0]
abduct = [-28.0, 28.0]
twist = [-90.0, 90.0]

[tested]
process = "filament"
material = "pla"
clearance_mm = { value = 0.05, sd = 0.03, source = "drawn; felt good in five prints" }
retention_n = { value = 14.0, sd = 4.0, source = "spring balance, five prints" }
"""

SKELETON = """\
schema = 1
name = "crane arm"
height_mm = 89

[bones.post]
[bones.arm]
parent = "post"
[bones.jib]
parent = "arm"

[joints.shoulder]
kind = "ball"
parent = "post"
child = "arm"
centre = [0.0, 0.0, 0.431]
wanted = { flex = [-25, 25], abduct = [-25, 25], twist = [-90, 90] }

[joints.elbow]
kind = "hinge"
parent = "arm"
child = "jib"
centre = [0.0, 0.0, 0.73]
wanted = { flex = [0, 60] }
"""

FIGURE = """\
schema = 1

[figure]
name = "crane arm"
sculpt = "arm.stl"
height_mm = 89.0
up = "z"
facing = "x"
unit = "millimeter"

[skeleton]
path = "skeleton.toml"

[joints.shoulder]
custom = "socket/joint.toml"
centre = [0.0, 0.0, 38.4]
along = [0.0, 0.0, 1.0]
axis = [0.0, 1.0, 0.0]
cut = [0.0, 0.0, 1.0]

[joints.elbow]
clearance_mm = -0.02      # per side; stout ears grip hard, so a little less interference than the starter fit
centre = [0.0, 0.0, 65.0]
along = [0.0, 0.0, 1.0]
axis = [0.0, 1.0, 0.0]
cut = [0.0, 0.0, 1.0]

[parts.post]              # printed lying, so that its layers run along the ball's neck and not across it
up = [1.0, 0.0, 0.0]
"""


def stud() -> Solid:
    """The ball on its neck, rooted 3 mm below the cut in the parent."""
    foot = -CUT_MM - KERF_MM - 3.0
    parts = [sphere(BALL_MM), cylinder(NECK_MM, foot, 0.0), frustum(4.5, foot, NECK_MM, -CUT_MM + 0.1)]
    return union(parts, "stud")


def socket() -> Solid:
    """The room for the ball, the way out for the neck, and four slots that let the lip give way."""
    lip = np.radians(LIP_DEG)
    opening, lip_z = SEAT_MM * np.cos(lip), -SEAT_MM * np.sin(lip)
    band = arc(SEAT_MM, -LIP_DEG, 90.0, "outside", 0.005)
    band[-1, 0] = 0.0
    mouth = [[0.0, -12.5], [10.6, -12.5], [6.8, -4.5], [opening + 0.3, lip_z - 0.5], [opening, lip_z - 0.15]]
    room = turned(np.concatenate([np.array(mouth), band]), "outside", 0.005)
    slots = [box((-6.6, -0.25, -6.0), (6.6, 0.25, 2.6)), box((-0.25, -6.6, -6.0), (0.25, 6.6, 2.6))]
    return union([room, *slots], "socket")


def arm() -> Solid:
    """The sculpt: a post on a plate, an arm, a jib with a hook's eye."""
    profile = [
        [0, 0],
        [22, 0],
        [22, 4],
        [13, 9],
        [10.6, 20],
        [10.4, 50],
        [10.6, 58],
        [10.6, 71],
        [6.5, 78],
        [6.5, 85],
        [0, 89],
    ]
    body = turned(np.array(profile, dtype=np.float64), "inside")
    eye = cylinder(1.6, -10.0, 10.0, "outside").transformed(
        np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 82.0], [0, 0, 0, 1]], dtype=np.float64)
    )
    return subtract(body, [eye], "crane arm").trimmed((1.0, 0.0, 0.0), -FLAT_MM)


def write(out: Path) -> Path:
    """Write everything to a folder; the figure file's path."""
    (out / "socket").mkdir(parents=True, exist_ok=True)
    (out / "socket" / "stud.stl").write_bytes(stl_bytes(stud().mesh))
    (out / "socket" / "socket.stl").write_bytes(stl_bytes(socket().mesh))
    (out / "socket" / "joint.toml").write_text(JOINT, encoding="utf-8")
    (out / "skeleton.toml").write_text(SKELETON, encoding="utf-8")
    (out / "arm.stl").write_bytes(stl_bytes(arm().mesh))
    figure = out / "figure.toml"
    figure.write_text(FIGURE, encoding="utf-8")
    return figure


if __name__ == "__main__":
    print(write(Path(sys.argv[1])))
