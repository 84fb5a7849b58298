"""Contradictory ladders: refused on grounds that can be counted by hand, and honest ones left alone."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy import stats

from condyle.errors import InputError
from condyle.workshop.bench import starter_fits
from condyle.workshop.calibration.feel import calibrate_fit, feel_prior
from condyle.workshop.calibration.order import order_of
from condyle.workshop.calibration.ordinal import outcomes
from condyle.workshop.calibration.posterior import FeelPrior
from condyle.workshop.calibration.records import Conditions, LadderRecord
from tests.workshop.calibration.printers import simulated

STARTER = starter_fits("filament").get("ball", 6.0)
PLA = Conditions(material="pla")
X = [-0.18, -0.13, -0.08, -0.03, 0.02, 0.07, 0.12]


def ladder_record(felt: list[str]) -> LadderRecord:
    return LadderRecord(material="pla", date="2026-11-25", family="ball", size_mm=6.0, drawn_mm=X, felt=felt)  # type: ignore[arg-type]


CONTRADICTORY = (
    ["good", "will not go", "loose", "tight", "falls out", "good", "tight"],
    ["loose", "will not go", "good", "falls out", "tight", "falls out", "will not go"],
    ["good", "loose", "tight", "good", "loose", "tight", "good"],
)


@pytest.mark.parametrize("answers", CONTRADICTORY)
def test_a_ladder_whose_answers_follow_no_order_is_refused(answers: list[str]) -> None:
    """Steps of 0.05 mm, twice what two prints of one drawing differ by, yet as many pairs of joints feel one way as the other."""
    with pytest.raises(InputError) as caught:
        calibrate_fit([ladder_record(answers)], PLA, STARTER, "filament")
    assert caught.value.code == "calibration.mixed" and "contradict" in caught.value.message
    assert "wrong joints" in caught.value.message and "from joint 1" in caught.value.hint


def test_order_by_counting_every_arrangement() -> None:
    """Three joints, all six arrangements written out with another library's normal distribution: the same chances."""
    prior = FeelPrior(0.0, 0.05, (0.045, 1e-9), (0.09, 1e-9), (0.06, 1e-9), (0.025, 1e-9))
    x, classes = np.array([-0.08, 0.0, 0.1]), (3, 2, 1)  # tight, good, loose
    middles = np.linspace(-0.14, 0.16, 4001)

    def chance(which: tuple[int, ...], at: np.ndarray) -> float:
        edges = np.array([np.inf, 0.135, 0.045, -0.045, -0.105, -np.inf])
        total = np.ones(len(middles))
        for joint, k in zip(at, which, strict=True):
            upper, lower = (stats.norm.cdf((middles + edges[i] - joint) / 0.025) for i in (k, k + 1))
            total *= 0.98 * (upper - lower) + 0.02 / 5
        return float(total.mean())

    every = np.mean([chance(c, x) for c in permutations(classes)])
    right, back = 0.96 * chance(classes, x) / every, 0.02 * chance(classes, x[::-1]) / every
    found = order_of(outcomes(x, classes, 5), prior)
    whole = right + back + 0.02
    assert found.right == pytest.approx(right / whole, rel=0.01)
    assert found.reversed == pytest.approx(back / whole, rel=0.05)
    assert found.mixed == pytest.approx(0.02 / whole, rel=0.02)


def test_honest_ladders_are_seldom_called_contradictory_and_shuffled_ones_mostly() -> None:
    """60 simulated printers (printers.py), steps of 0.01 to 0.05 mm; the shares are common practice, no source."""
    rng = np.random.default_rng(7)
    prior = feel_prior(STARTER, "filament")
    for step, least in ((0.01, 0.0), (0.03, 0.4), (0.05, 0.6)):
        refused = np.zeros(2)
        for seed in range(60):
            printer = simulated(seed)
            drawn = [printer.truth + rng.normal(0.0, 0.04) + step * (k - 3) for k in range(7)]
            answers = [printer.feel(c) for c in drawn]
            for i, said in enumerate((answers, list(rng.permutation(answers)))):
                refused[i] += order_of(outcomes(drawn, said, 5), prior).right < 0.5
        assert refused[0] <= 1 and refused[1] >= least * 60, step
