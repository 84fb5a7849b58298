"""After the cut: which component belongs to which bone, told by the cut faces that it carries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.plan import Half, Plan
from condyle.finding import Point
from condyle.geometry.mesh import BoolArray, Mesh

_ON_FACE_MM = 0.02


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


def evidence(component: Mesh, plans: Sequence[Plan]) -> list[Evidence]:
    """Which cut faces a component carries.

    A triangle counts when its three corners lie on the face within 0.02 mm: tools are facetted to 0.01 mm.
    """
    found = []
    low, high = component.bounds
    for plan in plans:
        for half in plan.halves:
            reach = half.cut.cup_mm + 14.0
            centre = half.frame.origin
            if (low > centre + reach).any() or (high < centre - reach).any():
                continue
            near = component.near(centre, reach)
            for side, marked in _faces(half, near):
                area = float(near.areas[marked].sum())
                if area > 0.05:
                    middle = near.corners[marked].mean(axis=(0, 1))
                    found.append(Evidence(plan.joint.name, side, area, _point(middle)))
    return found


def _faces(half: Half, mesh: Mesh) -> list[tuple[str, np.ndarray]]:
    local = half.frame.to_local(mesh.vertices)
    cut = half.cut
    below = local[:, 2] < 0.01
    if cut.shape == "plane":
        knuckle = np.abs(local[:, 2]) < 1e-6
        cup = np.abs(local[:, 2] + cut.kerf_mm) < 1e-6
    else:
        axes = [1, 2] if cut.shape == "cylinder" else [0, 1, 2]
        r = np.linalg.norm(local[:, axes], axis=1)
        knuckle = (np.abs(r - cut.radius_mm) < _ON_FACE_MM) & below
        cup = (np.abs(r - cut.cup_mm) < _ON_FACE_MM) & below
    near = np.linalg.norm(local[:, :2], axis=1) < cut.cup_mm + 13.0
    return [
        (half.knuckle_side, _all_corners(knuckle & near, mesh)),
        (half.cup_side, _all_corners(cup & near, mesh)),
    ]


def _all_corners(on: BoolArray, mesh: Mesh) -> BoolArray:
    a, b, c = (on[mesh.faces[:, i]] for i in range(3))
    return np.asarray(a & b & c)


def hanging(component: Mesh, plan: Plan) -> Hanging:
    """Where a component that carries both faces of a joint still hangs together: between the two faces."""
    half = plan.halves[0]
    near = component.near(half.frame.origin, half.cut.cup_mm + 14.0)
    faces = dict(_faces(half, near))
    marks = []
    for marked in faces.values():
        on = np.zeros(len(near.vertices), dtype=bool)
        on[near.faces[marked].ravel()] = True
        marks.append(on)
    bridging = marks[0][near.faces].any(axis=1) & marks[-1][near.faces].any(axis=1)
    where = near.corners[bridging].mean(axis=(0, 1)) if bridging.any() else half.frame.origin
    return Hanging(plan.joint.name, _point(where))


def _point(p: np.ndarray) -> Point:
    return float(p[0]), float(p[1]), float(p[2])
