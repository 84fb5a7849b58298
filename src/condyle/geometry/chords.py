"""Chords of plane outlines: straight lines laid across a region, cut where its outline is."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import FloatArray


@njit(cache=True, nogil=True)
def short_steps(
    starts: FloatArray, ends: FloatArray, most_mm: float
) -> tuple[FloatArray, FloatArray]:  # pragma: no cover
    """The same steps (n, 2) in the same order, each cut evenly so that none is longer than this."""
    n = len(starts)
    parts = np.empty(n, dtype=np.int64)
    for i in range(n):
        x, y = ends[i, 0] - starts[i, 0], ends[i, 1] - starts[i, 1]
        parts[i] = max(int(np.ceil(np.sqrt(x * x + y * y) / most_mm)), 1)
    first, second = np.empty((parts.sum(), 2)), np.empty((parts.sum(), 2))
    k = 0
    for i in range(n):
        for p in range(parts[i]):
            for axis in range(2):
                way = (ends[i, axis] - starts[i, axis]) / parts[i]
                first[k, axis] = starts[i, axis] + p * way
                second[k, axis] = ends[i, axis] if p == parts[i] - 1 else first[k, axis] + way
            k += 1
    return first, second


@njit(cache=True, nogil=True)
def held_chords(
    starts: FloatArray, ends: FloatArray, held: NDArray[np.bool_], turns: FloatArray, count: int
) -> tuple[FloatArray, NDArray[np.int64], NDArray[np.int64]]:  # pragma: no cover
    """How long ``count`` evenly spaced lines across a region are in each direction, and how many end on nothing.

    starts, ends  (n, 2) the steps of its outlines, ``held`` (n,) whether each step rests on something; turns in radians
    Returns for each direction the longest chord held at both ends (0 for none), the chords in all, and those held not so.
    """
    n = len(starts)
    longest = np.zeros(len(turns))
    total, loose = np.zeros(len(turns), dtype=np.int64), np.zeros(len(turns), dtype=np.int64)
    along, rests = np.empty(n), np.empty(n, dtype=np.bool_)
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
                    x = a[i, 0] + (y - a[i, 1]) / (b[i, 1] - a[i, 1]) * (b[i, 0] - a[i, 0])
                    p = k
                    while p > 0 and along[p - 1] > x:
                        along[p], rests[p] = along[p - 1], rests[p - 1]
                        p -= 1
                    along[p], rests[p] = x, held[i]
                    k += 1
            for p in range(0, k - 1, 2):
                total[w] += 1
                if rests[p] and rests[p + 1]:
                    longest[w] = max(longest[w], along[p + 1] - along[p])
                else:
                    loose[w] += 1
    return longest, total, loose
