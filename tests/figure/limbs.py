"""Plain bodies with joints set by hand, and parting them with an ear at the door: what went into the ledger is kept."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import manifold3d as m3
import numpy as np
import pytest

from condyle.figure.kit import Kit
from condyle.figure.parting import sculpt_to_kit as parting
from condyle.figure.skeleton import Bone, JointSpec, Kind, SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.solid import Solid, solid_from_mesh
from condyle.workshop.bench import Workshop, load_workshop

WANTED: dict[Kind, dict[Any, tuple[float, float]]] = {
    "ball": {"flex": (-30.0, 30.0), "abduct": (-30.0, 30.0), "twist": (-60.0, 60.0)},
    "hinge": {"flex": (0.0, 90.0)},
    "double_hinge": {"flex": (0.0, 120.0)},
    "swivel": {"twist": (-90.0, 90.0)},
    "peg": {},
}


def lathe(radius: Callable[[FloatArray, FloatArray], FloatArray], z: FloatArray, n: int = 96) -> Mesh:
    """A closed form about z: ``radius(z, azimuth)`` at heights from the lower tip to the upper; tips on the axis."""
    a = 2.0 * math.pi * np.arange(n) / n
    rows = z[1:-1]
    r = radius(rows[:, None], a[None, :])
    rings = np.stack([r * np.cos(a), r * np.sin(a), np.repeat(rows[:, None], n, axis=1)], axis=2).reshape(-1, 3)
    points = np.concatenate([rings, [[0.0, 0.0, z[0]], [0.0, 0.0, z[-1]]]])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    faces = []
    for k in range(len(rows) - 1):
        p, q = k * n, (k + 1) * n
        faces += [np.stack([p + i, p + j, q + j], 1), np.stack([p + i, q + j, q + i], 1)]
    last, low, high = (len(rows) - 1) * n, len(rings), len(rings) + 1
    faces += [np.stack([np.full(n, low), j, i], 1), np.stack([np.full(n, high), last + i, last + j], 1)]
    return Mesh(points, np.concatenate(faces).astype(np.int32))


def capsule(radius: float, length: float, waist: float = 0.0, oval: float = 0.0, n: int = 96) -> Mesh:
    """A rod from z = 0 to ``length`` with round ends; thinner in the middle by ``waist``, wider along x by ``oval``."""
    t = np.linspace(0.0, math.pi / 2, 14)
    lower = radius * (1.0 - np.cos(t))
    z = np.concatenate([lower, np.linspace(radius, length - radius, 40)[1:-1], length - lower[::-1]])

    def at(height: FloatArray, azimuth: FloatArray) -> FloatArray:
        end = np.minimum(np.minimum(height, length - height), radius)
        r = np.sqrt(np.maximum(radius**2 - (radius - end) ** 2, 0.0))
        thin = 1.0 - waist * np.exp(-(((height - length / 2) / (0.25 * length)) ** 2))
        return np.asarray(r * thin * (1.0 + oval * np.cos(2.0 * azimuth)))

    return lathe(at, z, n)


def joint(
    name: str, kind: Kind, parent: str, child: str, centre: Sequence[float], z: Sequence[float] = (0, 0, -1),
    x: Sequence[float] = (0, 1, 0),
) -> SeatedJoint:  # fmt: skip
    spec = JointSpec(name, kind, parent, child, (0.0, 0.0, 0.5), wanted=dict(WANTED[kind]))
    frame = frame_from_zx(np.array(centre, dtype=float), np.array(z, dtype=float), np.array(x, dtype=float))
    axis = (float(frame.z[0]), float(frame.z[1]), float(frame.z[2]))
    return SeatedJoint(spec, frame, axis, source="hand")


@dataclass(frozen=True, eq=False)
class Parted:
    """A kit with its sculpt, and the arguments of the ledger: body, fallen pieces, hardware.

    ``cut`` is the kit before studs and cups of their own were taken out of it: what the cut, its tools and its hardware made.
    """

    sculpt: Solid
    kit: Kit
    cut: Kit
    body: Solid
    fallen: Any
    hardware: Any

    @property
    def tools(self) -> list[m3.Manifold]:
        """Every kerf and cavity, as library bodies."""
        kerfs = [t._body for tools in self.fallen.kerfs.values() for t in tools]
        return kerfs + [c._body for h in self.hardware for c in h.cavities()]

    @property
    def added(self) -> list[m3.Manifold]:
        """All hardware before it was joined."""
        return [s._body for h in self.hardware for side in ("parent", "child", "link") for s in h.added(side)]


def parted(
    sculpt: Solid, joints: Sequence[SeatedJoint], wishes: Mapping[str, JointWish] | None = None,
    workshop: Workshop | None = None, skeleton: Skeleton | None = None,
) -> Parted:  # fmt: skip
    specs = tuple(j.spec for j in joints)
    above = {s.child: s.parent for s in specs}
    names = dict.fromkeys(b for s in specs for b in (s.parent, s.child))
    bones = tuple(Bone(b, above.get(b)) for b in names)
    heard: list[Any] = []
    cuts: list[Kit] = []
    weigh, with_inserts = parting.weigh, parting.with_inserts

    def listening(*arguments: Any) -> Any:
        heard.append(arguments)
        return weigh(*arguments)

    def cut_before(kit: Kit, *arguments: Any) -> Kit:
        cuts.append(kit)
        return with_inserts(kit, *arguments)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parting, "weigh", listening)
        patch.setattr(parting, "with_inserts", cut_before)
        tree = skeleton or Skeleton("test", bones, specs)
        kit = parting.part(sculpt, tree, joints, workshop or load_workshop(), wishes)
    _, body, _, fallen, hardware = heard[0]
    return Parted(sculpt, kit, cuts[0], body, fallen, hardware)


def solid(mesh: Mesh) -> Solid:
    return solid_from_mesh(mesh, "body")


__all__ = ["WANTED", "Parted", "capsule", "joint", "lathe", "parted", "solid"]
