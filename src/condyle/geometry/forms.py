"""Simple forms filled with points: whether two of them have room in common, told by the points of one in the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit

from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray, IntArray

# What forms hold in their frames: a round or a square pillar between two heights; below z = 0 a ball about the origin or
# a barrel about x. Measures: z0, z1 and radius; z0, z1 and half widths; radius; radius and half length.
_PILLAR, _SQUARE, _BALL, _BARREL = range(4)
_INSET_MM = 1e-6  # how far inside a form's bounds its first and last points lie

Corner = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Form:
    """A form in a frame, between two corners there, filled with points ``spacing_mm`` apart or a little closer."""

    frame: Frame
    kind: int
    measures: tuple[float, float, float, float]
    low: Corner
    high: Corner
    spacing_mm: float

    def meets(self, other: Form) -> bool:
        """Whether a point of one lies in the other. What slips between the points is not noticed."""
        return bool(meet(packed([self, other]), 0, 1, np.zeros(3)))


class Forms(NamedTuple):
    """Many forms as arrays, for kernels."""

    origin: FloatArray
    rotation: FloatArray
    kind: IntArray
    measures: FloatArray
    low: FloatArray
    step: FloatArray
    points: IntArray


def packed(forms: Sequence[Form]) -> Forms:
    """Forms as arrays, in their order."""
    n = len(forms)
    low = np.array([f.low for f in forms]).reshape(n, 3) + _INSET_MM
    size = np.array([f.high for f in forms]).reshape(n, 3) - _INSET_MM - low
    spacing = np.array([f.spacing_mm for f in forms]).reshape(n, 1)
    count = np.maximum(np.ceil((size + 2.0 * _INSET_MM) / spacing).astype(np.int32) + 1, 2)
    return Forms(
        np.array([f.frame.origin for f in forms]).reshape(n, 3),
        np.array([f.frame.rotation for f in forms]).reshape(n, 3, 3),
        np.array([f.kind for f in forms], dtype=np.int32),
        np.array([f.measures for f in forms]).reshape(n, 4),
        low,
        size / (count - 1),
        count,
    )


def pillar(frame: Frame, z0: float, z1: float, radius_mm: float, spacing_mm: float) -> Form:
    """A round pillar about the frame's z."""
    r = radius_mm
    return Form(frame, _PILLAR, (z0, z1, r, r), (-r, -r, z0), (r, r, z1), spacing_mm)


def square_pillar(frame: Frame, z0: float, z1: float, half_x: float, half_y: float, spacing_mm: float) -> Form:
    """A pillar of rectangular section about the frame's z."""
    low, high = (-half_x, -half_y, z0), (half_x, half_y, z1)
    return Form(frame, _SQUARE, (z0, z1, half_x, half_y), low, high, spacing_mm)


def half_ball(frame: Frame, radius_mm: float, spacing_mm: float) -> Form:
    """The half of a ball about the frame's origin that lies below z = 0."""
    r = radius_mm
    return Form(frame, _BALL, (r, 0.0, 0.0, 0.0), (-r, -r, -r), (r, r, 0.0), spacing_mm)


def half_barrel(frame: Frame, radius_mm: float, half_x: float, spacing_mm: float) -> Form:
    """The half of a cylinder about the frame's x that lies below z = 0."""
    r = radius_mm
    return Form(frame, _BARREL, (r, half_x, 0.0, 0.0), (-half_x, -r, -r), (half_x, r, 0.0), spacing_mm)


@njit(cache=True)
def meet(forms: Forms, one: int, other: int, moved_mm: FloatArray) -> bool:
    """Whether a point of one form lies in the other; the first one is moved (figure coordinates) before."""
    return _any_in(forms, one, other, moved_mm) or _any_in(forms, other, one, -moved_mm)


@njit(cache=True, inline="always")
def _holds(x: float, y: float, z: float, kind: int, m: FloatArray) -> bool:
    if kind == _PILLAR:
        return m[0] < z < m[1] and x * x + y * y < m[2] * m[2]
    if kind == _SQUARE:
        return m[0] < z < m[1] and abs(x) < m[2] and abs(y) < m[3]
    if kind == _BALL:
        return z < 0.0 and x * x + y * y + z * z < m[0] * m[0]
    return z < 0.0 and y * y + z * z < m[0] * m[0] and abs(x) < m[1]


@njit(cache=True)
def _any_in(forms: Forms, one: int, other: int, moved_mm: FloatArray) -> bool:
    """Whether a form holds any of the points of another one."""
    # From the frame of the one to that of the other: turn and shift.
    turn, shift = np.zeros((3, 3)), np.zeros(3)
    for i in range(3):
        for k in range(3):
            shift[i] += forms.rotation[other, k, i] * (forms.origin[one, k] + moved_mm[k] - forms.origin[other, k])
            for j in range(3):
                turn[i, j] += forms.rotation[other, k, i] * forms.rotation[one, k, j]
    first, last = np.zeros(3, dtype=np.int64), np.zeros(3, dtype=np.int64)
    for j in range(3):
        # The other form's bounds as seen from this one: only points within them can lie in it.
        middle = reach = 0.0
        for i in range(3):
            half = 0.5 * forms.step[other, i] * (forms.points[other, i] - 1) + _INSET_MM
            centre = forms.low[other, i] - _INSET_MM + half
            middle += turn[i, j] * (centre - shift[i])
            reach += abs(turn[i, j]) * half
        low, step = forms.low[one, j], forms.step[one, j]
        first[j] = max(0, int(np.floor((middle - reach - low) / step)))
        last[j] = min(forms.points[one, j] - 1, int(np.ceil((middle + reach - low) / step)))
        if first[j] > last[j]:
            return False
    mine, theirs = forms.measures[one], forms.measures[other]
    for i in range(first[0], last[0] + 1):
        x = forms.low[one, 0] + i * forms.step[one, 0]
        for j in range(first[1], last[1] + 1):
            y = forms.low[one, 1] + j * forms.step[one, 1]
            for k in range(first[2], last[2] + 1):
                z = forms.low[one, 2] + k * forms.step[one, 2]
                if not _holds(x, y, z, forms.kind[one], mine):
                    continue
                p = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z + shift[0]
                q = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z + shift[1]
                r = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z + shift[2]
                if _holds(p, q, r, forms.kind[other], theirs):
                    return True
    return False
