"""No film beside a cut: where a tool would stop just short of a face of the flesh, it goes on through that face.

A tool stops at what is kept (a wall around hardware) and where the other side no longer comes. Where such an end runs along a
face that the flesh already has, a kerf's or the skin, what is left between the two is a film that no printer draws. Both are
known here as distances, so the film's thickness is known at every point of it: the way to the tool and the way to the face.
"""

from __future__ import annotations

import numpy as np

from condyle.geometry.gridfield import Values

_SHARE = 0.35  # of a wall: thinner than a line, so that no wall of hardware is ever meant
_STEPS = 1.1  # a film must not slip through between two points of the grid
_ALONG = 0.75  # cosine between the ways to both faces: wedges sharper than about 40 degrees are films, corners are not
_BESIDE_MM = 0.5
_SLOPE = 0.3


def through(tool: Values, flesh: Values, step_mm: float, wall_mm: float) -> Values:
    """The tool with the films beside it; both fields are distances on one grid, negative inside, flesh as it was before.

    A film is flesh thinner than about a third of a wall between the tool and a face that runs along it.
    """
    least = max(_SHARE * wall_mm, _STEPS * step_mm)
    beside = np.argwhere((tool > 0.0) & (tool < least) & (np.abs(flesh) < _BESIDE_MM))
    if not len(beside):
        return tool
    low, high = np.maximum(beside.min(axis=0) - 1, 0), beside.max(axis=0) + 2
    box = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    at = tuple((beside - low).T)
    to_tool, to_face = (_slope(field[box], at, step_mm) for field in (tool, flesh))
    along = np.einsum("ij,ij->i", to_tool, to_face) > _ALONG
    film = tuple(beside[along].T)
    out = np.array(tool)
    out[film] = np.minimum(tool[film], tool[film] + np.maximum(-flesh[film], 0.0) - np.float32(least))
    return out


def _slope(field: Values, at: tuple[np.ndarray, ...], step_mm: float) -> np.ndarray:
    """Unit directions (n, 3) in which a field rises at points of its grid; zero where it hardly does."""
    rise = np.stack([np.asarray(g)[at] for g in np.gradient(field, step_mm)], axis=1)
    length = np.linalg.norm(rise, axis=1, keepdims=True)
    return np.where(length > _SLOPE, rise / np.maximum(length, 1e-6), 0.0)
