"""Spheres, cylinders and turned forms whose facets never eat clearance.

A shaft is inscribed (its vertices lie on the true surface, its facets inside); a hole is circumscribed (its facets touch
the true surface from outside). The chord error of either is at most CHORD_MM.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, revolve

CHORD_MM = 0.01
Facets = Literal["inside", "outside"]


def segments_for(radius_mm: float, chord_mm: float = CHORD_MM) -> int:
    """How many sides a circle needs so that chord and circle part by at most ``chord_mm``; a multiple of 4."""
    if radius_mm <= chord_mm:
        return 8
    n = math.pi / math.acos(1.0 - chord_mm / radius_mm)
    return max(16, 4 * math.ceil(n / 4))


def ring_radius(radius_mm: float, segments: int, facets: Facets) -> float:
    """The vertex radius of a polygon of ``segments`` sides that lies inside, or outside, a circle."""
    return radius_mm if facets == "inside" else radius_mm / math.cos(math.pi / segments)


def turned(profile: FloatArray, facets: Facets, chord_mm: float = CHORD_MM) -> Solid:
    """A profile (k, 2) of (radius, height), counter-clockwise, turned about z, facets in or outside the true form.

    ``chord_mm`` is the chord error around the axis; that of a curved profile comes on top.
    """
    profile = np.array(profile, dtype=np.float64)
    n = segments_for(float(profile[:, 0].max()), chord_mm)
    if facets == "outside":
        profile[:, 0] /= math.cos(math.pi / n)
    return revolve(profile, n)


def arc(radius_mm: float, from_deg: float, to_deg: float, facets: Facets, chord_mm: float = CHORD_MM) -> FloatArray:
    """Points (k, 2) of (radius, height) on a circle about the origin; angles from the equator, up positive.

    For ``outside`` the inner points are pushed out so that every chord clears the true circle; the two end points stay
    on the true end angles.
    """
    span = abs(to_deg - from_deg)
    n = max(2, math.ceil(segments_for(radius_mm, chord_mm) * span / 360.0))
    angles = np.radians(np.linspace(from_deg, to_deg, n + 1))
    r = np.full(n + 1, radius_mm if facets == "inside" else radius_mm / math.cos(math.radians(span / n) / 2))
    return np.stack([r * np.cos(angles), r * np.sin(angles)], axis=1)


def sphere(radius_mm: float, facets: Facets = "inside") -> Solid:
    """A sphere about the origin, poles on z.

    A facet strays by the chords of its meridian and of its parallel together, so each may have half of the error.
    """
    # An original of its own every time: the library orders triangles by when their original was made, and a kept
    # sphere would make the second of two equal kits differ from the first.
    return _sphere(radius_mm, facets).marked()[0]


@lru_cache(maxsize=64)
def _sphere(radius_mm: float, facets: Facets) -> Solid:
    half = arc(radius_mm, -90.0, 90.0, facets, 0.5 * CHORD_MM)
    half[0, 0] = half[-1, 0] = 0.0
    return turned(half, facets, 0.5 * CHORD_MM)


def cylinder(radius_mm: float, z0_mm: float, z1_mm: float, facets: Facets = "inside") -> Solid:
    """A cylinder about z between two heights."""
    return turned(np.array([[0.0, z0_mm], [radius_mm, z0_mm], [radius_mm, z1_mm], [0.0, z1_mm]]), facets)


def frustum(r0_mm: float, z0_mm: float, r1_mm: float, z1_mm: float, facets: Facets = "inside") -> Solid:
    """A cone's frustum about z with radius r0 at z0 and r1 at z1 > z0."""
    return turned(np.array([[0.0, z0_mm], [r0_mm, z0_mm], [r1_mm, z1_mm], [0.0, z1_mm]]), facets)


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Solid:
    """An axis-parallel box between two corners."""
    from condyle.geometry.solid import extrude

    square = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return extrude([square], high[2] - low[2]).translated((0.0, 0.0, low[2]))
