"""How the doubt of measured inputs reaches a result."""

from __future__ import annotations

import math
from collections.abc import Callable

from condyle.errors import UsageError
from condyle.workshop.values import Measured


def first_order(function: Callable[..., float], *inputs: Measured) -> tuple[float, float]:
    """Value and standard deviation of ``function`` of independent measured inputs, given in its own order.

    First-order propagation, sd² = Σ (∂f/∂x·sd)², with central differences of a tenth of each sd: the law of propagation
    of JCGM 100:2008 (GUM) §5.1.2 (from memory). Good while the function is nearly straight over ±1 sd. An input at the
    edge of what the function accepts is differenced to one side.
    """
    values = [m.value for m in inputs]
    middle = float(function(*values))
    variance = 0.0
    for index, given in enumerate(inputs):
        if given.sd > 0.0:
            variance += (_slope(function, values, index, 0.1 * given.sd, middle) * given.sd) ** 2
    return middle, math.sqrt(variance)


def _slope(function: Callable[..., float], values: list[float], index: int, step: float, middle: float) -> float:
    ends: list[tuple[float, float]] = []
    for sign in (-1.0, 1.0):
        moved = list(values)
        moved[index] += sign * step
        try:
            ends.append((sign * step, float(function(*moved))))
        except UsageError:
            ends.append((0.0, middle))
    (x0, y0), (x1, y1) = ends
    return (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
