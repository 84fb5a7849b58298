"""The diver in pieces: the body with a bare head, the helmet that goes over it, and the weight belt."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numba import njit

from condyle.demo.clay import box, drum, ellipsoid, round_cone, soft_min
from condyle.demo.diver_gear import belt, boots, gloves
from condyle.demo.diver_metal import HELMET_MIDDLE_Z, corselet, helmet
from condyle.demo.diver_suit import suit
from condyle.errors import UsageError
from condyle.geometry.fields import largest_shell, surface_from_field
from condyle.geometry.mesh import FloatArray, Mesh

_BOXES = {
    "body": np.array([[-21.0, -75.0, -1.5], [22.0, 75.0, 151.5]]),
    "helmet": np.array([[-24.0, -24.0, 110.0], [24.0, 24.0, 153.0]]),
    "belt": np.array([[-24.0, -26.0, 70.0], [24.0, 26.0, 94.0]]),
}
_STEEPEST = 2.0


def diver_pieces(step_mm: float = 1.0) -> dict[str, Mesh]:
    """``body``, ``helmet`` and ``belt``, each closed, in the diver's own coordinates (mm), on a grid of ``step_mm``.

    The helmet is hollow and rests on the crown; the belt runs round the hips and a little into them. UsageError for a step
    outside 0.1 to 1.5 mm: fingers would grow together.
    """
    if not 0.1 <= step_mm <= 1.5:
        raise UsageError("demo.step", f"the diver's pieces are made on a grid of 0.1 to 1.5 mm, not {step_mm:g}")
    fields: dict[str, Callable[[FloatArray], FloatArray]] = {"body": _body, "helmet": _helmet, "belt": _belt}
    return {
        name: largest_shell(surface_from_field(_plain(field), _BOXES[name], step_mm, steepest=_STEEPEST))
        for name, field in fields.items()
    }


def _plain(kernel: Callable[[FloatArray], FloatArray]) -> Callable[[FloatArray], FloatArray]:
    return lambda points: np.asarray(kernel(np.ascontiguousarray(points, dtype=np.float64)))


@njit(cache=True)
def _head(x, y, z):
    """A bare head on a neck, a little larger at the crown than the helmet's inside."""
    skull = ellipsoid(x - 1.0, y, z - HELMET_MIDDLE_Z, 11.9, 11.2, 11.9)
    return soft_min(skull, round_cone(x, y, z, 0.5, 0.0, 112.0, 9.0, 0.5, 0.0, 126.0, 8.6), 1.5)


@njit(cache=True)
def _body(points):
    out = np.empty(len(points))
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        d = suit(x, y, z)
        if z > 92.0:
            d = soft_min(d, corselet(x, y, z)[0], 0.4)
            d = soft_min(d, _head(x, y, z), 0.6)
        else:
            d = soft_min(d, gloves(x, y, z)[0], 0.4)
            d = soft_min(d, boots(x, y, z)[0], 0.4)
        out[i] = max(d, -z)
    return out


@njit(cache=True)
def _helmet(points):
    out = np.empty(len(points))
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        inside = ellipsoid(x - 1.0, y, z - HELMET_MIDDLE_Z, 12.3, 11.9, 11.4)
        bore = drum(math.sqrt((x - 0.5) ** 2 + y * y), z - 118.0, 11.3, 14.0, 0.3)
        out[i] = max(helmet(x, y, z)[0], -min(inside, bore))
    return out


@njit(cache=True)
def _belt(points):
    out = np.empty(len(points))
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        # A ring: what lies deeper than the leather is thick is the body's.
        out[i] = max(belt(x, y, z)[0], -box(x + 0.4, y, z - 81.5, 12.3, 15.6, 12.0, 11.0))
    return out
