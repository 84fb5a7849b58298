"""Chords of plane outlines: straight lines laid across a region, cut where its outline is."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import FloatArray


@njit(cache=True, nogil=True)
def chords(
    starts: FloatArray, ends: FloatArray, turns: FloatArray, count: int
) -> tuple[NDArray[np.int64], FloatArray]:  # pragma: no cover
    """The pieces of ``count`` evenly spaced lines inside a region, for each direction.

    starts, ends  (n, 2) the steps of its outlines; ``turns`` directions in radians
    Returns for each chord the number of its direction, and (k, 4) the two end points. An outline is crossed an even number
    of times, so crossings in order make pairs.
    """
    n = len(starts)
    room = 64
    which, ends_xy = np.empty(room, dtype=np.int64), np.empty((room, 4))
    used = 0
    along = np.empty(n)
    a, b = np.empty((n, 2)), np.empty((n, 2))
    for w in range(len(turns)):
        c, s = np.cos(turns[w]), np.sin(turns[w])
        low, high = np.inf, -np.inf
        for i in range(n):
            a[i, 0], a[i, 1] = c * starts[i, 0] + s * starts[i, 1], -s * starts[i, 0] + c * starts[i, 1]
            b[i, 0], b[i, 1] = c * ends[i, 0] + s * ends[i, 1], -s * ends[i, 0] + c * ends[i, 1]
            low, high = min(low, a[i, 1]), max(high, a[i, 1])
        for line in range(count):
            y = low + (high - low) * (line + 0.5) / count
            k = 0
            for i in range(n):
                if (a[i, 1] > y) != (b[i, 1] > y):
                    along[k] = a[i, 0] + (y - a[i, 1]) / (b[i, 1] - a[i, 1]) * (b[i, 0] - a[i, 0])
                    k += 1
            order = np.sort(along[:k])
            for p in range(0, k - 1, 2):
                if used == room:
                    room *= 2
                    which = np.append(which, np.empty(room - used, dtype=np.int64))
                    ends_xy = np.concatenate((ends_xy, np.empty((room - used, 4))))
                which[used] = w
                x0, x1 = order[p], order[p + 1]
                ends_xy[used, 0], ends_xy[used, 1] = c * x0 - s * y, s * x0 + c * y
                ends_xy[used, 2], ends_xy[used, 3] = c * x1 - s * y, s * x1 + c * y
                used += 1
    return which[:used].copy(), ends_xy[:used].copy()
