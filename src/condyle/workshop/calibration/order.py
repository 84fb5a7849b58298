"""Whether the answers of a ladder follow what was drawn, or come in no order, or in the reversed one.

Three hypotheses are held against each other for the same answers, however many of each kind there are: that a looser joint
feels looser, within the widths and the scatter that are believed of any printer; that the ladder was read from its other end;
that the answers were written beside the wrong joints. The third gives every arrangement of the answers the same chance, the
others what the model of ``posterior`` gives it; where the fit lies does not count. So a narrow ladder, whose joints differ by
less than two prints of one drawing do, is never called contradictory: its answers may come in any order.

The sum over all arrangements is a permanent, counted exactly joint by joint over how many of each answer have been used.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import factorial, prod

import numpy as np
from scipy.stats import norm, qmc

from condyle.geometry.mesh import FloatArray
from condyle.workshop.calibration.ordinal import Outcomes, between
from condyle.workshop.calibration.posterior import CLASSES, LAPSE, FeelPrior

MISTAKEN = 0.02
"""How often a whole ladder is read from its other end, and how often its answers are mixed up, before anything is known of it.
Ours, no source."""

_SAMPLES = 512
_AROUND_MM = 0.06  # the middle of "good" lies on the ladder, or this far beyond its ends
_MOST_STATES = 6000  # of the count; longer histories than this allows are judged ladder by ladder


@dataclass(frozen=True)
class Order:
    """How likely each hypothesis is, given the answers; the three add up to 1."""

    right: float
    reversed: float
    mixed: float


def order_of(data: Outcomes, prior: FeelPrior) -> Order:
    """The three hypotheses, weighed by Bayes' rule; with less than two kinds of answers nothing is learnt."""
    kinds = sorted(Counter(zip(data.low.tolist(), data.high.tolist(), strict=True)).items())
    counts = [n for _, n in kinds]
    learnt_nothing = Order(1.0 - 2.0 * MISTAKEN, MISTAKEN, MISTAKEN)
    if len(kinds) < 2 or float(np.ptp(data.x)) == 0.0 or prod(n + 1 for n in counts) > _MOST_STATES:
        return learnt_nothing
    number = {kind: k for k, (kind, _) in enumerate(kinds)}
    answers = np.array([number[kind] for kind in zip(data.low.tolist(), data.high.tolist(), strict=True)])
    chances = _chances(data.x, [kind for kind, _ in kinds], prior)
    flipped = _chances(data.x.min() + data.x.max() - data.x, [kind for kind, _ in kinds], prior)
    rows = np.arange(len(answers))
    arrangements = factorial(len(answers)) / prod(factorial(n) for n in counts)
    any_order = float(_all_arrangements(chances, counts).mean()) / arrangements
    right = (1.0 - 2.0 * MISTAKEN) * float(chances[:, rows, answers].prod(axis=1).mean()) / any_order
    back = MISTAKEN * float(flipped[:, rows, answers].prod(axis=1).mean()) / any_order
    total = right + back + MISTAKEN
    return Order(right / total, back / total, MISTAKEN / total)


def _chances(x: FloatArray, kinds: Sequence[tuple[int, int]], prior: FeelPrior) -> FloatArray:
    """Chance of each kind of answer for each joint under evenly laid parameters, (samples, joints, kinds)."""
    laid = qmc.Sobol(5, scramble=False).random(_SAMPLES) + 0.5 / _SAMPLES
    low, high = float(x.min()) - _AROUND_MM, float(x.max()) + _AROUND_MM
    middle = low + laid[:, 0] * (high - low)
    widths = [prior.half_good_mm, prior.loose_mm, prior.tight_mm, prior.scatter_mm]
    half, loose, tight, scatter = (
        median * np.exp(spread * norm.ppf(laid[:, i])) for i, (median, spread) in enumerate(widths, 1)
    )
    far = np.full(_SAMPLES, np.inf)
    cuts = np.stack([far, middle + half + loose, middle + half, middle - half, middle - half - tight, -far], axis=1)
    z = (cuts[:, None, :] - x[None, :, None]) / scatter[:, None, None]
    return np.stack(
        [(1.0 - LAPSE) * between(z[..., b + 1], z[..., a], "probit") + LAPSE * (b - a + 1) / CLASSES for a, b in kinds],
        axis=-1,
    )


def _all_arrangements(chances: FloatArray, counts: Sequence[int]) -> FloatArray:
    """The sum over all arrangements of the product of chances, (samples,): used counts of all kinds are the states."""
    states = {tuple([0] * len(counts)): np.ones(len(chances))}
    for joint in range(chances.shape[1]):
        after: dict[tuple[int, ...], FloatArray] = {}
        for used, value in states.items():
            for k, most in enumerate(counts):
                if used[k] < most:
                    new = (*used[:k], used[k] + 1, *used[k + 1 :])
                    after[new] = after.get(new, 0.0) + value * chances[:, joint, k]
        states = after
    return states[tuple(counts)]
