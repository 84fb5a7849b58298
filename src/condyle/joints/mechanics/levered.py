"""What bursts a hole when the peg in it is levered sideways: the seat of an insert, whose stud is to break first.

A stiff peg turned in its hole by a moment is borne over its whole length: the pressure runs straight from one side at the
mouth to the other at the end, so M = p·d·L²/6 with p at the ends (balance of moments; derived). There the wall is taken
as a closed ring under that pressure all around (Lamé's thick cylinder, press.py), which a ring pressed from one side alone
is near for walls of a third of the hole and more; thinner ones also bend. Glue and the keyed flat are left out.
"""

from __future__ import annotations

from condyle.joints.mechanics.press import lame_mpa
from condyle.joints.mechanics.ranges import need_positive


def end_pressure_mpa(moment_nmm: float, diameter_mm: float, length_mm: float) -> float:
    """The largest pressure of a levered peg on its hole, 6·M/(d·L²)."""
    need_positive(diameter_mm=diameter_mm, length_mm=length_mm)
    return 6.0 * moment_nmm / (diameter_mm * length_mm**2)


def burst_nmm(diameter_mm: float, length_mm: float, wall_mm: float, strength_mpa: float) -> float:
    """The moment on a peg of DIAMETER and length that splits the wall around its hole; ``strength_mpa`` across the split."""
    need_positive(wall_mm=wall_mm, strength_mpa=strength_mpa)
    inner = 0.5 * diameter_mm
    _, hoop = lame_mpa(inner, inner, inner + wall_mm, 1.0)
    return strength_mpa / hoop / end_pressure_mpa(1.0, diameter_mm, length_mm)
