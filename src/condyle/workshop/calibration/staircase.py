"""Two plain estimators beside the model: Dixon and Mood's up-and-down mean, and the targets of Levitt's staircases."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from condyle.errors import UsageError

LEAST_SPREAD = 0.3
"""Below this the statistic tells nothing of the spread; 0.53 d is used instead, as ISO 12107 does (reported, not read)."""


@dataclass(frozen=True)
class UpAndDown:
    """Mean, spread and the statistic (N·B − A²)/N² that says whether the spread can be trusted."""

    mean: float
    sd: float
    statistic: float


def dixon_mood(counts: Sequence[int], lowest: float, step: float, *, responses: bool) -> UpAndDown:
    """From counts n_i of the rarer outcome at lowest + i·step: mean = x0 + d (A/N ± ½), s = 1.62 d ((NB − A²)/N² + 0.029).

    N = Σ n, A = Σ i n, B = Σ i² n; minus where the counted outcome is the response. Dixon and Mood, J. Am. Stat. Assoc. 43
    (1948) 109–126 (formula from memory). Good for the middle alone, at a step near the true spread; the model of
    ``ordinal`` is what the project uses. UsageError for no counts or a step that is not above 0.
    """
    if not counts or min(counts) < 0 or sum(counts) == 0 or not step > 0:
        raise UsageError("staircase.counts", "counts of the rarer outcome at rising levels are needed")
    n = sum(counts)
    a = sum(i * c for i, c in enumerate(counts))
    b = sum(i * i * c for i, c in enumerate(counts))
    statistic = (n * b - a * a) / n**2
    mean = lowest + step * (a / n + (-0.5 if responses else 0.5))
    sd = 1.62 * step * (statistic + 0.029) if statistic > LEAST_SPREAD else 0.53 * step
    return UpAndDown(mean, sd, statistic)


def levitt_target(down_after: int) -> float:
    """Where a staircase up after 1 and down after k settles: p = 0.5^(1/k). Levitt, J. Acoust. Soc. Am. 49 (1971) 467."""
    if down_after < 1:
        raise UsageError("staircase.rule", "a staircase goes down after at least one response")
    return math.pow(0.5, 1.0 / down_after)
