"""Many points or triangles about one place: which come near it, and where they lie in its frame."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import BoolArray, FloatArray


def near_frame(points: FloatArray, frame: Frame, reach_mm: float) -> tuple[NDArray[np.intp], FloatArray]:
    """Indices (k,) of the points (n, 3) within reach of a frame's origin, and those points (k, 3) in the frame."""
    return _near(
        np.ascontiguousarray(points),
        np.asarray(frame.origin, dtype=np.float64),
        np.ascontiguousarray(frame.rotation, dtype=np.float64),
        float(reach_mm),
    )


def bounds_meet(corners: FloatArray, boxes: FloatArray, margin_mm: float) -> BoolArray:
    """Which triangles (n, 3, 3) have bounds that come within the margin of any box (k, 2, 3)."""
    return _bounds_meet(np.ascontiguousarray(corners), np.ascontiguousarray(boxes), float(margin_mm))


@njit(cache=True, nogil=True)
def _bounds_meet(corners: FloatArray, boxes: FloatArray, margin: float) -> BoolArray:  # pragma: no cover
    out = np.zeros(len(corners), dtype=np.bool_)
    for t in range(len(corners)):
        for b in range(len(boxes)):
            meets = True
            for k in range(3):
                x, y, z = corners[t, 0, k], corners[t, 1, k], corners[t, 2, k]
                if min(x, y, z) > boxes[b, 1, k] + margin or max(x, y, z) < boxes[b, 0, k] - margin:
                    meets = False
                    break
            if meets:
                out[t] = True
                break
    return out


@njit(cache=True, nogil=True)
def _near(
    points: FloatArray, origin: FloatArray, rotation: FloatArray, reach: float
) -> tuple[NDArray[np.intp], FloatArray]:  # pragma: no cover
    n = 0
    for p in range(len(points)):
        x, y, z = points[p, 0] - origin[0], points[p, 1] - origin[1], points[p, 2] - origin[2]
        if x * x + y * y + z * z <= reach * reach:
            n += 1
    index = np.empty(n, dtype=np.intp)
    local = np.empty((n, 3))
    n = 0
    for p in range(len(points)):
        x, y, z = points[p, 0] - origin[0], points[p, 1] - origin[1], points[p, 2] - origin[2]
        if x * x + y * y + z * z <= reach * reach:
            index[n] = p
            for k in range(3):
                local[n, k] = x * rotation[0, k] + y * rotation[1, k] + z * rotation[2, k]
            n += 1
    return index, local
