"""The fitting core with the prior switched off, against published logistic regressions, and its way with awkward data."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from condyle.errors import InputError
from condyle.workshop.calibration.ordinal import (
    Prior,
    class_probability,
    fit,
    gap_layout,
    is_separated,
    outcomes,
)
from tests.published import Published

# (a) 24 launches, Montgomery's text (printed b0 10.875, SE 5.703, b1 −0.17132, SE 0.08344, log-likelihood −11.515).
A_X = [53, 56, 57, 63, 66, 67, 67, 67, 68, 69, 70, 70, 70, 70, 72, 73, 75, 75, 76, 76, 78, 79, 80, 81]
A_Y = [1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0]
# (b) 24 flights as printed at thoughtfulexaminations.com, p=17452: 15.2968 (7.3286), −0.2360 (0.1074), deviance 20.371.
B = [(66, 0), (70, 1), (69, 0), (80, 0), (68, 0), (67, 0), (72, 0), (73, 0), (70, 0), (57, 1), (63, 1), (70, 1), (78, 0),
     (67, 0), (53, 1), (67, 0), (75, 0), (70, 0), (81, 0), (76, 0), (79, 0), (75, 1), (76, 0), (58, 1)]  # fmt: skip
# (d) people.hsc.edu, challenger.html: damaged rings out of six; OpenIntro Statistics prints 11.6630 and −0.2162 (from memory).
D_X = [53, 57, 58, 63, 66, 67, 67, 67, 68, 69, 70, 70, 70, 70, 72, 73, 75, 75, 76, 76, 78, 79, 81]
D_HIT = [5, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0]


def test_example_a_to_the_printed_digits(published: Published) -> None:
    found = fit(outcomes(A_X, A_Y, 2), link="logit")
    source = "Montgomery's text, as printed"
    first, second = found.standard_errors
    published("24 launches: intercept", found.intercepts[0], 10.875, tolerance=5e-4, source=source)
    published("24 launches: standard error of the intercept", first, 5.703, tolerance=5e-4, source=source)
    assert round(found.slope, 5) == -0.17132
    published("24 launches: standard error of the slope", second, 0.08344, tolerance=5e-6, source=source)
    published("24 launches: logarithm of the likelihood", found.log_likelihood, -11.515, tolerance=5e-4, source=source)
    # Recomputed beside the printed ones: the middle, 63.480.
    assert float(found.cuts[0]) == pytest.approx(63.480, abs=5e-4)


def test_examples_b_and_c_to_the_printed_digits(published: Published) -> None:
    b = fit(outcomes([t for t, _ in B], [y for _, y in B], 2), link="logit")
    source = "thoughtfulexaminations.com, p=17452"
    first, second = b.standard_errors
    published("24 flights: intercept", b.intercepts[0], 15.2968, tolerance=5e-5, source=source)
    published("24 flights: standard error of the intercept", first, 7.3286, tolerance=5e-5, source=source)
    published("24 flights: slope", b.slope, -0.2360, tolerance=5e-5, source=source)
    published("24 flights: standard error of the slope", second, 0.1074, tolerance=5e-5, source=source)
    published("24 flights: deviance", -2 * b.log_likelihood, 20.371, tolerance=5e-4, source=source)
    # (c) byui-kctolli.netlify.app, challengerlogisticreg: the same without the flight at 80: 15.0429 (7.3786), −0.2322 (0.1082).
    rows = [(t, y) for t, y in B if t != 80]
    c = fit(outcomes([t for t, _ in rows], [y for _, y in rows], 2), link="logit")
    source = "byui-kctolli.netlify.app, a logistic regression of 23 flights"
    first, second = c.standard_errors
    published("23 flights: intercept", c.intercepts[0], 15.0429, tolerance=5e-5, source=source)
    published("23 flights: standard error of the intercept", first, 7.3786, tolerance=5e-5, source=source)
    published("23 flights: slope", c.slope, -0.2322, tolerance=5e-5, source=source)
    published("23 flights: standard error of the slope", second, 0.1082, tolerance=5e-5, source=source)
    at_31 = class_probability(np.array([31.0]), np.array([1]), np.array([1]), c.cuts, c.scale, "logit")
    published("23 flights: chance at 31 °F", float(at_31[0]), 0.99961, tolerance=5e-6, source=source)


def test_example_d_with_six_rings_a_flight(published: Published) -> None:
    x, hit = np.array(D_X, float), np.array(D_HIT, float)
    data = outcomes(np.concatenate([x, x]), [1] * 23 + [0] * 23, 2, weight=np.concatenate([hit, 6 - hit]))
    found = fit(data, link="logit")
    source = "OpenIntro Statistics (from memory)"
    published("six rings a flight: intercept", found.intercepts[0], 11.6630, tolerance=5e-5, source=source)
    published("six rings a flight: slope", found.slope, -0.2162, tolerance=5e-5, source=source)
    assert found.standard_errors == pytest.approx([3.29626, 0.053177], abs=2e-5)


@pytest.mark.parametrize("link", ["probit", "logit"])
def test_five_classes_against_a_general_optimiser(link: str) -> None:
    """The same likelihood written out anew and climbed by another method (Nelder–Mead of scipy)."""
    rng = np.random.default_rng(3)
    x = rng.uniform(-0.2, 0.2, 80)
    edges = np.array([0.12, 0.05, -0.03, -0.10])
    y = ((x + rng.normal(0, 0.04, 80))[:, None] < edges).sum(axis=1)
    found = fit(outcomes(x, y, 5), link=link, wanted=2)  # type: ignore[arg-type]
    cdf = stats.norm.cdf if link == "probit" else stats.logistic.cdf

    def loss(p: np.ndarray) -> float:
        cuts = np.concatenate([[np.inf], p[0] - np.cumsum([0, *np.exp(p[1:4])]), [-np.inf]])
        z = (cuts[None, :] - x[:, None]) / math.exp(p[4])
        chance = cdf(z[np.arange(80), y]) - cdf(z[np.arange(80), y + 1])
        return float(-np.log(np.maximum(chance, 1e-300)).sum())

    start = np.array([0.1, *np.log([0.06, 0.06, 0.06]), math.log(0.04)])
    other = optimize.minimize(
        loss, start, method="Nelder-Mead", options={"maxiter": 8000, "xatol": 1e-9, "fatol": 1e-11}
    )
    assert found.log_likelihood == pytest.approx(-other.fun, abs=1e-5)
    assert np.asarray(found.cuts) == pytest.approx(other.x[0] - np.cumsum([0, *np.exp(other.x[1:4])]), abs=2e-4)


def test_curvature_against_differences_of_the_likelihood() -> None:
    """Covariance of the mode: the inverse of second differences of a likelihood that the test computes itself."""
    rng = np.random.default_rng(8)
    x = rng.uniform(-0.2, 0.2, 60)
    y = ((x + rng.normal(0, 0.05, 60))[:, None] < np.array([0.1, 0.04, -0.04, -0.1])).sum(axis=1)
    found = fit(outcomes(x, y, 5), wanted=2)
    layout = gap_layout(5, 2)

    def loglik(t: np.ndarray) -> float:
        cuts = np.concatenate([[np.inf], t[0] + layout @ np.exp(t[1:4]), [-np.inf]])
        z = (cuts[None, :] - x[:, None]) / math.exp(t[4])
        return float(np.log(stats.norm.cdf(z[np.arange(60), y]) - stats.norm.cdf(z[np.arange(60), y + 1])).sum())

    h, t0 = 1e-4, found.theta
    hessian = np.empty((5, 5))
    for i in range(5):
        for j in range(5):
            a, b = np.eye(5)[i] * h, np.eye(5)[j] * h
            hessian[i, j] = (loglik(t0 + a + b) - loglik(t0 + a - b) - loglik(t0 - a + b) + loglik(t0 - a - b)) / (
                4 * h * h
            )
    assert found.covariance == pytest.approx(np.linalg.inv(-hessian), rel=2e-3, abs=1e-7)


def test_perfect_separation_is_told_and_a_prior_mends_it() -> None:
    """Newton diverges on separated data (Albert and Anderson, Biometrika 71 (1984) 1–10, from memory)."""
    x, y = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [1, 1, 1, 0, 0, 0]
    assert is_separated(outcomes(x, y, 2))
    assert not is_separated(outcomes(A_X, A_Y, 2))
    bare = fit(outcomes(x, y, 2), link="logit")
    assert bare.separated and math.isnan(bare.scale)
    mended = fit(outcomes(x, y, 2), link="logit", prior=Prior(np.array([2.0, 0.0]), np.array([3.0, 1.0])))
    assert not mended.separated and 3.0 < float(mended.cuts[0]) < 4.0 and 0 < mended.scale < 1.0


def test_rising_outcomes_have_no_fit_without_a_prior() -> None:
    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0, 1, 60))
    y = (x + rng.normal(0, 0.3, 60) > 0.5).astype(int)  # the wrong way round
    with pytest.raises(InputError) as caught:
        fit(outcomes(x, y, 2), link="logit")
    assert caught.value.code == "calibration.flat"


def test_spoilt_outcomes_are_refused() -> None:
    for call in (
        lambda: outcomes([0.0, math.nan], [0, 1], 2),
        lambda: outcomes([0.0], [0, 1], 2),
        lambda: outcomes([0.0], [2], 2),
        lambda: outcomes([0.0], [3], 5, high=[2]),
    ):
        with pytest.raises(InputError):
            call()
