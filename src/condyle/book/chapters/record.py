"""Record pages: the route of each part, to be ticked by hand."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.book.matter import Table

STEPS = ("printed", "cleaned", "dry fitted", "sanded", "primed", "painted", "sealed", "assembled")


def record_table(parts: Sequence[str]) -> Table:
    """One line a part, one box a step."""
    return Table("Route of each part", ("part", *STEPS), tuple((name, *("" for _ in STEPS)) for name in parts))
