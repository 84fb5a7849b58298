"""What is left of an elastic grip after days, and when it is warm.

Plastic under a constant strain loses stress about evenly with the logarithm of time (W. N. Findley, J. S. Lai and K.
Onaran, *Creep and Relaxation of Nonlinear Viscoelastic Materials*, from memory), the sooner the warmer. Cards give what
is left after 30 days at 23 °C and what a part keeps of its stiffness at 40 °C.
"""

from __future__ import annotations

import math

from condyle.joints.mechanics.ranges import need

FIRST_DAYS = 1.0 / 1440.0
"""The grip that is felt right after assembly: one minute."""

STATED_DAYS = 30.0
ROOM_C, STATED_WARM_C = 23.0, 40.0


def kept_after(days: float, kept_30_days: float) -> float:
    """Share of the grip that is left, 1 − k·log₁₀(t/1 min), never below 0; k from what 30 days leave."""
    need("days", days, 0.0)
    need("kept_30_days", kept_30_days, 0.0, 1.0)
    decades = math.log10(STATED_DAYS / FIRST_DAYS)
    loss = (1.0 - kept_30_days) * math.log10(max(days, FIRST_DAYS) / FIRST_DAYS) / decades
    return max(0.0, 1.0 - loss)


def kept_warm(celsius: float, kept_40_c: float) -> float:
    """Share of the stiffness, and so of the grip, at a temperature from 0 to 60 °C: straight from 23 °C, never below 0.

    Near the glass transition (55 to 65 °C for polylactide) it falls off a cliff that a straight line does not show: not
    for a car in the sun.
    """
    need("celsius", celsius, 0.0, 60.0)
    need("kept_40_c", kept_40_c, 0.0, 1.0)
    share = (celsius - ROOM_C) / (STATED_WARM_C - ROOM_C)
    return float(min(1.0, max(0.0, 1.0 - (1.0 - kept_40_c) * max(0.0, share))))
