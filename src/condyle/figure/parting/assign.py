"""After the cut: which component belongs to which bone, told by the cut faces that it carries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from condyle.figure.parting.plan import Half, Plan
from condyle.finding import Point, point_of
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
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
            area = area_mm2(component.mesh, inner)
            found.append(Evidence(kerf.plan.joint.name, kerf.half.knuckle_side, area, point_of(corner)))
        faces = came_from.get(kerf.mark)
        if faces is None:
            continue
        mesh = component.mesh
        middles = mesh.vertices[mesh.faces[faces]].sum(axis=1) / 3.0
        for side, marked in zip((kerf.half.knuckle_side, kerf.half.cup_side), _faces(kerf.half, middles), strict=True):
            area = area_mm2(mesh, faces[marked])
            if area > 0.05:
                found.append(Evidence(kerf.plan.joint.name, side, area, point_of(middles[marked].mean(axis=0))))
    return found


def area_mm2(mesh: Mesh, faces: IntArray) -> float:
    """Area of some of a mesh's triangles."""
    return Mesh(mesh.vertices, mesh.faces[faces]).area_mm2


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
    """Where a component that carries both faces of a cut still hangs together.

    It is half way along the shortest path over its skin from one face to the other: on a bridge beside the joint, or at
    the kerf's end where flesh was left.
    """
    faces = component.faces_from([kerf.mark]).get(kerf.mark)
    where = kerf.half.frame.origin
    if faces is not None:
        mesh = component.mesh
        middles = mesh.vertices[mesh.faces[faces]].sum(axis=1) / 3.0
        knuckle, cup = _faces(kerf.half, middles)
        if knuckle.any() and cup.any():
            ends = [np.unique(mesh.faces[faces[side]]) for side in (knuckle, cup)]
            where = mesh.vertices[_half_way(mesh, *ends)]
    return Hanging(kerf.plan.joint.name, point_of(where))


def _half_way(mesh: Mesh, one: IntArray, other: IntArray) -> int:
    """The vertex in the middle of the shortest way along edges between two sets of vertices."""
    edges = np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]])
    # Both senses of an edge are there, one from each of its triangles.
    length = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1) + 1e-9
    n = len(mesh.vertices)
    graph = coo_matrix((length, (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()
    near, far = (dijkstra(graph, indices=ends, min_only=True) for ends in (one, other))
    way = near + far
    # A void's skin is not reached at all, and where neither end is reached there is no way to speak of.
    on_it = np.flatnonzero(np.isfinite(way) & (way <= way.min() + 1e-6))
    if not len(on_it):
        return int(one[0])
    return int(on_it[np.argmin(np.abs(near[on_it] - far[on_it]))])
