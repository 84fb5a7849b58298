"""Ordered outcomes along one measure: the fitting core of the calibration.

A specimen drawn at ``x`` comes out in one of K ordered classes, 0 the first to appear at large x. For a joint: falls
out, loose, good, tight, will not go, as the drawn clearance gets smaller. P(class ≥ k | x) = F((a_k − x)/s), with cuts
a_1 > a_2 > … and F the normal (probit) or the logistic (proportional odds) distribution: McCullagh, J. R. Statist. Soc. B 42
(1980) 109–142, from memory. With K = 2 this is plain logistic or probit regression with intercept a/s and slope −1/s.

The parameters θ are the middle m of the wanted class (or the only cut), the logarithms of the gaps between cuts, and
log s; so every θ is a valid model, and falling response with x is built in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import expit, log_ndtr, ndtr

from condyle.errors import InputError
from condyle.geometry.mesh import FloatArray, IntArray

Link = Literal["logit", "probit"]

_MOST_STEPS = 200
_SMALLEST = 1e-300


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What n specimens came out as: drawn at x (n,), in a class from ``low`` to ``high`` (n,), ``weight`` times (n,).

    low < high where only a range is known: a joint that broke was tight or would not go.
    """

    x: FloatArray
    low: IntArray
    high: IntArray
    weight: FloatArray
    classes: int

    def __len__(self) -> int:
        return len(self.x)


def outcomes(
    x: Sequence[float] | FloatArray,
    low: Sequence[int] | IntArray,
    classes: int,
    *,
    high: Sequence[int] | IntArray | None = None,
    weight: Sequence[float] | FloatArray | None = None,
) -> Outcomes:
    """Outcomes from plain sequences; ``high`` is ``low`` and each weighs 1 unless given."""
    at = np.asarray(x, dtype=np.float64)
    first = np.asarray(low, dtype=np.int32)
    last = first if high is None else np.asarray(high, dtype=np.int32)
    times = np.ones(len(at)) if weight is None else np.asarray(weight, dtype=np.float64)
    good = len(at) == len(first) == len(last) == len(times) and np.isfinite(at).all() and (times >= 0).all()
    if not good or classes < 2 or (first < 0).any() or (last < first).any() or (last >= classes).any():
        raise InputError("calibration.outcomes", "outcomes need a finite measure and a class within range each")
    return Outcomes(at, first, last, times, classes)


@dataclass(frozen=True, eq=False)
class Prior:
    """Independent normal distributions of θ: means and standard deviations (p,)."""

    mean: FloatArray
    sd: FloatArray


@dataclass(frozen=True, eq=False)
class Fitted:
    """The largest likelihood (or, with a prior, posterior density), its curvature, and the classic coefficients.

    theta, covariance   (p,), (p, p): inverse of the negative Hessian at the mode
    separated           no finite answer exists without a prior: the classes part without overlap; the numbers are NaN
    """

    theta: FloatArray
    covariance: FloatArray
    log_likelihood: float
    cuts: FloatArray
    scale: float
    separated: bool

    @property
    def intercepts(self) -> FloatArray:
        """a_k / s, one for each cut."""
        return np.asarray(self.cuts / self.scale)

    @property
    def slope(self) -> float:
        """−1/s."""
        return -1.0 / self.scale

    @property
    def standard_errors(self) -> FloatArray:
        """Of the intercept and the slope of a model with one cut, by the exact change of variables (2,)."""
        m, s = float(self.cuts[0]), self.scale
        jacobian = np.array([[1.0 / s, -m / s], [0.0, 1.0 / s]])
        return np.sqrt(np.diag(jacobian @ self.covariance @ jacobian.T))


