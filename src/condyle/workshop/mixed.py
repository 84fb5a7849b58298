"""The fits of a joint whose two sides come from different printers or materials."""

from __future__ import annotations

import math

from condyle.workshop.fits import Fit, Fits


def between(one: Fits, other: Fits) -> Fits:
    """Fits half way between two workshops, family by family and size by size.

    A clearance makes up for the errors of two surfaces. On one printer both are its own; where each side has its own
    printer, half of each clearance is taken: right as long as both surfaces of a pair err alike (our assumption, no
    source). No specimen stands behind the mixed pair, so ``n`` is 0, and the range is as wide as both together.
    """
    mixed: dict[str, dict[float | None, Fit]] = {}
    for kind in sorted(set(one.by_kind) & set(other.by_kind)):
        sizes = set(one.by_kind[kind]) | set(other.by_kind[kind])
        family: dict[float | None, Fit] = {}
        for size in sorted(sizes, key=lambda s: -1.0 if s is None else s):
            a, b = (f.by_kind[kind].get(size, f.by_kind[kind].get(None)) for f in (one, other))
            if a is not None and b is not None:
                family[size] = Fit(
                    0.5 * (a.clearance_mm + b.clearance_mm),
                    min(a.low_mm, b.low_mm),
                    max(a.high_mm, b.high_mm),
                    0,
                    "half way between two printers; measure it with a coupon of both",
                    0.5 * math.hypot(a.sd_mm, b.sd_mm),
                )
        mixed[kind] = family
    return Fits(mixed)
