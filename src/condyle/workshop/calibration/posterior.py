"""What is known of a joint's fit after its coupons: Bayes' rule on a grid, without chance.

The five classes of feel have the parameters m (drawn clearance in the middle of "good"), half the width of "good", the widths
of "loose" and "tight", and the scatter s of single prints. The likelihood falls apart: specimens that felt loose speak
of one outer width only, tight ones of the other, so each outer width is summed out for itself and the grid stays small.
It is laid twice: over the prior, then over what the first pass has left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.workshop.calibration.ordinal import Link, Outcomes, between

FALLS_OUT, LOOSE, GOOD, TIGHT, WILL_NOT_GO = range(5)
CLASSES = 5

LAPSE = 0.02
"""How often a feel is noted that has nothing to do with the fit (a slip of the pen, a blob, a bad layer). Our choice."""

FAR_SHARE, FAR_TIMES = 0.15, 4.0
"""The prior of m has wide shoulders: this share of it is this many times as wide, so that a printer far from the usual
is believed after a few specimens."""

_COARSE, _FINE = (101, 7), (61, 9)  # nodes along m, and along each of the others
_PRIOR_SDS, _POSTERIOR_SDS = 2.6, 3.6


@dataclass(frozen=True)
class FeelPrior:
    """What is believed before any coupon: m (mean and sd, mm), and the others as log-normal (median mm, sd of the log)."""

    middle_mm: float
    middle_sd_mm: float
    half_good_mm: tuple[float, float]
    loose_mm: tuple[float, float]
    tight_mm: tuple[float, float]
    scatter_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Posterior:
    """Marginal of m on nodes (mm), and mean and sd of (m, log half good, log loose, log tight, log s).

    weights   (M, G, S): joint weights of m, log half good and log s, summing to 1; nodes in ``grids``
    """

    grids: tuple[FloatArray, FloatArray, FloatArray]
    weights: FloatArray
    mean: FloatArray
    sd: FloatArray

    @property
    def middle_mm(self) -> float:
        """Posterior mean of m."""
        return float(self.mean[0])

    @property
    def middle_sd_mm(self) -> float:
        return float(self.sd[0])

    def quantile_mm(self, share: float) -> float:
        """The drawn clearance below which m lies with this probability."""
        nodes, mass = self.grids[0], self.weights.sum(axis=(1, 2))
        edges = np.concatenate([[1.5 * nodes[0] - 0.5 * nodes[1]], 0.5 * (nodes[1:] + nodes[:-1]),
                                [1.5 * nodes[-1] - 0.5 * nodes[-2]]])  # fmt: skip
        return float(np.interp(share, np.concatenate([[0.0], np.cumsum(mass)]), edges))

    def interval_mm(self, share: float = 0.9) -> tuple[float, float]:
        """The central credible interval of m."""
        return self.quantile_mm(0.5 - share / 2), self.quantile_mm(0.5 + share / 2)


def posterior(data: Outcomes, prior: FeelPrior, *, link: Link = "probit", lapse: float = LAPSE) -> Posterior:
    """The posterior of a ladder of five classes; with no specimens it is the prior itself."""
    centres = np.array([prior.middle_mm, *(math.log(p[0]) for p in _widths(prior))])
    spreads = np.array([prior.middle_sd_mm, *(p[1] for p in _widths(prior))])
    low, high = centres - _PRIOR_SDS * spreads, centres + _PRIOR_SDS * spreads
    far = FAR_TIMES * _PRIOR_SDS * prior.middle_sd_mm
    low[0], high[0] = prior.middle_mm - far, prior.middle_mm + far
    if len(data):
        low[0] = min(low[0], float(data.x.min()) - 2.0 * prior.middle_sd_mm)
        high[0] = max(high[0], float(data.x.max()) + 2.0 * prior.middle_sd_mm)
    first = _on_grid(data, prior, low, high, _COARSE, link, lapse)
    reach = _POSTERIOR_SDS * first.sd
    reach[0] += (high[0] - low[0]) / _COARSE[0]  # a coarse grid may have jumped over a narrow peak
    narrow_low, narrow_high = np.maximum(low, first.mean - reach), np.minimum(high, first.mean + reach)
    return _on_grid(data, prior, narrow_low, narrow_high, _FINE, link, lapse)


def _widths(prior: FeelPrior) -> tuple[tuple[float, float], ...]:
    return prior.half_good_mm, prior.loose_mm, prior.tight_mm, prior.scatter_mm


def _on_grid(
    data: Outcomes,
    prior: FeelPrior,
    low: FloatArray,
    high: FloatArray,
    nodes: tuple[int, int],
    link: Link,
    lapse: float,
) -> Posterior:
    """Bayes on one grid; parameters in the order m, log half good, log loose, log tight, log s."""
    m = np.linspace(low[0], high[0], nodes[0])
    g, lo, ti, s = (np.linspace(low[i], high[i], nodes[1]) for i in range(1, 5))
    log_g, log_lo, log_ti, log_s = (
        -0.5 * ((grid - math.log(p[0])) / p[1]) ** 2 for grid, p in zip((g, lo, ti, s), _widths(prior), strict=True)
    )
    # Axes: m, g, s, and last the outer width that a specimen speaks of.
    middle = (_log_prior_of_middle(m, prior)[:, None, None] + log_g[:, None] + log_s)[..., None]
    whole = (*middle.shape[:3], nodes[1])
    outer = {LOOSE: np.broadcast_to(log_lo, whole).copy(), TIGHT: np.broadcast_to(log_ti, whole).copy()}
    half, scatter = np.exp(g)[:, None, None], np.exp(s)[:, None]
    for (x, a, b), weight in _grouped(data).items():
        off = (m - x)[:, None, None, None]
        edge = {
            FALLS_OUT: np.full((1,) * 4, np.inf),
            LOOSE: (off + half + np.exp(lo)) / scatter,
            GOOD: (off + half) / scatter,
            TIGHT: (off - half) / scatter,
            WILL_NOT_GO: (off - half - np.exp(ti)) / scatter,
            CLASSES: np.full((1,) * 4, -np.inf),
        }
        chance = between(edge[b + 1], edge[a], link)
        value = weight * np.log((1.0 - lapse) * chance + lapse * (b - a + 1) / CLASSES + 1e-300)
        if LOOSE in (a, b + 1):
            outer[LOOSE] += value
        elif WILL_NOT_GO in (a, b + 1):
            outer[TIGHT] += value
        else:
            middle = middle + value
    log_loose, *of_loose = _summed_out(outer[LOOSE], lo)
    log_tight, *of_tight = _summed_out(outer[TIGHT], ti)
    log_weights = middle[..., 0] + log_loose + log_tight
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    own = [(m[:, None, None], m[:, None, None] ** 2), (g[:, None], g[:, None] ** 2), of_loose, of_tight, (s, s**2)]
    first, second = np.array([[float((weights * v).sum()) for v in pair] for pair in own]).T
    return Posterior((m, g, s), weights, first, np.sqrt(np.maximum(second - first**2, 1e-18)))


def _summed_out(log_values: FloatArray, grid: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """log of the sum over the last axis, and the mean and mean square of its parameter there."""
    top = log_values.max(axis=-1, keepdims=True)
    values = np.exp(log_values - top)
    total = values.sum(axis=-1)
    return np.log(total) + top[..., 0], (values @ grid) / total, (values @ grid**2) / total


def _log_prior_of_middle(m: FloatArray, prior: FeelPrior) -> FloatArray:
    z = (m - prior.middle_mm) / prior.middle_sd_mm
    near, far = np.exp(-0.5 * z**2), np.exp(-0.5 * (z / FAR_TIMES) ** 2) / FAR_TIMES
    return np.asarray(np.log((1.0 - FAR_SHARE) * near + FAR_SHARE * far + 1e-300))


def _grouped(data: Outcomes) -> dict[tuple[float, int, int], float]:
    """Equal specimens once, with their number."""
    groups: dict[tuple[float, int, int], float] = {}
    for x, a, b, weight in zip(
        data.x.tolist(), data.low.tolist(), data.high.tolist(), data.weight.tolist(), strict=True
    ):
        groups[(x, a, b)] = groups.get((x, a, b), 0.0) + weight
    return groups
