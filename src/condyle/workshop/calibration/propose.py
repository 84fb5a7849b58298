"""The next coupon that tells most, and when another one no longer pays.

A ladder is judged by the sd that the middle of "good" is expected to have after it: the posterior's precision plus the
Fisher information of its specimens (Chaloner and Verdinelli, Statistical Science 10 (1995) 273–304, from memory), averaged
over where the middle may lie. Simplified: the posterior is taken as normal with independent parameters, good near the
end of a calibration and cautious at its start.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.workshop.calibration.ordinal import between
from condyle.workshop.calibration.posterior import Posterior

STEPS_MM: Final = (0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08)
"""Steps that a ladder may have; finer ones lie below what a desktop printer can tell apart."""

SPECIMENS: Final = 7
"""Joints on a ladder."""

LEAST_GAIN: Final = 0.15
"""Another ladder pays while it is expected to shorten the interval by more than this share."""

FINE_ENOUGH: Final = 0.5
"""… and while half the interval is wider than this share of half the "good" range plus the scatter. Our choices."""

_WHERE = (-1.4, -0.7, 0.0, 0.7, 1.4)
_SHARE = (0.13, 0.225, 0.29, 0.225, 0.13)


@dataclass(frozen=True)
class Proposal:
    """The ladder to print next.

    drawn_mm          drawn clearances, tight to loose
    half_now_mm       half the 90 % interval as it is
    half_then_mm      half the interval expected after this ladder
    pays              whether it is worth its material
    reason            in words
    """

    drawn_mm: tuple[float, ...]
    half_now_mm: float
    half_then_mm: float
    pays: bool
    reason: str


def ladder(middle_mm: float, step_mm: float, count: int = SPECIMENS) -> tuple[float, ...]:
    """Drawn clearances about a middle, tight to loose, on a grid of 5 µm so that labels and files agree."""
    first = middle_mm - 0.5 * (count - 1) * step_mm
    return tuple(round(round((first + k * step_mm) / 0.005) * 0.005, 3) for k in range(count))


def propose(now: Posterior, count: int = SPECIMENS) -> Proposal:
    """The step that tells most about the middle of "good", about the present best value."""
    precision = 1.0 / now.sd**2
    best_step, best_sd = STEPS_MM[0], math.inf
    for step in STEPS_MM:
        drawn = np.array(ladder(now.middle_mm, step, count))
        expected = 0.0
        for off, share in zip(_WHERE, _SHARE, strict=True):
            theta = now.mean.copy()
            theta[0] += off * now.middle_sd_mm
            total = information(drawn, theta) + np.diag(precision)
            expected += share * float(np.linalg.inv(total)[0, 0])
        if expected < best_sd**2:
            best_step, best_sd = step, math.sqrt(expected)
    low, high = now.interval_mm()
    half_now = 0.5 * (high - low)
    half_then = half_now * min(1.0, best_sd / now.middle_sd_mm)
    tolerated = FINE_ENOUGH * (math.exp(now.mean[1]) + math.exp(now.mean[4]))
    if half_now <= tolerated:
        pays, why = False, "what is left to learn is smaller than the range that feels good"
    elif half_then > (1.0 - LEAST_GAIN) * half_now:
        pays, why = False, "another ladder would hardly shorten the interval: prints of this printer differ too much"
    else:
        pays, why = True, f"it should shorten ± {half_now:.3f} mm to about ± {half_then:.3f} mm"
    return Proposal(ladder(now.middle_mm, best_step, count), half_now, half_then, pays, why)


def information(drawn_mm: FloatArray, theta: FloatArray) -> FloatArray:
    """Fisher information (5, 5) of specimens at drawn clearances (n,) about (m, log widths, log s), probit.

    Σ over specimens and classes of ∇p ∇pᵀ/p, the gradients by central differences.
    """
    step = np.array([1e-5, 1e-4, 1e-4, 1e-4, 1e-4])
    chances = _chances(drawn_mm, np.concatenate([[theta], theta + np.diag(step), theta - np.diag(step)]))
    slopes = (chances[1:6] - chances[6:]) / (2.0 * step)[:, None, None]
    return np.asarray(np.einsum("ixk,jxk->ij", slopes / np.maximum(chances[0], 1e-9), slopes))


def _chances(drawn_mm: FloatArray, thetas: FloatArray) -> FloatArray:
    """Probability (t, n, 5) of each class at each drawn clearance, for several parameters (t, 5)."""
    m, (good, loose, tight, scatter) = thetas[:, 0], np.exp(thetas[:, 1:]).T
    far = np.full(len(thetas), math.inf)
    cuts = np.stack([far, m + good + loose, m + good, m - good, m - good - tight, -far], axis=1)
    z = (cuts[:, None, :] - drawn_mm[None, :, None]) / scatter[:, None, None]
    return between(z[..., 1:], z[..., :-1], "probit")
