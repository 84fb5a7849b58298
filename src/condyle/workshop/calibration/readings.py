"""From calliper readings, walls and bent tongues to printer errors, the smallest feature, and permissible strain."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.workshop.calibration.ordinal import Prior, fit, outcomes
from condyle.workshop.values import Measured

CALLIPER_SD_MM = 0.02
"""Of one reading with a workshop calliper on plastic. Common practice, no source."""

_SCATTER = (0.04, 0.7)  # prior of the scatter between features, median mm and sd of the log; ours, no source
_SOUND_SHARE = 1.645  # 95 % of tongues stay sound at a strain this many scatters below the middle


def mean_error(errors: Sequence[float] | FloatArray, prior: Measured, date: str) -> tuple[Measured, float]:
    """Mean of printed minus drawn with its spread, and the sd of that mean.

    Normal errors of unknown scatter: Bayes on a grid of mean and log scatter. The sd of the value holds for the next feature
    (mean and scatter together), as the cards have it.
    """
    read = np.asarray(errors, dtype=np.float64)
    reach = 5.0 * prior.sd + float(np.abs(read - prior.value).max())
    mean = np.linspace(prior.value - reach, prior.value + reach, 401)[:, None]
    log_s = np.linspace(math.log(_SCATTER[0]) - 3 * _SCATTER[1], math.log(_SCATTER[0]) + 3 * _SCATTER[1], 61)[None, :]
    variance = np.exp(2.0 * log_s) + CALLIPER_SD_MM**2
    logp = -0.5 * ((mean - prior.value) / prior.sd) ** 2 - 0.5 * ((log_s - math.log(_SCATTER[0])) / _SCATTER[1]) ** 2
    logp = logp - 0.5 * len(read) * np.log(variance)
    squares = ((read[None, :] - mean) ** 2).sum(axis=1)[:, None]
    logp = logp - 0.5 * squares / variance
    weight = np.exp(logp - logp.max())
    weight /= weight.sum()
    value = float((weight * mean).sum())
    of_mean = math.sqrt(float((weight * (mean - value) ** 2).sum()))
    scatter = math.sqrt(float((weight * np.exp(2.0 * log_s)).sum()))
    source = f"measured on {date}: {len(read)} readings"
    return Measured(round(value, 4), round(math.hypot(of_mean, scatter), 4), source), of_mean


def size_of_error(errors: Sequence[float] | FloatArray, prior: Measured, date: str) -> Measured:
    """The 1-sd size of an error that is 0 on average (mm): Bayes on a grid of its logarithm, reading error taken off."""
    read = np.asarray(errors, dtype=np.float64)
    width = max(0.3, prior.sd / prior.value)
    log_s = np.linspace(math.log(prior.value) - 4 * width, math.log(prior.value) + 4 * width + 2.0, 401)
    variance = np.exp(2.0 * log_s) + CALLIPER_SD_MM**2
    logp = -0.5 * ((log_s - math.log(prior.value)) / width) ** 2 - 0.5 * len(read) * np.log(variance)
    logp = logp - 0.5 * float((read**2).sum()) / variance
    weight = np.exp(logp - logp.max())
    weight /= weight.sum()
    value = float((weight * np.exp(log_s)).sum())
    sd = math.sqrt(float((weight * (np.exp(log_s) - value) ** 2).sum()))
    return Measured(round(value, 4), round(sd, 4), f"measured on {date}: {len(read)} readings")


def first_layer_spread(foot_mm: float, above_mm: float, prior: Measured, date: str) -> Measured:
    """Half of what the foot is wider than the body above, with the prior's weight against two calliper readings."""
    reading, of_reading = 0.5 * (foot_mm - above_mm), CALLIPER_SD_MM / math.sqrt(2.0) + 0.01
    a, b = 1.0 / prior.sd**2, 1.0 / of_reading**2
    value = max(0.0, (a * prior.value + b * reading) / (a + b))
    return Measured(round(value, 4), round(1.0 / math.sqrt(a + b), 4), f"measured on {date}: foot against body")


def smallest_wall(walls_mm: Sequence[float], whole: Sequence[bool], prior: Measured, date: str) -> Measured:
    """The wall that comes out whole nine times in ten, mm (mode of the probit model with its prior)."""
    data = outcomes(walls_mm, [0 if w else 1 for w in whole], 2)
    belief = Prior(np.array([prior.value - 0.1, math.log(0.06)]), np.array([max(prior.sd, 0.1) * 2.0, 0.6]))
    found = fit(data, prior=belief)
    value = float(found.cuts[0]) + 1.28 * found.scale
    sd = math.sqrt(float(found.covariance[0, 0]) + (1.28 * found.scale) ** 2 * float(found.covariance[1, 1]))
    return Measured(round(max(value, 0.01), 3), round(max(sd, 0.01), 3), f"measured on {date}: {len(data)} walls")


def sound_strain(strain: Sequence[float], sound: Sequence[bool], guess: float, date: str) -> tuple[Measured, Measured]:
    """Strain that 95 % of tongues take ten times without a mark, and the strain at which half of them are marked.

    ``guess`` is the card's permissible strain, taken as 0.7 of the middle with a factor of about two either way.
    """
    data = outcomes(np.log(np.maximum(strain, 1e-6)), [1 if s else 0 for s in sound], 2)
    belief = Prior(np.array([math.log(guess / 0.7), math.log(0.15)]), np.array([0.7, 0.4]))
    found = fit(data, prior=belief)
    middle, scatter = float(found.cuts[0]), found.scale
    of_middle = math.sqrt(float(found.covariance[0, 0]))
    safe = math.exp(middle - _SOUND_SHARE * scatter)
    of_safe = safe * math.sqrt(of_middle**2 + (_SOUND_SHARE * scatter) ** 2 * float(found.covariance[1, 1]))
    source = f"measured on {date}: {len(data)} tongues pushed ten times"
    half = math.exp(middle)
    return Measured(round(safe, 5), round(of_safe, 5), source), Measured(
        round(half, 5), round(half * of_middle, 5), source
    )
