"""Many points about one place: which come near it, and where they lie in its frame."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray


def near_frame(points: FloatArray, frame: Frame, reach_mm: float) -> tuple[NDArray[np.intp], FloatArray]:
    """Indices (k,) of the points (n, 3) within reach of a frame's origin, and those points (k, 3) in the frame."""
    return _near(
        np.ascontiguousarray(points),
        np.asarray(frame.origin, dtype=np.float64),
        np.ascontiguousarray(frame.rotation, dtype=np.float64),
        float(reach_mm),
    )


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
