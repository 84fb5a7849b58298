"""The posterior of a fit: against an independent integration, and the properties that Bayes' rule must give it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from condyle.errors import InputError
from condyle.workshop.calibration.feel import calibrate_fit, feel_prior
from condyle.workshop.calibration.ordinal import outcomes
from condyle.workshop.calibration.posterior import LAPSE, FeelPrior, posterior
from condyle.workshop.calibration.propose import information, ladder, propose
from condyle.workshop.calibration.records import Conditions, LadderRecord
from condyle.workshop.fits import Fit

PRIOR = FeelPrior(-0.03, 0.05, (0.045, 0.4), (0.09, 0.6), (0.06, 0.6), (0.025, 0.45))
X = [-0.15, -0.11, -0.07, -0.03, 0.01, 0.05, 0.09]
STARTER = Fit(-0.03, -0.112, 0.052, 0, "prior: starter", 0.05)
PLA = Conditions(material="pla")


def ladder_record(felt: list[str], drawn: list[float] | None = None, **changes: object) -> LadderRecord:
    base = {"material": "pla", "date": "2026-11-25", "family": "ball", "size_mm": 6.0}
    return LadderRecord(**(base | {"drawn_mm": drawn or X[: len(felt)], "felt": felt} | changes))  # type: ignore[arg-type]


def by_weighted_draws(y: list[int], n: int = 400_000) -> tuple[float, float]:
    """Mean and sd of m by weighting draws of the prior with the likelihood: no grid, no shared code."""
    rng = np.random.default_rng(5)
    far = rng.random(n) < 0.15
    m = rng.normal(-0.03, np.where(far, 4 * 0.05, 0.05))
    half, loose, tight, s = (
        np.exp(rng.normal(math.log(a), b, n)) for a, b in ((0.045, 0.4), (0.09, 0.6), (0.06, 0.6), (0.025, 0.45))
    )
    edges = [np.full(n, np.inf), m + half + loose, m + half, m - half, m - half - tight, np.full(n, -np.inf)]
    weight = np.ones(n)
    for x, k in zip(X, y, strict=True):
        weight *= (1 - LAPSE) * (norm.cdf((edges[k] - x) / s) - norm.cdf((edges[k + 1] - x) / s)) + LAPSE / 5
    mean = float((weight * m).sum() / weight.sum())
    return mean, math.sqrt(float((weight * (m - mean) ** 2).sum() / weight.sum()))


@pytest.mark.parametrize(
    "y", [[4, 3, 3, 2, 2, 1, 0], [4, 4, 4, 4, 3, 2, 2], [1, 0, 0, 0, 0, 0, 0], [3, 4, 2, 3, 1, 2, 0]]
)
def test_grid_against_weighted_draws(y: list[int]) -> None:
    found = posterior(outcomes(X, y, 5), PRIOR)
    mean, sd = by_weighted_draws(y)
    assert found.middle_mm == pytest.approx(mean, abs=0.06 * sd)
    assert found.middle_sd_mm == pytest.approx(sd, rel=0.06)


def test_prior_pulls_less_as_data_grow() -> None:
    pulls = []
    for times in (1, 3, 10):
        x, y = X * times, [4, 3, 3, 2, 2, 1, 0] * times
        here = [posterior(outcomes(x, y, 5), FeelPrior(m, 0.05, *_rest())).middle_mm for m in (-0.10, 0.04)]
        pulls.append(here[1] - here[0])
    assert pulls[0] > pulls[1] > pulls[2] > -1e-4
    assert pulls[2] < 0.35 * pulls[0] < 0.35 * 0.14


def _rest() -> tuple[tuple[float, float], ...]:
    return PRIOR.half_good_mm, PRIOR.loose_mm, PRIOR.tight_mm, PRIOR.scatter_mm


def test_without_data_the_prior_comes_back_and_with_data_the_interval_shrinks() -> None:
    nothing = posterior(outcomes([], [], 5), PRIOR)
    assert nothing.middle_mm == pytest.approx(-0.03, abs=1e-4)
    widths = [
        np.diff(posterior(outcomes(X[:n], [4, 3, 3, 2, 2, 1, 0][:n], 5), PRIOR).interval_mm())[0] for n in (0, 4, 7)
    ]
    assert widths[0] > widths[1] > widths[2] > 0
    low, high = nothing.interval_mm(0.5)
    assert nothing.quantile_mm(0.25) == pytest.approx(low) and nothing.quantile_mm(0.75) == pytest.approx(high)


def test_perfectly_separated_answers_have_a_finite_answer() -> None:
    found = calibrate_fit([ladder_record(["will not go", "will not go", "tight", "good", "loose", "falls out", "falls out"])],
                          PLA, STARTER, "filament")  # fmt: skip
    assert -0.07 < found.fit.clearance_mm < 0.01
    assert 0.01 < found.fit.high_mm - found.fit.low_mm < 0.12
    assert found.fit.n == 7 and found.fit.source.startswith("measured")


def test_one_joint_only_moves_the_guess_a_little() -> None:
    one = calibrate_fit([ladder_record(["tight"], [-0.03])], PLA, STARTER, "filament").fit
    assert STARTER.clearance_mm < one.clearance_mm < 0.08
    assert one.high_mm - one.low_mm > 0.08 and one.n == 1


def test_a_broken_joint_counts_as_tight_or_tighter() -> None:
    rest = ["tight", "good", "good", "loose", "falls out", "falls out"]
    middles = [calibrate_fit([ladder_record([first, *rest])], PLA, STARTER, "filament").posterior.middle_mm
               for first in ("tight", "broke", "will not go")]  # fmt: skip
    assert min(middles) - 1e-4 <= middles[1] <= max(middles) + 1e-4


def test_a_ladder_read_from_its_other_end_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        calibrate_fit([ladder_record(["falls out", "falls out", "loose", "good", "good", "tight", "will not go"])],
                      PLA, STARTER, "filament")  # fmt: skip
    assert caught.value.code == "calibration.reversed" and "other end" in caught.value.hint


def test_one_contradiction_is_told_and_widens_the_interval() -> None:
    clean = ["will not go", "tight", "good", "good", "loose", "falls out", "falls out"]
    odd = [*clean[:5], "will not go", "falls out"]
    plain, told = (calibrate_fit([ladder_record(f)], PLA, STARTER, "filament") for f in (clean, odd))
    assert not plain.notes
    assert len(told.notes) == 1 and "joint 6" in told.notes[0] and "try it again" in told.notes[0]
    assert told.posterior.middle_sd_mm > plain.posterior.middle_sd_mm
    # One slip of the pen must not carry the answer away.
    assert told.fit.clearance_mm == pytest.approx(plain.fit.clearance_mm, abs=0.03)


def test_all_loose_or_all_tight_moves_the_next_ladder() -> None:
    loose = calibrate_fit([ladder_record(["falls out"] * 7)], PLA, STARTER, "filament")
    assert loose.fit.clearance_mm < -0.12 and loose.proposal.pays and "tighter" in loose.notes[0]
    tight = calibrate_fit([ladder_record(["will not go"] * 7)], PLA, STARTER, "filament")
    assert tight.fit.clearance_mm > 0.08 and np.mean(tight.proposal.drawn_mm) > 0.05


@pytest.mark.parametrize(
    "changes", [{"material": "petg"}, {"build": "lying"}, {"supports": "touching the joint"}, {"cure": "washed"}]
)
def test_other_conditions_are_a_prior_and_no_more(changes: dict[str, str]) -> None:
    felt = ["will not go", "will not go", "will not go", "tight", "good", "good", "loose"]
    same = calibrate_fit([ladder_record(felt)], PLA, STARTER, "filament")
    away = calibrate_fit([ladder_record(felt, **changes)], PLA, STARTER, "filament")
    assert away.fit.n == 0 and away.fit.source.startswith("prior: measured with other ")
    # It pulls towards what was felt elsewhere, less than an own ladder, and leaves a wider doubt.
    assert STARTER.clearance_mm < away.fit.clearance_mm < same.fit.clearance_mm
    assert same.posterior.middle_sd_mm < away.posterior.middle_sd_mm < 0.067
    # Two conditions that differ count for less than one.
    twice = calibrate_fit(
        [ladder_record(felt, **changes | {"material": "abs", "build": "on its side"})], PLA, STARTER, "filament"
    )
    assert twice.posterior.middle_sd_mm > away.posterior.middle_sd_mm - 1e-6
    # Own ladders then outweigh it.
    both = calibrate_fit([ladder_record(felt, **changes), ladder_record(
        ["tight", "good", "good", "loose", "falls out", "falls out", "falls out"])], PLA, STARTER, "filament")  # fmt: skip
    assert both.fit.n == 7 and both.fit.clearance_mm < -0.03


def test_the_proposal_tells_more_than_careless_ladders() -> None:
    """Against the posterior that a ladder really leaves, averaged over what may be felt (draws, not the formula)."""
    now = posterior(outcomes(X, [4, 3, 3, 2, 2, 1, 0], 5), PRIOR)
    best = propose(now).drawn_mm

    def left(drawn: tuple[float, ...]) -> float:
        rng = np.random.default_rng(2)
        out = []
        for _ in range(25):
            m, half, loose, tight, s = rng.normal(now.mean, now.sd) * [1, 0, 0, 0, 0] + np.array(
                [0, *np.exp(now.mean[1:])]
            )
            g = np.array(drawn) + rng.normal(0, s, len(drawn))
            y = sum((g < m + e).astype(int) for e in (half + loose, half, -half, -half - tight))
            out.append(posterior(outcomes([*X, *drawn], [4, 3, 3, 2, 2, 1, 0, *y], 5), PRIOR).middle_sd_mm)
        return float(np.mean(out))

    assert left(best) < left(ladder(now.middle_mm + 0.25, 0.02)) * 0.85
    assert left(best) < left(ladder(now.middle_mm, 0.002)) * 1.02


def test_printing_stops_to_pay() -> None:
    felt = [4, 3, 3, 2, 2, 1, 0]
    first, later = posterior(outcomes([], [], 5), PRIOR), posterior(outcomes(X * 6, felt * 6, 5), PRIOR)
    assert propose(first).pays and propose(first).half_then_mm < propose(first).half_now_mm
    end = propose(later)
    assert not end.pays and end.reason


def test_fisher_information_against_its_definition() -> None:
    """E[(∂ log p/∂m)²] by summing over classes with derivatives of scipy's own normal cdf."""
    theta = np.array([0.01, math.log(0.04), math.log(0.1), math.log(0.06), math.log(0.03)])
    drawn = np.array([-0.05, 0.0, 0.08])

    def chances(m: float) -> np.ndarray:
        cuts = np.array([np.inf, m + 0.14, m + 0.04, m - 0.04, m - 0.10, -np.inf])
        cdf = norm.cdf((cuts[None, :] - drawn[:, None]) / 0.03)
        return cdf[:, :-1] - cdf[:, 1:]

    slope = (chances(0.01 + 1e-6) - chances(0.01 - 1e-6)) / 2e-6
    assert information(drawn, theta)[0, 0] == pytest.approx(float((slope**2 / chances(0.01)).sum()), rel=1e-5)


def test_the_prior_comes_from_the_starter_fit() -> None:
    prior = feel_prior(STARTER, "filament")
    assert (prior.middle_mm, prior.middle_sd_mm) == (-0.03, 0.05)
    assert feel_prior(STARTER, "resin").scatter_mm[0] < prior.scatter_mm[0]
