"""Kernels on the cells of a voxel body: shortest ways through it, peaks of a value, and sections by planes."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.geometry.mesh import BoolArray


@njit(cache=True)
def walk_cells(
    cells: NDArray[np.int64],
    number: NDArray[np.int32],
    price: NDArray[np.float64],
    sources: NDArray[np.int64],
    pitch: float,
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Dijkstra over the 26 neighbours with a binary heap; a step costs its length times the mean price of its ends."""
    n = len(cells)
    best = np.full(n, np.inf)
    before = np.full(n, -1, dtype=np.int32)
    done = np.zeros(n, dtype=np.bool_)
    keys = np.empty(n * 8 + 64)
    items = np.empty(n * 8 + 64, dtype=np.int32)
    size = 0
    for s in sources:
        best[s] = 0.0
        keys[size] = 0.0
        items[size] = s
        size += 1
    nx, ny, nz = number.shape
    while size > 0:
        key, item = keys[0], items[0]
        size -= 1
        lk, li = keys[size], items[size]
        pos = 0
        while True:
            child = 2 * pos + 1
            if child >= size:
                break
            if child + 1 < size and keys[child + 1] < keys[child]:
                child += 1
            if keys[child] >= lk:
                break
            keys[pos] = keys[child]
            items[pos] = items[child]
            pos = child
        keys[pos] = lk
        items[pos] = li
        if done[item]:
            continue
        done[item] = True
        ci, cj, ck = cells[item, 0], cells[item, 1], cells[item, 2]
        for di in range(-1, 2):
            for dj in range(-1, 2):
                for dk in range(-1, 2):
                    i, j, k = ci + di, cj + dj, ck + dk
                    if i < 0 or j < 0 or k < 0 or i >= nx or j >= ny or k >= nz:
                        continue
                    other = number[i, j, k]
                    if other < 0 or done[other]:
                        continue
                    length = np.sqrt(float(di * di + dj * dj + dk * dk)) * pitch
                    cost = key + length * 0.5 * (price[item] + price[other])
                    if cost < best[other] - 1e-12:
                        best[other] = cost
                        before[other] = item
                        if size >= len(keys):
                            bigger = np.empty(2 * len(keys))
                            bigger[:size] = keys[:size]
                            keys = bigger
                            more = np.empty(2 * len(items), dtype=np.int32)
                            more[:size] = items[:size]
                            items = more
                        pos = size
                        size += 1
                        while pos > 0:
                            up = (pos - 1) // 2
                            if keys[up] <= cost:
                                break
                            keys[pos] = keys[up]
                            items[pos] = items[up]
                            pos = up
                        keys[pos] = cost
                        items[pos] = other
    return best, before


@njit(cache=True)
def peak_cells(
    cells: NDArray[np.int64], number: NDArray[np.int32], value: NDArray[np.float64], order: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Cells that peak, and their prominences: a union-find over falling values."""
    n = len(cells)
    root = np.full(n, -1, dtype=np.int64)
    fall = np.zeros(n)
    peak = np.zeros(n, dtype=np.bool_)
    nx, ny, nz = number.shape
    for index in order:
        mine = np.int64(-1)
        ci, cj, ck = cells[index, 0], cells[index, 1], cells[index, 2]
        for di in range(-1, 2):
            for dj in range(-1, 2):
                for dk in range(-1, 2):
                    i, j, k = ci + di, cj + dj, ck + dk
                    if i < 0 or j < 0 or k < 0 or i >= nx or j >= ny or k >= nz:
                        continue
                    other = number[i, j, k]
                    if other < 0 or root[other] < 0:
                        continue
                    r = np.int64(other)
                    while root[r] != r:
                        root[r] = root[root[r]]
                        r = root[r]
                    if mine < 0:
                        mine = r
                    elif r != mine:
                        # Two peaks meet here: the lower one ends, its prominence is known.
                        low, high = (mine, r) if value[mine] < value[r] else (r, mine)
                        root[low] = high
                        fall[low] = value[low] - value[index]
                        mine = high
        if mine < 0:
            root[index] = index
            peak[index] = True
            fall[index] = value[index]
        else:
            root[index] = mine
    count = 0
    for i in range(n):
        if peak[i]:
            count += 1
    out = np.empty(count, dtype=np.int64)
    height = np.empty(count)
    at = 0
    for i in range(n):
        if peak[i]:
            out[at] = i
            height[at] = fall[i]
            at += 1
    return out, height


@njit(cache=True)
def flood_plane(
    inside: BoolArray, start: NDArray[np.float64], u: NDArray[np.float64], v: NDArray[np.float64], count: int
) -> tuple[int, float, float, float, float, float]:
    """Flood a plane's samples (one a cell) from the one nearest to the start that is inside; counts and moments."""
    size = 2 * count + 1
    state = np.zeros((size, size), dtype=np.uint8)  # 0 unseen, 1 inside unvisited, 2 outside, 3 visited
    nx, ny, nz = inside.shape
    found_i, found_j, found = -1, -1, 1 << 30
    for i in range(max(0, count - 6), min(size, count + 7)):
        for j in range(max(0, count - 6), min(size, count + 7)):
            a, b = i - count, j - count
            x = int(np.floor(start[0] + a * u[0] + b * v[0] + 0.5))
            y = int(np.floor(start[1] + a * u[1] + b * v[1] + 0.5))
            z = int(np.floor(start[2] + a * u[2] + b * v[2] + 0.5))
            ok = 0 <= x < nx and 0 <= y < ny and 0 <= z < nz and inside[x, y, z]
            if ok and a * a + b * b < found:
                found = a * a + b * b
                found_i, found_j = i, j
    n = 0
    su, sv, suu, svv, suv = 0.0, 0.0, 0.0, 0.0, 0.0
    if found_i < 0:
        return n, su, sv, suu, svv, suv
    stack_i = np.empty(size * size, dtype=np.int32)
    stack_j = np.empty(size * size, dtype=np.int32)
    stack_i[0], stack_j[0] = found_i, found_j
    state[found_i, found_j] = 3
    top = 1
    while top > 0:
        top -= 1
        i, j = stack_i[top], stack_j[top]
        du, dv = float(i - count), float(j - count)
        n += 1
        su += du
        sv += dv
        suu += du * du
        svv += dv * dv
        suv += du * dv
        for d in range(4):
            p = i + (1 if d == 0 else -1 if d == 1 else 0)
            q = j + (1 if d == 2 else -1 if d == 3 else 0)
            if p < 0 or q < 0 or p >= size or q >= size or state[p, q] != 0:
                continue
            e, f = p - count, q - count
            x = int(np.floor(start[0] + e * u[0] + f * v[0] + 0.5))
            y = int(np.floor(start[1] + e * u[1] + f * v[1] + 0.5))
            z = int(np.floor(start[2] + e * u[2] + f * v[2] + 0.5))
            if 0 <= x < nx and 0 <= y < ny and 0 <= z < nz and inside[x, y, z]:
                state[p, q] = 3
                stack_i[top], stack_j[top] = p, q
                top += 1
            else:
                state[p, q] = 2
    return n, su, sv, suu, svv, suv
