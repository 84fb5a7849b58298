"""Accuracy in the words of the trade: the IT grades of ISO 286-1."""

from __future__ import annotations

import math

from condyle.errors import UsageError

GRADES: tuple[str, ...] = ("IT01", "IT0", *(f"IT{n}" for n in range(1, 19)))

LARGEST_MM = 18.0
"""Sizes of joints end well below this; the wider ranges of the standard were not at hand to check."""

# (largest size of the range, mm; tolerances in µm from IT01 to IT18): ISO 286-1, table of standard tolerances.
_TOLERANCES_UM: tuple[tuple[float, tuple[float, ...]], ...] = (
    (3.0, (0.3, 0.5, 0.8, 1.2, 2, 3, 4, 6, 10, 14, 25, 40, 60, 100, 140, 250, 400, 600, 1000, 1400)),
    (6.0, (0.4, 0.6, 1, 1.5, 2.5, 4, 5, 8, 12, 18, 30, 48, 75, 120, 180, 300, 480, 750, 1200, 1800)),
    (10.0, (0.4, 0.6, 1, 1.5, 2.5, 4, 6, 9, 15, 22, 36, 58, 90, 150, 220, 360, 580, 900, 1500, 2200)),
    (18.0, (0.5, 0.8, 1.2, 2, 3, 5, 8, 11, 18, 27, 43, 70, 110, 180, 270, 430, 700, 1100, 1800, 2700)),
)


def tolerance_mm(grade: str, size_mm: float) -> float:
    """Width of the tolerance of a grade (``IT7``) at a nominal size above 0 up to 18 mm, in mm. ISO 286-1.

    Raises UsageError ``tolerance.grade`` or ``tolerance.size``.
    """
    if grade not in GRADES:
        raise UsageError("tolerance.grade", f"no grade {grade!r}", hint="IT01, IT0, IT1 to IT18")
    return _row(size_mm)[GRADES.index(grade)] * 1e-3


def grade_near(width_mm: float, size_mm: float) -> str:
    """The grade whose tolerance is nearest (in ratio) to a width in mm at a nominal size, such as ``IT13``."""
    if not (math.isfinite(width_mm) and width_mm > 0.0):
        raise UsageError("tolerance.width", f"a tolerance is a width above 0 mm, not {width_mm!r}")
    row = _row(size_mm)
    return GRADES[min(range(len(row)), key=lambda i: abs(math.log(width_mm * 1e3 / row[i])))]


def accuracy_in_words(sd_mm: float, size_mm: float) -> str:
    """``about IT13`` for an error of standard deviation ``sd_mm``: four of it hold 95 % and are taken as the width."""
    return "about " + grade_near(4.0 * sd_mm, size_mm)


def _row(size_mm: float) -> tuple[float, ...]:
    if not 0.0 < size_mm <= LARGEST_MM:
        raise UsageError(
            "tolerance.size", f"grades are kept for sizes above 0 up to {LARGEST_MM:g} mm, not {size_mm!r}"
        )
    return next(row for upper, row in _TOLERANCES_UM if size_mm <= upper)
