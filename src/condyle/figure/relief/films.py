"""Films: flesh that a relief's cut leaves thinner than anything a printer can make, beside the hardware of its joint.

Where the tool's face runs almost along a face that was there before, a sliver of a few hundredths of a millimetre stays
between the two. It is found by rays straight into the part, and taken off with small balls strung along it, from which the
hardware is spared. What else the balls touch is the cut face beside the film, to ``_BALL_MM`` at the deepest. Where more than
``MOST`` balls would be needed it is no film but a thin wall of the sculpt or of a cut: that is left, and told by the proof.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.geometry.bvh import Bvh
from condyle.geometry.locality import Locality
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import Solid, gather, remainder, union
from condyle.geometry.spread import samples

FILM_MM = 0.35
MOST = 1200
_BALL_MM = 0.3
_APART_MM = 0.15
_FACING = -0.85  # cosine between the two sides of a film: edges sharper than about 30° count, corners do not
_SAMPLE_MM = 0.2
_MOST_SAMPLES = 200_000
_START_MM = 1e-4
_LEAST_MM2 = 0.005


def film_tool(part: Solid, centres: Sequence[FloatArray], radius_mm: float, spared: Sequence[Solid]) -> Solid | None:
    """What takes the films off a part within a radius of any centre; None where there are none.

    ``spared`` are solids that keep all of their flesh: the hardware.
    """
    places = _films(part, centres, radius_mm)
    if not len(places):
        return None
    ball = sphere(_BALL_MM)
    tool = union([ball.translated(tuple(p)) for p in places], "films")
    near = [s for s in spared if (s.bounds[0] <= tool.bounds[1]).all() and (s.bounds[1] >= tool.bounds[0]).all()]
    return remainder(tool, [gather([s]) for s in near]) if near else tool


def _films(part: Solid, centres: Sequence[FloatArray], radius_mm: float) -> FloatArray:
    """Places (n, 3) in the middle of films, no two nearer than ``_APART_MM`` or so."""
    mesh = part.mesh
    corners = mesh.corners
    middles = corners.mean(axis=1)
    near = np.zeros(len(middles), dtype=bool)
    for centre in centres:
        near |= np.einsum("ij,ij->i", middles - centre, middles - centre) <= radius_mm**2
    local = Locality(mesh).near(np.mean(centres, axis=0), 2.0 * radius_mm)
    points, normals, areas = samples(mesh.vertices, mesh.faces[near], _SAMPLE_MM)
    if not len(points):
        return np.zeros((0, 3))
    depth, hit = Bvh(local).first_hits(points - _START_MM * normals, -normals, FILM_MM)
    met = hit >= 0
    facing = np.zeros(len(points), dtype=bool)
    facing[met] = np.einsum("ij,ij->i", normals[met], local.normals[hit[met]]) < _FACING
    if float(areas[facing].sum()) < _LEAST_MM2:
        return np.zeros((0, 3))
    places = points[facing] - 0.5 * depth[facing, None] * normals[facing]
    if len(places) > _MOST_SAMPLES:
        return np.zeros((0, 3))
    _, first = np.unique(np.floor(places / _APART_MM).astype(np.int64), axis=0, return_index=True)
    return np.asarray(places[np.sort(first)], dtype=np.float64) if len(first) <= MOST else np.zeros((0, 3))
