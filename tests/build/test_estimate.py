"""Estimates of time: the arithmetic by hand, and what five logged jobs bring, on simulated printers of known pace."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.build.estimate import STARTER, Job, Pace, fit_pace, use_of


def test_a_job_by_hand():
    pace = Pace(5.0, 2.0, 1.0, 60.0, (0.1, 0.1, 0.1, 0.1))
    assert pace.seconds(Job(1000.0, 100, 300)) == pytest.approx(60 + 200 + 200 + 300)


def test_resin_time_depends_on_height_alone():
    pace = STARTER["resin"]
    assert pace.seconds(Job(500.0, 600, 600)) == pace.seconds(Job(50_000.0, 600, 6000))


def test_without_jobs_the_prior_stands():
    fitted = fit_pace(STARTER["filament"], [])
    assert fitted.pace.rate_mm3_s == pytest.approx(4.0)
    assert fitted.pace.spread == pytest.approx(STARTER["filament"].spread)


def simulated(rng: np.random.Generator):
    """A printer of its own pace, told by another law than the model's: heat-up, corners that slow small sections."""
    rate, layer, hop, heat = rng.uniform(2, 11), rng.uniform(1.5, 7), rng.uniform(0.6, 3.5), rng.uniform(120, 600)

    def job() -> tuple[Job, float]:
        parts = int(rng.integers(1, 12))
        heights = rng.integers(60, 400, parts)
        laid = float(np.sum(heights * rng.uniform(4, 40, parts)))
        seconds = heat + laid / rate * (1 + 0.1 * rng.random()) + heights.max() * layer + heights.sum() * hop
        return Job(laid, int(heights.max()), int(heights.sum())), float(seconds * math.exp(rng.normal(0, 0.04)))

    return job


def test_after_five_logged_jobs_the_median_error_is_at_most_15_percent():
    rng = np.random.default_rng(6)
    before, after = [], []
    for _ in range(150):
        job = simulated(rng)
        fitted = fit_pace(STARTER["filament"], [job() for _ in range(5)])
        for _ in range(4):
            asked, seconds = job()
            before.append(abs(STARTER["filament"].seconds(asked) / seconds - 1))
            after.append(abs(fitted.pace.seconds(asked) / seconds - 1))
    assert np.median(after) <= 0.15
    assert np.median(after) < 0.5 * np.median(before)


def test_nine_in_ten_jobs_lie_between_the_bounds_that_are_told():
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(200):
        job = simulated(rng)
        fitted = fit_pace(STARTER["filament"], [job() for _ in range(4)])
        asked, seconds = job()
        told = fitted.estimate(asked)
        inside.append(told.low_s <= seconds <= told.high_s)
    assert 0.84 <= np.mean(inside) <= 1.0


def test_a_job_left_paused_overnight_does_not_bend_the_fit():
    rng = np.random.default_rng(8)
    job = simulated(rng)
    honest = [job() for _ in range(8)]
    paused = [*honest, (honest[0][0], honest[0][1] + 36_000.0)]
    asked, _ = job()
    assert fit_pace(STARTER["filament"], paused).pace.seconds(asked) == pytest.approx(
        fit_pace(STARTER["filament"], honest).pace.seconds(asked), rel=0.12
    )


@pytest.mark.parametrize("seconds", [0.0, -5.0, math.nan, math.inf])
def test_times_that_cannot_be_are_refused(seconds):
    with pytest.raises(ValueError):
        fit_pace(STARTER["filament"], [(Job(1.0, 1, 1), seconds)])


def test_material_and_cost():
    used = use_of(Job(10_000.0, 1, 1), 1.24, purge_g=0.6, price_per_kg=20.0)
    assert used.material_g == pytest.approx(13.0)
    assert used.cost == pytest.approx(0.26)
    assert use_of(Job(10_000.0, 1, 1), 1.24).cost is None
