"""How often it worked: successes of attempts, with exact intervals, grouped by what may matter."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

from condyle.build.reasons import side_down
from condyle.project.record.attempts import Logged

LEVEL = 0.90


@dataclass(frozen=True)
class Rate:
    """``successes`` of ``attempts``, and between which shares the truth lies at ``level`` (Clopper and Pearson)."""

    group: str
    successes: int
    attempts: int
    low: float
    high: float
    level: float = LEVEL

    @property
    def share(self) -> float:
        return self.successes / self.attempts


def exact_interval(successes: int, attempts: int, level: float = LEVEL) -> tuple[float, float]:
    """The central interval of Clopper and Pearson, Biometrika 26 (1934) 404-413: never too narrow, whatever the share.

    ``attempts`` >= 1 and 0 <= ``successes`` <= ``attempts``, else ValueError.
    """
    if not (attempts >= 1 and 0 <= successes <= attempts and 0.0 < level < 1.0):
        raise ValueError(f"no interval for {successes} of {attempts} at {level}")
    tail = (1.0 - level) / 2.0
    low = 0.0 if successes == 0 else float(betaincinv(successes, attempts - successes + 1, tail))
    high = 1.0 if successes == attempts else float(betaincinv(successes + 1, attempts - successes, 1.0 - tail))
    return low, high


def rates(found: Iterable[Logged], group: Callable[[Logged], str | None]) -> tuple[Rate, ...]:
    """Rates by group, sorted by name; attempts whose group is None are left out."""
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for entry in found:
        name = group(entry)
        if name is not None:
            counts[name][0] += entry.attempt.outcome == "printed"
            counts[name][1] += 1
    return tuple(Rate(name, s, n, *exact_interval(s, n)) for name, (s, n) in sorted(counts.items()))


def by_part(entry: Logged) -> str:
    return entry.attempt.part


def by_material(entry: Logged) -> str:
    return f"{entry.job.printer}, {entry.job.material}"


def by_orientation(entry: Logged) -> str | None:
    """A part as it lay: directions within half a tenth in each coordinate count as one."""
    if entry.attempt.up is None:
        return None
    down = side_down(np.array(entry.attempt.up))
    return f"{entry.attempt.part}, {down}, up ({', '.join(f'{round(v, 1) + 0.0:.1f}' for v in entry.attempt.up)})"
