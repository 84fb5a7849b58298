"""How a posed figure comes to rest on level ground, on whatever touches it, and how far it is from tipping over.

The figure is put down as its root bone stands in the sculpt and rolls until it rests. Joints are taken as stiff while it
does: what they hold is another question. Points within ``CONTACT_MM`` of the ground bear, since plastic, ground and paint
give that much.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.pose import Pose, forward
from condyle.figure.skeleton import Motion
from condyle.geometry.mesh import FloatArray
from condyle.geometry.resting import Footing, footing, hull_corners, settle, upright
from condyle.proof.mass import PartMass, posed_centre_mm

CONTACT_MM = 0.05
LEAN_DEG = 15.0
"""A figure that rolls further than this from the way it was put down has fallen over, or stands as nobody meant it."""

FLAT_DEG = 1.0
"""A sole within this of the ground lies flat: 0.3 mm over a foot of 18 mm."""

_DOWN = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True, eq=False)
class Ground:
    """A kit made ready to be put down: hull corners of each part, masses, joints by the part that they move."""

    kit: Kit
    masses: Mapping[str, PartMass]
    corners: Mapping[str, FloatArray]
    carriers: Mapping[str, tuple[BuiltJoint, str]]
    feet: tuple[str, ...]

    def chain(self, part: str) -> list[BuiltJoint]:
        """The joints from a part to the root, nearest first, each once."""
        out: list[BuiltJoint] = []
        while part in self.carriers:
            joint, part = self.carriers[part]
            if joint not in out:
                out.append(joint)
        return out


@dataclass(frozen=True, eq=False)
class Standing:
    """One pose put down.

    placed      (4, 4) move of each part: rest coordinates to the ground's, z up, the contacts at z = 0, the figure's facing
                kept as near to +x as it was
    touching    parts that bear, sorted
    lean_deg    how far the whole figure has turned from the way it was put down
    flat_deg    for each foot that bears: the angle between its own sole and the ground
    """

    pose: Pose
    placed: Mapping[str, FloatArray]
    touching: tuple[str, ...]
    lean_deg: float
    centre_mm: FloatArray
    foot: Footing
    flat_deg: Mapping[str, float] = field(default_factory=dict)

    @property
    def stands(self) -> bool:
        return self.lean_deg <= LEAN_DEG and self.foot.margin_mm > 0.0

    @property
    def tip_deg(self) -> float:
        return self.foot.tip_deg if self.stands else 0.0

    @property
    def margin_mm(self) -> float:
        return self.foot.margin_mm if self.stands else 0.0


def make_ground(kit: Kit, masses: Mapping[str, PartMass]) -> Ground:
    """A kit made ready. Its feet are the parts that bear when the sculpt's own pose is put down."""
    corners = {p.name: hull_corners(p.mesh.vertices) for p in kit.parts}
    carriers = {a.moves: (j, a.stays) for j in kit.joints if j.built for a in j.axles}
    bare = Ground(kit, masses, corners, carriers, ())
    return Ground(kit, masses, corners, carriers, put_down(bare, Pose("rest"), soles=False).touching)


def put_down(ground: Ground, pose: Pose, *, down: FloatArray | None = None, soles: bool = True) -> Standing:
    """Put a pose down, by default with the root bone as it stands in the sculpt."""
    placed = forward(ground.kit, pose)
    names = sorted(ground.corners)
    points = np.concatenate([ground.corners[n] @ placed[n][:3, :3].T + placed[n][:3, 3] for n in names])
    owner = np.repeat(np.arange(len(names)), [len(ground.corners[n]) for n in names])
    centre = posed_centre_mm(ground.masses, placed)
    start = _DOWN if down is None else down
    rest = settle(points, centre, start)
    turn = upright(rest.down)
    low = float((points @ turn[2]).min())
    move = np.eye(4)
    move[:3, :3] = turn
    move[2, 3] = -low
    on_ground = points @ turn.T + move[:3, 3]
    middle = turn @ centre + move[:3, 3]
    bearing = on_ground[:, 2] <= CONTACT_MM
    touching = tuple(names[i] for i in np.unique(owner[bearing]))
    on = {n: move @ placed[n] for n in names}
    lean = math.degrees(math.acos(float(np.clip(rest.down @ start / np.linalg.norm(start), -1.0, 1.0))))
    flat = {n: sole_tilt_deg(ground, n, on[n]) for n in touching if n in ground.feet} if soles else {}
    return Standing(pose, on, touching, lean, middle, footing(on_ground, middle, CONTACT_MM), flat)


def sole(ground: Ground, part: str, down: FloatArray) -> FloatArray:
    """The direction (3,), in the part's rest coordinates, that points down when the part alone rests as near ``down``."""
    corners = ground.corners[part]
    return settle(corners, corners.mean(axis=0), down, 1e-4).down


def sole_tilt_deg(ground: Ground, part: str, placed: FloatArray) -> float:
    """The angle between a part's own sole and the ground, as it is placed."""
    down = placed[:3, :3].T @ _DOWN
    return math.degrees(math.acos(float(np.clip(sole(ground, part, down) @ down, -1.0, 1.0))))


@dataclass(frozen=True, eq=False)
class Shaken:
    """The worst of a pose with one joint off by a few degrees: which joint, motion and sense, and how it then stands."""

    joint: str
    motion: Motion
    off_deg: float
    standing: Standing


def shaken(ground: Ground, standing: Standing, off_deg: float) -> Shaken | None:
    """The weakest standing with ± ``off_deg`` at each joint next to the ground and next to the root, swings only.

    Those are ankles and hips, or a dog's wrists, hocks, shoulders and hips. None where nothing bears on a limb.
    """
    joints: dict[str, BuiltJoint] = {}
    for part in standing.touching:
        chain = ground.chain(part)
        for joint in (chain[:1] + chain[-1:]) if chain else []:
            joints[joint.name] = joint
    worst: Shaken | None = None
    for name in sorted(joints):
        angles = standing.pose.of(joints[name].seated)
        for motion in ("flex", "abduct"):
            for off in (-off_deg, off_deg) if motion in angles else ():
                told: dict[Motion, float] = {**angles, motion: angles[motion] + off}
                pose = Pose(standing.pose.name, {**standing.pose.angles, name: told})
                found = Shaken(name, motion, off, put_down(ground, pose, soles=False))
                if worst is None or found.standing.tip_deg < worst.standing.tip_deg:
                    worst = found
    return worst
