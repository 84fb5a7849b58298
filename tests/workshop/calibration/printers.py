"""Simulated printers with a known truth. Shares nothing with the fit: no import from the package, other distributions.

What a printer eats of a drawn gap comes from its hole and shaft errors (uniform over the ranges that makers report, from
memory), what feels good from the family; every single print scatters with heavier tails than a normal distribution, the hand's
judgement wavers, and now and then a note is simply wrong. Ranges are ours, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CLASSES = ("falls out", "loose", "good", "tight", "will not go")


@dataclass
class SimulatedPrinter:
    """One printer, one material, one joint. Lengths in mm per side."""

    rng: np.random.Generator
    eaten: float
    right_grip: float
    half_good: float
    loose: float
    tight: float
    scatter: float
    waver: float
    blunders: float

    @property
    def truth(self) -> float:
        """The drawn clearance whose mean print lies in the middle of good."""
        return self.eaten + self.right_grip

    def as_printed(self) -> float:
        """How far one print strays from the mean print: Student's t with 6 degrees of freedom, scaled to the scatter."""
        return float(self.scatter * self.rng.standard_t(6) / np.sqrt(6 / 4))

    def feel(self, drawn: float) -> int:
        """Print one joint at a drawn clearance and note how it felt, 0 to 4."""
        if self.rng.random() < self.blunders:
            return int(self.rng.integers(0, 5))
        off = drawn - self.truth + self.as_printed() + self.rng.normal(0.0, self.waver)
        edges = (self.half_good + self.loose, self.half_good, -self.half_good, -self.half_good - self.tight)
        return sum(off < edge for edge in edges)

    def works(self, drawn: float) -> bool:
        """Whether one print at a drawn clearance goes together by hand and holds: good or tight in truth."""
        off = drawn - self.truth + self.as_printed()
        return -self.half_good - self.tight < off < self.half_good


def simulated(seed: int) -> SimulatedPrinter:
    """The printer of a seed: as the starter cards expect on average, seldom exactly."""
    rng = np.random.default_rng([20261125, seed])
    hole, shaft = rng.uniform(-0.35, 0.05), rng.uniform(-0.05, 0.15)
    return SimulatedPrinter(
        rng=rng,
        eaten=0.5 * (shaft - hole),
        right_grip=rng.normal(-0.13, 0.025),
        half_good=rng.triangular(0.03, 0.05, 0.08),
        loose=rng.uniform(0.04, 0.20),
        tight=rng.uniform(0.03, 0.12),
        scatter=rng.uniform(0.012, 0.030),
        waver=0.008,
        blunders=0.01,
    )
