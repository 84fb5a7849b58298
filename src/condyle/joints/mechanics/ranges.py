"""Refusal of arguments that no part can have."""

from __future__ import annotations

import math

from condyle.errors import UsageError


def need(name: str, value: float, low: float, high: float = math.inf, *, open_low: bool = False) -> None:
    """Raise UsageError ``mechanics.range`` unless low ≤ value ≤ high (low < value if open) and the value is finite."""
    if math.isfinite(value) and (low < value if open_low else low <= value) and value <= high:
        return
    span = f"{'above' if open_low else 'at least'} {low:g}" + (f" and at most {high:g}" if math.isfinite(high) else "")
    raise UsageError("mechanics.range", f"{name} must be {span}, not {value!r}")


def need_positive(**values: float) -> None:
    """Each value finite and above 0."""
    for name, value in values.items():
        need(name, value, 0.0, open_low=True)


def need_friction(friction: float) -> None:
    """A coefficient of friction, 0 to 5: rubber on glass is the high end of what exists."""
    need("friction", friction, 0.0, 5.0)


def need_poisson(poisson: float) -> None:
    """Poisson's ratio of an isotropic solid that does not swell when pulled, 0 to 0.5."""
    need("poisson", poisson, 0.0, 0.5)
