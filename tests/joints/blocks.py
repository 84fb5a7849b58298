"""Joints in plain round limbs, finished as parting finishes them, and measures that share nothing with how they were made."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import trimesh

from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, intersect, subtract, union
from condyle.joints.design import Cut, JointDesign
from condyle.joints.stock import Stock, stock_of
from condyle.workshop.bench import load_workshop

LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


def stock(printer: str = "filament-200", material: str = "pla", **changes: float) -> Stock:
    return replace(stock_of(load_workshop(printer, material)), **changes)


@dataclass(frozen=True)
class Pair:
    """The two finished sides of a joint, in the knuckle frame."""

    cup: Solid
    knuckle: Solid
    design: JointDesign


def finished(design: JointDesign, limb_mm: float, length_mm: float = 30.0) -> Pair:
    """A round limb about z cut as the design says, its hardware added and its cavities taken."""
    cut = design.cut
    rod = cylinder(limb_mm, -length_mm, length_mm)
    far = 2.0 * length_mm
    upper = box((-far, -far, 0.0), (far, far, far))
    lower = box((-far, -far, -far), (far, far, -cut.kerf_mm))
    if cut.shape == "plane":
        knuckle, cup = intersect(rod, upper), intersect(rod, lower)
    else:
        grown = [
            sphere(r, f) if cut.shape == "sphere" else cylinder(r, -far, far, f).transformed(LYING)
            for r, f in ((cut.radius_mm, "inside"), (cut.cup_mm, "outside"))
        ]
        knuckle, cup = intersect(rod, union([upper, grown[0]])), subtract(intersect(rod, lower), [grown[1]])
    for name, side in (("cup", design.cup), ("knuckle", design.knuckle)):
        flesh = cup if name == "cup" else knuckle
        flesh = subtract(flesh, [side.take] if side.take else [])
        flesh = union([flesh, side.add]) if side.add else flesh
        flesh = subtract(flesh, [side.bore] if side.bore else [])
        if name == "cup":
            cup = flesh
        else:
            knuckle = flesh
    return Pair(cup, knuckle, design)


def judged(solid: Solid, bodies: int = 1) -> trimesh.Trimesh:
    """The solid as trimesh sees it: closed, outward, of one volume, in so many bodies."""
    body = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False)
    assert body.is_watertight and body.is_winding_consistent and body.volume > 0.0
    assert abs(body.volume - solid.volume_mm3) < 1e-6 * max(1.0, solid.volume_mm3)
    assert body.body_count == bodies
    return body


def spherical(n: int, low_deg: float, high_deg: float) -> FloatArray:
    """Directions (n, 3) spread evenly over a band of the sphere between two elevations (a Fibonacci spiral)."""
    low, high = math.sin(math.radians(low_deg)), math.sin(math.radians(high_deg))
    z = low + (high - low) * (np.arange(n) + 0.5) / n
    turn = np.arange(n) * math.pi * (3.0 - math.sqrt(5.0))
    r = np.sqrt(1.0 - z**2)
    return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)


def from_centre(solid: Solid, ways: FloatArray) -> FloatArray:
    """Distance from the joint's centre to the first surface along each direction."""
    return Bvh(solid.mesh).rays(np.zeros_like(ways), ways)


def level(solid: Solid, z_mm: float, azimuths_deg: FloatArray) -> FloatArray:
    """Distance from the axis to the first surface along level rays at a height."""
    a = np.radians(azimuths_deg)
    ways = np.stack([np.cos(a), np.sin(a), np.zeros_like(a)], axis=1)
    return Bvh(solid.mesh).rays(np.tile([0.0, 0.0, z_mm], (len(a), 1)), ways)


def pieces(solid: Solid, z_mm: float) -> list[FloatArray]:
    """Outer outlines (k, 2) of the section at a height, by the boolean library's own slicer, one a piece."""
    found = [p.to_polygons() for p in solid._body.slice(float(z_mm)).decompose()]
    return [np.asarray(max(rings, key=lambda r: abs(area(r)))) for rings in found if rings]


def area(ring: FloatArray) -> float:
    r = np.asarray(ring)
    n = np.roll(r, -1, axis=0)
    return float(0.5 * (r[:, 0] * n[:, 1] - n[:, 0] * r[:, 1]).sum())


@dataclass(frozen=True)
class Bar:
    """Section properties for bending along a direction: area, centroid along it, second moment, farthest fibre."""

    area: float
    centroid: float
    second: float
    fibre: float


def bar(ring: FloatArray, way: tuple[float, float]) -> Bar:
    """By Green's theorem over the outline: A = ∮ x dy, S = ½∮ x² dy, I = ⅓∮ x³ dy, exact for polygons."""
    e = np.array(way) / np.linalg.norm(way)
    x, y = ring @ e, ring @ np.array([-e[1], e[0]])
    x1, dy = np.roll(x, -1), np.roll(y, -1) - y
    a = float((0.5 * (x + x1) * dy).sum())
    s = float(((x**2 + x * x1 + x1**2) / 6.0 * dy).sum())
    second = float(((x**3 + x**2 * x1 + x * x1**2 + x1**3) / 12.0 * dy).sum())
    if a < 0:
        a, s, second = -a, -s, -second
    c = s / a
    return Bar(a, c, second - a * c * c, float(np.abs(x - c).max()))


def by_elements(
    bars: list[Bar], length_mm: float, modulus_mpa: float, shear_mpa: float | None = None
) -> tuple[float, float]:
    """Tip stiffness (N/mm) and largest strain per mm of a clamped beam, by Hermite (or Timoshenko) elements.

    One element between two neighbouring sections, of their mean second moment; stiffness matrix as in any text on frames
    (from memory), the shear term by φ = 12 E I/(κ G A L²), κ = 5/6.
    """
    n = len(bars) - 1
    h = length_mm / n
    k = np.zeros((2 * n + 2, 2 * n + 2))
    for i in range(n):
        second, a = 0.5 * (bars[i].second + bars[i + 1].second), 0.5 * (bars[i].area + bars[i + 1].area)
        phi = 0.0 if shear_mpa is None else 12.0 * modulus_mpa * second / (5.0 / 6.0 * shear_mpa * a * h * h)
        c = modulus_mpa * second / (h**3 * (1.0 + phi))
        own = c * np.array(
            [
                [12.0, 6 * h, -12.0, 6 * h],
                [6 * h, (4 + phi) * h * h, -6 * h, (2 - phi) * h * h],
                [-12.0, -6 * h, 12.0, -6 * h],
                [6 * h, (2 - phi) * h * h, -6 * h, (4 + phi) * h * h],
            ]
        )
        at = slice(2 * i, 2 * i + 4)
        k[at, at] += own
    force = np.zeros(2 * n + 2)
    force[-2] = 1.0
    bent = np.zeros(2 * n + 2)
    bent[2:] = np.linalg.solve(k[2:, 2:], force[2:])
    mm_per_n = float(bent[-2])
    arms = length_mm - np.linspace(0.0, length_mm, n + 1)
    strain = max(m * b.fibre / (modulus_mpa * b.second) for m, b in zip(arms, bars, strict=True))
    return 1.0 / mm_per_n, strain / mm_per_n


__all__ = [
    "LYING", "Bar", "Cut", "Pair", "area", "bar", "by_elements", "finished", "from_centre", "judged", "level", "pieces",
    "spherical", "stock",
]  # fmt: skip
