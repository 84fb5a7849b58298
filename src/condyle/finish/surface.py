"""How rough each face comes off the printer, and what it takes to make the visible ones smooth.

Stair steps on a face at angle α from the horizontal, layers of height t: Rz = t cos α, Ra = t cos α / 4 (the geometry of a
saw-tooth with sharp steps). A face that lies flat or stands upright has no steps: there the tracks themselves are what is
felt, and a measured floor is used. Faces held up by supports are rougher by a fifth (Pandey, Reddy and Dhande, Int. J.
Mach. Tools Manuf. 43 (2003) 61-71, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.workshop.card import Process

TRACK_RA_MM: dict[Process, float] = {"filament": 0.0155, "resin": 0.0025}
"""Ra across the tracks of flat faces. Filament: the mean at 90° to the lines, 0.15 mm layers, of Surface Roughness Modeling
of Material Extrusion PLA Flat Surfaces, Int. J. Polymer Sci. 2023, 8844626, table 1 (13.05, 15.53 and 16.90 µm at 0.1, 0.15
and 0.2 mm). Resin: common practice, no source."""

SUPPORTED_FACTOR = 1.2

GRITS_UM: dict[str, float] = {
    "P120": 125.0, "P180": 82.0, "P240": 58.5, "P320": 46.2, "P400": 35.0, "P600": 25.8, "P800": 21.8, "P1000": 18.3,
}  # fmt: skip
"""Average grain in µm by FEPA grade (sizes.com, sandpaper). Grain size is neither scratch depth nor Ra."""

SEQUENCE: dict[Process, tuple[str, ...]] = {
    "filament": ("P120", "P240", "P400"),
    "resin": ("P320", "P600"),
}
"""Grits in the order of use: the high spots first, then each one only until the scratches of the one before are gone.
Common practice, no source."""

RATE_CM2_MIN: dict[str, float] = {
    "P120": 5.0, "P180": 5.0, "P240": 6.0, "P320": 7.0, "P400": 8.0, "P600": 9.0, "P800": 9.0, "P1000": 9.0,
}  # fmt: skip
"""Area that a hand gets through: common practice, no source, good to a factor of 1.6 either way."""

RATE_FACTOR = 1.6
FILL_ABOVE_RA_MM = 0.020
"""Steps above this Ra are filled first: sanding them away alone would take the shape with them (common practice, no source)."""

SHARE_SANDED = 0.6
"""Share of the height of the steps that sanding takes off on filled or low steps, the rest stays under filler and primer."""


def roughness_mm(mesh: Mesh, up: FloatArray, layer_mm: float, process: Process, supported: BoolArray) -> FloatArray:
    """Ra of each triangle (n,), mm, for a build direction ``up`` (3,) in the mesh's coordinates.

    ``supported`` (n,) marks faces that supports hold. ``layer_mm`` above 0.
    """
    if not layer_mm > 0.0:
        raise ValueError("a layer has a height")
    direction = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    # α is the angle of the face from the horizontal, so cos α is how upright its normal is.
    steps = layer_mm * np.abs(mesh.normals @ direction) / 4.0
    flat = np.abs(mesh.normals @ direction) > math.cos(math.radians(0.5))
    felt = np.where(flat, TRACK_RA_MM[process], np.hypot(steps, 0.3 * TRACK_RA_MM[process]))
    return np.where(supported, SUPPORTED_FACTOR * felt, felt)


@dataclass(frozen=True)
class SandingPlan:
    """What smoothing one part takes.

    show_mm2    area that is seen; ``fill_mm2`` of it with steps that are filled first
    removed_mm  material that sanding takes off the seen faces: mean, and where it is most
    grits       in order, with the minutes for each
    hours       all of it, with the factor by which it may be more or less
    scars_mm2   area where supports stood, which asks for the coarsest grit first
    """

    show_mm2: float
    fill_mm2: float
    mean_ra_mm: float
    removed_mm: tuple[float, float]
    grits: tuple[tuple[str, float], ...]
    hours: float
    factor: float
    scars_mm2: float


def sanding(
    mesh: Mesh, up: FloatArray, layer_mm: float, process: Process, show: BoolArray, supported: BoolArray
) -> SandingPlan:
    """Plan the smoothing of a part's seen faces (``show`` (n,)); cut faces, sockets and bearings are never sanded."""
    ra = roughness_mm(mesh, up, layer_mm, process, supported)
    area = np.where(show, mesh.areas, 0.0)
    total = float(area.sum())
    if total <= 0.0:
        return SandingPlan(0.0, 0.0, 0.0, (0.0, 0.0), (), 0.0, RATE_FACTOR, 0.0)
    rough = show & (ra > FILL_ABOVE_RA_MM)
    fill = float(mesh.areas[rough].sum())
    # The steps stand four times their Ra high; filler lies in them where they were filled.
    taken = np.where(rough, SHARE_SANDED * 4.0 * ra * 0.5, SHARE_SANDED * 4.0 * ra)
    first, *rest = SEQUENCE[process]
    scars = float(mesh.areas[show & supported].sum())
    minutes = [(first, (fill + scars) / 100.0 / RATE_CM2_MIN[first])]
    minutes += [(grit, total / 100.0 / RATE_CM2_MIN[grit]) for grit in rest]
    return SandingPlan(
        total,
        fill,
        float((area * ra).sum() / total),
        (float((area * taken).sum() / total), float(taken[show].max())),
        tuple(minutes),
        sum(m for _, m in minutes) / 60.0,
        RATE_FACTOR,
        scars,
    )
