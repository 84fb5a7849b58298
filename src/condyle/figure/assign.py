"""After the cut: which component belongs to which bone, told by the cut faces that it carries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.plan import Half, Plan
from condyle.finding import Point
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.solid import Solid


@dataclass(frozen=True)
class Evidence:
    """A component carries ``area_mm2`` of the cut face of one side of a joint."""

    joint: str
    side: str
    area_mm2: float
    place: Point


@dataclass(frozen=True)
class Hanging:
    """A joint whose two sides are still one component, and where they hang together."""

    joint: str
    place: Point


@dataclass(frozen=True, eq=False)
class Kerf:
    """The kerf of one half of a plan and the cavity beside it, in figure coordinates, with the marks their faces carry."""

    plan: Plan
    half: Half
    tool: Solid
    mark: int
    cavity: Solid | None = None
    cavity_mark: int = -1

    @property
    def tools(self) -> list[Solid]:
        return [self.tool] if self.cavity is None else [self.tool, self.cavity]


def evidence(component: Solid, kerfs: Sequence[Kerf]) -> list[Evidence]:
    """Which cut faces a component carries, told by the kerf that each triangle came from."""
    found = []
    came_from = component.faces_from([m for k in kerfs for m in (k.mark, k.cavity_mark)])
    for kerf in kerfs:
        inner = came_from.get(kerf.cavity_mark)
        if inner is not None:
            # Only the knuckle has a cavity, so its walls speak for the knuckle.
            corner = component.mesh.vertices[component.mesh.faces[inner[0], 0]]
            area = float(component.mesh.areas[inner].sum())
            found.append(Evidence(kerf.plan.joint.name, kerf.half.knuckle_side, area, _point(corner)))
        faces = came_from.get(kerf.mark)
        if faces is None:
            continue
        mesh = component.mesh
        middles = mesh.vertices[mesh.faces[faces]].sum(axis=1) / 3.0
        for side, marked in zip((kerf.half.knuckle_side, kerf.half.cup_side), _faces(kerf.half, middles), strict=True):
            area = float(mesh.areas[faces[marked]].sum())
            if area > 0.05:
                found.append(Evidence(kerf.plan.joint.name, side, area, _point(middles[marked].mean(axis=0))))
    return found


def _faces(half: Half, points: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Which points of a kerf's surface lie on the knuckle's face, and which on the cup's."""
    local = half.frame.to_local(points)
    cut = half.cut
    off = 0.25 * cut.kerf_mm
    if cut.shape == "plane":
        return np.abs(local[:, 2]) < off, np.abs(local[:, 2] + cut.kerf_mm) < off
    axes = [1, 2] if cut.shape == "cylinder" else [0, 1, 2]
    r = np.linalg.norm(local[:, axes], axis=1)
    below = local[:, 2] < 0.01
    wide = r > cut.radius_mm + off
    knuckle = ((np.abs(r - cut.radius_mm) < off) & below) | ((np.abs(local[:, 2]) < off) & wide)
    cup = ((np.abs(r - cut.cup_mm) < off) & below) | ((np.abs(local[:, 2] + cut.kerf_mm) < off) & wide)
    return knuckle & ~cup, cup & ~knuckle


def hanging(component: Solid, kerf: Kerf) -> Hanging:
    """Where a component that carries both faces of a cut still hangs together: at the kerf's ends inside the flesh."""
    faces = component.faces_from([kerf.mark]).get(kerf.mark)
    where = kerf.half.frame.origin
    if faces is not None:
        mesh = component.mesh
        middles = mesh.vertices[mesh.faces[faces]].sum(axis=1) / 3.0
        knuckle, cup = _faces(kerf.half, middles)
        ends = ~(knuckle | cup)
        if ends.any():
            weight = mesh.areas[faces[ends]]
            where = (middles[ends] * weight[:, None]).sum(axis=0) / max(float(weight.sum()), 1e-12)
    return Hanging(kerf.plan.joint.name, _point(where))


def _point(p: np.ndarray) -> Point:
    return float(p[0]), float(p[1]), float(p[2])
