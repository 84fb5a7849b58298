"""The spread of a friction torque whose interference, friction and stiffness are only known so well."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from condyle.joints.mechanics.ranges import need

_STEPS = 61
_NORMAL = np.array([NormalDist().inv_cdf((i + 0.5) / _STEPS) for i in range(_STEPS)])


@dataclass(frozen=True)
class Spread:
    """A quantity as drawn, and the range that holds it with 90 % probability."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Spread:
        return Spread(factor * self.value, factor * self.low, factor * self.high)


def torque_spread(
    torque_nmm: float, grip_mm: float, grip_sd_mm: float, relative_sd: float, slope_nmm_mm: float | None = None
) -> Spread:
    """Range of a torque that grows straight with the interference and with friction and stiffness.

    torque_nmm at grip_mm (0 for a gap) as drawn; relative_sd that of friction × stiffness, taken log-normal so that none is
    negative; slope_nmm_mm where the torque is 0 as drawn, so that it cannot be had from torque/grip. A gap holds nothing.
    By the product of 61 × 61 equally likely values.
    """
    need("torque_nmm", torque_nmm, 0.0)
    need("grip_sd_mm", grip_sd_mm, 0.0)
    need("relative_sd", relative_sd, 0.0, 2.0)
    slope = slope_nmm_mm if slope_nmm_mm is not None else (torque_nmm / grip_mm if grip_mm > 0.0 else 0.0)
    log_sd = math.sqrt(math.log1p(relative_sd**2))
    grips = np.maximum(grip_mm + grip_sd_mm * _NORMAL, 0.0)
    factors = np.exp(log_sd * _NORMAL)
    low, high = np.quantile(slope * np.multiply.outer(grips, factors), [0.05, 0.95])
    return Spread(torque_nmm, float(low), float(high))
