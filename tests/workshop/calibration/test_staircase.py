"""The model's middle beside a second estimator's: Dixon and Mood's mean of an up-and-down run."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from condyle.workshop.calibration.ordinal import Prior, fit, outcomes


def dixon_mood(counts: Sequence[int], lowest: float, step: float, *, responses: bool) -> float:
    """The middle from counts n_i of the rarer outcome at lowest + i·step: x0 + d (Σ i n / Σ n ± ½).

    Minus where the counted outcome is the response. Dixon and Mood, J. Am. Stat. Assoc. 43 (1948) 109–126 (formula from
    memory).
    """
    total = sum(i * c for i, c in enumerate(counts))
    return lowest + step * (total / sum(counts) + (-0.5 if responses else 0.5))


def test_dixon_mood_on_counts_worked_by_hand() -> None:
    # Dixon and Mood, J. Am. Stat. Assoc. 43 (1948) 109–126 (formula from memory); the sums worked out by hand.
    assert dixon_mood((2, 6, 3), 0.20, 0.05, responses=False) == pytest.approx(0.27955, abs=5e-6)
    assert dixon_mood((1, 4, 4, 1), 0.20, 0.05, responses=True) == pytest.approx(0.2500, abs=5e-6)


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
    assert second == pytest.approx(true, abs=3 * error)
    assert float(model.cuts[0]) == pytest.approx(true, abs=3 * error)
    assert float(model.cuts[0]) == pytest.approx(second, abs=2 * error)
