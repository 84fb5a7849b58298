"""Double hinge: two hinges with parallel axes and a middle link between them, which is the knuckle of both.

The link is shaped from the sculpt between two concentric cuts, so that an elbow or knee stays closed when bent; each
hinge turns half of the angle.
"""

from __future__ import annotations

from condyle.joints.hinge import SIZES_MM, HingeShape, Pin, design, gentle_mm, needs, root_mm, shape, smallest_cut_mm
from condyle.joints.stock import Stock

__all__ = [
    "SIZES_MM",
    "HingeShape",
    "Pin",
    "design",
    "gentle_mm",
    "needs",
    "root_mm",
    "shape",
    "smallest_cut_mm",
    "spacing_mm",
]


def spacing_mm(s: HingeShape, stock: Stock) -> float:
    """Distance between the two axes: both eyes with their gaps, and a wall of the link between them."""
    return 2.0 * s.slot_reach + 1.25 * stock.wall_mm
