"""The harbour dog: a four-footed body of lumps, standing square, with its collar."""

from __future__ import annotations

import numpy as np

from condyle.demo.clay import lumps
from condyle.demo.deckhand import mirrored
from condyle.demo.rig import DOG
from condyle.errors import UsageError
from condyle.finding import Point
from condyle.geometry.fields import largest_shell, surface_from_field
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray, Mesh

WITHERS_MM = 80.0
_BOX = np.array([[-76.0, -24.0, -1.0], [80.0, 24.0, 112.0]])
_TRIANGLES_MM2 = 5.85e4


def _shape() -> FloatArray:
    """All lumps as rows for ``lumps``."""
    shoulder, elbow, wrist = (tuple(DOG.at(n)) for n in ("shoulder", "elbow", "wrist"))
    hip, knee, hock = (tuple(DOG.at(n)) for n in ("hip", "knee", "hock"))
    neck, head, tail = (tuple(DOG.at(n)) for n in ("neck", "head", "tail"))
    rows = [
        (21.0, 0.0, 60.5, 15.0, -12.0, 0.0, 64.5, 11.8, 1.0),
        (-12.0, 0.0, 64.5, 11.8, -38.0, 0.0, 63.5, 12.2, 4.0),
        (20.0, 0.0, 69.5, 10.4, -2.0, 0.0, 66.0, 9.0, 5.0),
        (28.0, 0.0, 70.0, 11.5, *neck, 10.4, 4.0),
        (*neck, 10.4, 43.0, 0.0, 89.5, 8.6, 4.0),
        (43.0, 0.0, 89.5, 8.6, *head, 8.2, 3.0),
        (49.0, 0.0, 97.5, 8.8, 54.0, 0.0, 95.5, 8.0, 3.0),
        (56.0, 0.0, 93.5, 6.4, 68.0, 0.0, 91.0, 4.7, 3.0),
        (66.0, 0.0, 88.8, 3.6, 57.0, 0.0, 89.0, 4.0, 1.0),
        (71.4, 0.0, 93.4, 1.9, 70.0, 0.0, 94.2, 1.9, 0.5),
        (57.5, 4.6, 99.4, 1.6, 56.5, 4.6, 100.2, 1.4, 0.8),
        (47.0, 6.8, 103.0, 3.0, 45.0, 10.8, 95.0, 3.2, 1.2),
        (45.0, 10.8, 95.0, 3.2, 45.5, 11.4, 88.5, 2.2, 0.8),
        (-46.0, 0.0, 65.0, 6.0, *tail, 4.9, 3.0),
        (*tail, 4.9, -61.0, 0.0, 75.0, 3.8, 2.0),
        (-61.0, 0.0, 75.0, 3.8, -67.5, 0.0, 88.0, 2.6, 2.0),
        (19.0, 7.0, 69.0, 7.4, *shoulder, 8.4, 4.0),
        (*shoulder, 8.4, *elbow, 6.2, 4.0),
        (*elbow, 6.2, *wrist, 4.6, 2.5),
        (*wrist, 4.6, 18.6, 11.4, 5.2, 4.4, 2.0),
        (18.6, 11.4, 5.0, 4.6, 24.4, 12.0, 3.6, 4.2, 1.5),
        (*hip, 10.4, *knee, 7.2, 4.0),
        (*knee, 7.2, *hock, 4.5, 3.0),
        (*hock, 4.5, -43.0, 11.2, 5.4, 4.2, 2.0),
        (-43.0, 11.2, 5.0, 4.5, -36.4, 11.8, 3.6, 4.2, 1.5),
    ]
    return mirrored(np.array(rows, dtype=np.float64))


def dog(triangles: int = 60_000, withers_mm: float = WITHERS_MM) -> Mesh:
    """The dog with about so many triangles: closed, outward, facing +x, paws flat at z = 0.

    UsageError for withers that are not above 0.
    """
    if not withers_mm > 0:
        raise UsageError("demo.withers", f"a dog is taller than {withers_mm} mm")
    shape = lumps(_shape())
    middle = np.array([37.6, 0.0, 82.2])
    axis = unit(np.array([10.0, 0.0, 13.5]))

    def standing(points: FloatArray) -> FloatArray:
        off = points - middle
        height = off @ axis
        radial = np.sqrt(np.maximum(np.einsum("ij,ij->i", off, off) - height**2, 0.0))
        collar = np.hypot(np.maximum(np.abs(height) - 1.4, 0.0), radial - 9.8) - 1.1
        return np.asarray(np.maximum(np.minimum(shape(points), collar), -points[:, 2]))

    mesh = largest_shell(surface_from_field(standing, _BOX, float(np.sqrt(_TRIANGLES_MM2 / triangles))))
    return Mesh(mesh.vertices * (withers_mm / WITHERS_MM), mesh.faces)


def dog_joints(withers_mm: float = WITHERS_MM) -> dict[str, Point]:
    """The true joint centres in mm, figure coordinates."""
    k = withers_mm / WITHERS_MM
    return {name: (x * k, y * k, z * k) for name, (x, y, z) in DOG.joints().items()}
