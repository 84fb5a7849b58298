"""Units at public boundaries: mm, degrees, grams, newtons, N·mm, MPa, seconds."""

from __future__ import annotations

from typing import Final

GRAVITY_M_S2: Final = 9.80665
"""Standard gravity, exact by definition (3rd CGPM, 1901)."""

MM_PER_UNIT: Final[dict[str, float]] = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
"""Length units by the names of the 3MF core specification (ISO/IEC 25422)."""

UNIT_ALIASES: Final[dict[str, str]] = {
    "um": "micron",
    "mm": "millimeter",
    "cm": "centimeter",
    "in": "inch",
    "ft": "foot",
    "m": "meter",
}