def gap_layout(classes: int, wanted: int | None) -> FloatArray:
    """How the cuts (K − 1 rows) follow from m and the gaps (K − 2 columns): a = m + layout · gaps.

    Gap 0 is half the wanted class, so m is its middle; the others are the whole widths of the classes outward. With two
    classes there is one cut and no gap.
    """
    cuts = classes - 1
    layout = np.zeros((cuts, cuts - 1))
    if cuts == 1:
        return layout
    upper = (wanted or 1) - 1  # row of the cut above the wanted class; the one below it is the next row
    layout[: upper + 1, 0], layout[upper + 1 :, 0] = 1.0, -1.0
    column = 1
    for row in range(upper - 1, -1, -1):
        layout[: row + 1, column] = 1.0
        column += 1
    for row in range(upper + 2, cuts):
        layout[row:, column] = -1.0
        column += 1
    return layout


def is_separated(data: Outcomes) -> bool:
    """Whether every cut parts the specimens without overlap, so that the likelihood grows for ever as s goes to 0."""
    seen = data.weight > 0
    for k in range(1, data.classes):
        tighter, looser = data.x[seen & (data.low >= k)], data.x[seen & (data.high < k)]
        if len(tighter) and len(looser) and tighter.max() > looser.min():
            return False
    return True


def empty_cuts(data: Outcomes) -> list[int]:
    """Cuts that no specimen speaks of from both sides: their place is not in the data."""
    seen = data.weight > 0
    return [
        k for k in range(1, data.classes) if not ((seen & (data.low >= k)).any() and (seen & (data.high < k)).any())
    ]


def fit(data: Outcomes, *, link: Link = "probit", wanted: int | None = None, prior: Prior | None = None) -> Fitted:
    """The mode by Newton's method with halved steps; ``prior`` None is plain maximum likelihood.

    Without a prior, separated data and classes that never occurred have no finite answer: ``separated`` says so.
    Raises InputError ``calibration.flat`` when the data show no fall with x at all (a mode would need an infinite s).
    """
    layout = gap_layout(data.classes, wanted)
    if prior is None and (is_separated(data) or empty_cuts(data)):
        nothing = np.full(layout.shape[1] + 2, np.nan)
        return Fitted(nothing, np.full((len(nothing),) * 2, np.nan), 0.0, nothing[:-1], math.nan, True)
    theta = _start(data, layout) if prior is None else np.array(prior.mean, dtype=np.float64)
    best, gradient, hessian = _derivatives(data, theta, layout, link, prior)
    for _ in range(_MOST_STEPS):
        step = _uphill(hessian, gradient)
        share = 1.0
        while share > 1e-10:
            trial = theta + share * step
            value, new_gradient, new_hessian = _derivatives(data, trial, layout, link, prior)
            if value >= best - 1e-13 * abs(best):
                break
            share *= 0.5
        else:
            break
        done = float(np.abs(trial - theta).max()) < 1e-12 * (1.0 + float(np.abs(theta).max()))
        theta, best, gradient, hessian = trial, value, new_gradient, new_hessian
        if done:
            break
    if theta[-1] > math.log(50.0 * (float(np.ptp(data.x)) + 1e-9)) and prior is None:
        raise InputError("calibration.flat", "the outcomes do not fall with the measure: nothing can be fitted")
    covariance = np.asarray(np.linalg.inv(-hessian), dtype=np.float64)
    cuts = theta[0] + layout @ np.exp(theta[1:-1])
    likelihood = _derivatives(data, theta, layout, link, None)[0]
    return Fitted(theta, covariance, likelihood, cuts, math.exp(theta[-1]), False)


def class_probability(
    x: FloatArray, low: IntArray, high: IntArray, cuts: FloatArray, scale: float, link: Link = "probit"
) -> FloatArray:
    """P(low ≤ class ≤ high) of specimens drawn at x (n,), by the model's own cuts (K − 1,) and scale."""
    padded = np.concatenate([[math.inf], np.asarray(cuts, dtype=np.float64), [-math.inf]])
    upper, lower = (padded[low] - x) / scale, (padded[high + 1] - x) / scale
    return between(lower, upper, link)


def between(lower: FloatArray, upper: FloatArray, link: Link) -> FloatArray:
    """F(upper) − F(lower) for lower ≤ upper, from the tail in which the digits are."""
    flip = lower + upper > 0
    a, b = np.where(flip, -upper, lower), np.where(flip, -lower, upper)
    cdf = ndtr if link == "probit" else expit
    return np.asarray(np.maximum(cdf(b) - cdf(a), 0.0), dtype=np.float64)


