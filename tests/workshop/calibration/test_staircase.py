"""Dixon and Mood's estimator and Levitt's targets, as second estimators beside the model."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.errors import UsageError
from condyle.workshop.calibration.ordinal import Prior, fit, outcomes
from condyle.workshop.calibration.staircase import dixon_mood, levitt_target
from tests.published import Published


def test_dixon_mood_on_counts_worked_by_hand() -> None:
    # Dixon and Mood, J. Am. Stat. Assoc. 43 (1948) 109–126 (formula from memory); the sums worked out by hand.
    misses = dixon_mood((2, 6, 3), 0.20, 0.05, responses=False)
    assert misses.mean == pytest.approx(0.27955, abs=5e-6)
    assert misses.statistic == pytest.approx(0.44628, abs=5e-6)
    assert misses.sd == pytest.approx(0.03850, abs=5e-6)
    hits = dixon_mood((1, 4, 4, 1), 0.20, 0.05, responses=True)
    assert (hits.mean, hits.statistic, hits.sd) == pytest.approx((0.2500, 0.65, 0.05500), abs=5e-6)


def test_a_narrow_run_falls_back() -> None:
    # ISO 12107 takes about 0.53 d where the statistic is under 0.3 (reported by an implementation, not read).
    found = dixon_mood((0, 5, 0), 0.0, 0.1, responses=True)
    assert found.statistic == 0.0 and found.sd == pytest.approx(0.053)


def test_levitt(published: Published) -> None:
    # Levitt, J. Acoust. Soc. Am. 49 (1971) 467: 0.7071, 0.7937, 0.8409.
    assert levitt_target(1) == 0.5
    for alike, share in ((2, 0.7071), (3, 0.7937), (4, 0.8409)):
        what = f"share that a staircase of {alike} alike settles at"
        source = "Levitt, J. Acoust. Soc. Am. 49 (1971) 467"
        published(what, levitt_target(alike), share, tolerance=5e-5, source=source)


def test_the_model_agrees_with_dixon_mood_on_a_staircase() -> None:
    """One staircase of 400 trials by a plain rule: both middles lie within three standard errors of the truth."""
    rng = np.random.default_rng(11)
    true, sd, step, level = 0.30, 0.05, 0.05, 0.30
    xs, ys = [], []
    for _ in range(400):
        loose = rng.normal(true, sd) < level
        xs.append(level)
        ys.append(0 if loose else 1)
        level += -step if loose else step
    counted = 0 if ys.count(0) <= ys.count(1) else 1
    levels = sorted({round(x, 6) for x in xs})
    counts = [sum(1 for x, y in zip(xs, ys, strict=True) if round(x, 6) == lv and y == counted) for lv in levels]
    second = dixon_mood(counts, levels[0], step, responses=counted == 0)
    model = fit(outcomes(xs, ys, 2), prior=Prior(np.array([0.3, math.log(0.05)]), np.array([1.0, 1.0])))
    error = sd * 1.6 / math.sqrt(200)
    assert second.mean == pytest.approx(true, abs=3 * error)
    assert float(model.cuts[0]) == pytest.approx(true, abs=3 * error)
    assert float(model.cuts[0]) == pytest.approx(second.mean, abs=2 * error)


@pytest.mark.parametrize(("counts", "step"), [((), 0.1), ((0, 0), 0.1), ((1, -1), 0.1), ((1, 2), 0.0)])
def test_counts_that_cannot_be(counts: tuple[int, ...], step: float) -> None:
    with pytest.raises(UsageError):
        dixon_mood(counts, 0.0, step, responses=True)
