"""The ladder that makers print by rule of thumb: what calibration is compared with. Written down before any comparison.

Common practice, no source: coarse steps, then finer steps about what felt best, then the same clearance three times to
be sure; when one of the three is off, a step to the other side and three more. Every round is one print job.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

FALLS_OUT, LOOSE, GOOD, TIGHT, WILL_NOT_GO = range(5)

COARSE_MM = (0.3, 0.2, 0.1, 0.0, -0.1, -0.2)
FINER_MM = (0.05, 0.02)
STEPS_AROUND = (-2, -1, 0, 1, 2)
REPEATS = 3
MOST_JOBS = 12


@dataclass(frozen=True)
class Ended:
    """The clearance that the maker settles on (mm per side), and what it took."""

    clearance_mm: float
    jobs: int
    specimens: int


def print_until_it_fits(feel: Callable[[float], int]) -> Ended:
    """``feel`` prints one joint at a drawn clearance and says how it felt, 0 (falls out) to 4 (will not go)."""
    jobs, specimens = 1, len(COARSE_MM)
    best = _best([(c, feel(c)) for c in COARSE_MM])
    for step in FINER_MM:
        around = [best + k * step for k in STEPS_AROUND]
        best = _best([(c, feel(c)) for c in around])
        jobs, specimens = jobs + 1, specimens + len(around)
    while jobs < MOST_JOBS:
        felt = [feel(best) for _ in range(REPEATS)]
        jobs, specimens = jobs + 1, specimens + REPEATS
        if all(f in (GOOD, TIGHT) for f in felt):
            break
        looser = sum(f < GOOD for f in felt) < sum(f > GOOD for f in felt)
        best += FINER_MM[-1] if looser else -FINER_MM[-1]
    return Ended(best, jobs, specimens)


def _best(felt: list[tuple[float, int]]) -> float:
    """The middle of those that felt good; where none did, half way between the tightest loose and the loosest tight."""
    good = sorted(c for c, f in felt if f == GOOD)
    if good:
        return good[len(good) // 2]
    loose = [c for c, f in felt if f < GOOD]
    tight = [c for c, f in felt if f > GOOD]
    if not loose:
        return max(tight) + 0.05
    if not tight:
        return min(loose) - 0.05
    return 0.5 * (min(loose) + max(tight))