def _start(data: Outcomes, layout: FloatArray) -> FloatArray:
    spread = max(float(np.std(data.x)), 1e-6)
    middle = 0.5 * (data.classes - 1)
    near = np.abs(0.5 * (data.low + data.high) - middle) <= 0.5 if data.classes > 2 else np.ones(len(data), bool)
    m = float(np.average(data.x[near] if near.any() else data.x))
    return np.array([m, *[math.log(0.5 * spread)] * layout.shape[1], math.log(spread)])


def _density(z: FloatArray, link: Link) -> tuple[FloatArray, FloatArray]:
    """f(z) and f'(z); both 0 at infinity."""
    z = np.clip(z, -700.0, 700.0)
    if link == "probit":
        f = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
        return f, -z * f
    p = expit(z)
    f = p * (1.0 - p)
    return f, f * (1.0 - 2.0 * p)


def _derivatives(
    data: Outcomes, theta: FloatArray, layout: FloatArray, link: Link, prior: Prior | None
) -> tuple[float, FloatArray, FloatArray]:
    """Log likelihood (plus log prior, constants left out) with gradient (p,) and Hessian (p, p) in θ."""
    p = len(theta)
    gaps, scale = np.exp(np.clip(theta[1:-1], -300.0, 300.0)), math.exp(min(max(float(theta[-1]), -300.0), 300.0))
    cuts = theta[0] + layout @ gaps
    slopes = np.concatenate([np.ones((len(cuts), 1)), layout * gaps], axis=1)  # ∂a/∂(m, log gaps)
    value, gradient, hessian = 0.0, np.zeros(p), np.zeros((p, p))
    for x, low, high, weight in zip(data.x, data.low, data.high, data.weight, strict=True):
        if weight == 0.0:
            continue
        upper = math.inf if low == 0 else (cuts[low - 1] - x) / scale
        lower = -math.inf if high == data.classes - 1 else (cuts[high] - x) / scale
        chance = float(between(np.array(lower), np.array(upper), link))
        value += weight * (_log_tail(lower, upper, link) if chance < 1e-280 else math.log(chance))
        g, h = np.zeros(p), np.zeros((p, p))
        for z, sign, row in ((upper, 1.0, low - 1), (lower, -1.0, high)):
            if not math.isfinite(z):
                continue
            f, f1 = (float(v) for v in _density(np.array(z), link))
            dz = np.append(slopes[row] / scale, -z)
            ddz = np.zeros((p, p))
            ddz[range(1, p - 1), range(1, p - 1)] = slopes[row, 1:] / scale
            ddz[-1, :-1] = ddz[:-1, -1] = -slopes[row] / scale
            ddz[-1, -1] = z
            g += sign * f * dz
            h += sign * (f1 * np.outer(dz, dz) + f * ddz)
        share = max(chance, _SMALLEST)
        steep = g / share
        gradient += weight * steep
        hessian += weight * (h / share - np.outer(steep, steep))
    if prior is not None:
        off = (theta - prior.mean) / prior.sd
        value -= 0.5 * float(off @ off)
        gradient -= off / prior.sd
        hessian -= np.diag(1.0 / prior.sd**2)
    return value, gradient, hessian


def _log_tail(lower: float, upper: float, link: Link) -> float:
    """log of a chance too small for a float: the nearer tail alone, which is all that is left of it."""
    z = upper if upper < 0 else -lower
    return float(log_ndtr(z)) if link == "probit" else float(-np.logaddexp(0.0, -z))


def _uphill(hessian: FloatArray, gradient: FloatArray) -> FloatArray:
    """Newton's step, with curvature of the wrong sign turned round so that the step always climbs."""
    values, vectors = np.linalg.eigh(-hessian)
    values = np.maximum(np.abs(values), 1e-12)
    step = vectors @ ((vectors.T @ gradient) / values)
    return np.asarray(step / max(1.0, 0.2 * float(np.abs(step).max())))
