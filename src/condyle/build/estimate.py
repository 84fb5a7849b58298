"""How long a print job takes, what it uses, and how sure that is; sharpened by jobs that were logged.

    filament   time = start + laid / rate + layers × per_layer + Σ over parts of their layers × per_part_layer
    resin      time = start + layers × per_layer (exposure and lift), whatever lies on the plate

The model knows no path of the nozzle: sharp turns, small islands and slow first layers are in the uncertainty, not in
the formula. It holds for jobs of the size of a figure's parts. The starter values are wide priors (common practice, no
source); five logged jobs bring the median error well below what the priors leave.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from condyle.geometry.mesh import FloatArray
from condyle.workshop.card import Process

NOISE = 0.08
"""Relative scatter of one job about the model, from what it leaves out: common practice, no source."""


@dataclass(frozen=True)
class Job:
    """What a print job asks: material laid down (mm³, supports included), layers of the plate, layers summed over parts."""

    laid_mm3: float
    layers: int
    part_layers: int


@dataclass(frozen=True)
class Pace:
    """How fast a printer works. ``spread`` (4,) holds the relative standard deviations, in the order of the values.

    For resin ``rate_mm3_s`` is infinite and ``per_part_layer_s`` is 0; both then take no part in any fit.
    """

    rate_mm3_s: float
    per_layer_s: float
    per_part_layer_s: float
    start_s: float
    spread: tuple[float, float, float, float]
    jobs: int = 0

    def seconds(self, job: Job) -> float:
        return (
            self.start_s
            + job.laid_mm3 / self.rate_mm3_s
            + job.layers * self.per_layer_s
            + job.part_layers * self.per_part_layer_s
        )


STARTER: dict[Process, Pace] = {
    "filament": Pace(4.0, 3.0, 1.5, 300.0, (0.5, 0.6, 0.6, 0.5)),
    "resin": Pace(math.inf, 10.0, 0.0, 300.0, (0.0, 0.4, 0.0, 0.5)),
}


@dataclass(frozen=True)
class Estimate:
    """Seconds, with the bounds between which nine jobs of ten are expected; from how many logged jobs."""

    time_s: float
    low_s: float
    high_s: float
    jobs: int


@dataclass(frozen=True)
class FittedPace:
    """A pace with the covariance of its logarithms, (4, 4)."""

    pace: Pace
    covariance: FloatArray

    def estimate(self, job: Job) -> Estimate:
        """The time of a job, with nine-in-ten bounds from the fit's and one job's own scatter (log-normal)."""
        seconds = self.pace.seconds(job)
        slope = _slopes(self.pace, job) / seconds
        sd = math.sqrt(float(slope @ self.covariance @ slope) + NOISE**2)
        reach = math.exp(1.6448536269514722 * sd)
        return Estimate(seconds, seconds / reach, seconds * reach, self.pace.jobs)


def fit_pace(prior: Pace, logged: Sequence[tuple[Job, float]]) -> FittedPace:
    """The pace after ``logged`` jobs and their seconds: most probable values under log-normal priors (Laplace).

    With no jobs it is the prior. Times of 0 or below raise ValueError.
    """
    if any(not (seconds > 0.0 and math.isfinite(seconds)) for _, seconds in logged):
        raise ValueError("a logged time must be positive")
    spread = np.array(prior.spread)
    active = spread > 0.0

    def at(shift: FloatArray) -> Pace:
        full = np.zeros(4)
        full[active] = shift
        rate, layer, part_layer, start = np.exp(full)
        return replace(
            prior,
            rate_mm3_s=prior.rate_mm3_s / rate,
            per_layer_s=prior.per_layer_s * layer,
            per_part_layer_s=prior.per_part_layer_s * part_layer,
            start_s=prior.start_s * start,
        )

    def residuals(shift: FloatArray) -> FloatArray:
        pace = at(shift)
        seen = [math.log(seconds / pace.seconds(job)) / NOISE for job, seconds in logged]
        return np.concatenate([shift / spread[active], seen])

    # Gross errors (a job that was left paused overnight) must not bend the fit: a soft loss beyond twice the scatter.
    found = least_squares(residuals, np.zeros(int(active.sum())), loss="soft_l1", f_scale=2.0)
    pace = at(found.x)
    precision = np.diag(1.0 / spread[active] ** 2)
    for job, _ in logged:
        slope = (_slopes(pace, job) / pace.seconds(job))[active] / NOISE
        precision += np.outer(slope, slope)
    covariance = np.zeros((4, 4))
    covariance[np.ix_(active, active)] = np.linalg.inv(precision)
    told = tuple(float(math.sqrt(v)) for v in np.diag(covariance))
    return FittedPace(replace(pace, spread=(told[0], told[1], told[2], told[3]), jobs=len(logged)), covariance)


def _slopes(pace: Pace, job: Job) -> FloatArray:
    """Derivatives of the seconds by the logarithms of 1/rate, per_layer, per_part_layer, start."""
    return np.array(
        [
            job.laid_mm3 / pace.rate_mm3_s,
            job.layers * pace.per_layer_s,
            job.part_layers * pace.per_part_layer_s,
            pace.start_s,
        ]
    )


@dataclass(frozen=True)
class Use:
    """Material of one job in grams, and its cost in the maker's own money; None where no price was given."""

    material_g: float
    cost: float | None


def use_of(job: Job, density_g_cm3: float, purge_g: float = 0.0, price_per_kg: float | None = None) -> Use:
    """Material laid down and purged, and what it costs."""
    grams = job.laid_mm3 * density_g_cm3 / 1000.0 + purge_g
    return Use(grams, None if price_per_kg is None else grams / 1000.0 * price_per_kg)
