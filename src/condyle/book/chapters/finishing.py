"""Finishing: the coats, what to mix, what they take from the gaps."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.book.matter import Table
from condyle.finish.coats import Coat, Mix, film


def coat_table(coats: Sequence[Coat]) -> Table:
    """What is laid down, and when the next may follow."""
    system = film(coats)
    rows = tuple(
        (
            c.role,
            str(c.times),
            f"{c.film_um.value:.0f} ± {c.film_um.sd:.0f} µm",
            f"1 : {c.thinner:.1f}" if c.thinner else "as bought",
            _hours(c.recoat_h),
            f"{_hours(c.next_h[0])} to {_hours(c.next_h[1])}",
            _hours(c.cure_h) + ("; scuff before any coat over it" if c.glossy else ""),
        )
        for c in coats
    )
    return Table(
        "Coats",
        ("coat", "passes", "dry film each", "paint : thinner", "between passes", "next coat after", "hard after"),
        rows,
        f"Together {system.mm:.2f} mm on a face, less than {system.high_mm:.2f} mm in nineteen of twenty. "
        "Film and solids are common practice: paint a strip, measure it, and put your own into the figure file.",
    )


def mix_table(mixes: Sequence[Mix]) -> Table:
    """How much to mix of each colour."""
    rows = tuple(
        (
            m.colour,
            m.role,
            f"{m.area_mm2 / 100:.0f} cm²",
            f"{m.paint_ml:.1f} ± {m.sd_ml:.1f} ml",
            f"{m.thinner_ml:.1f} ml" if m.thinner_ml else "none",
        )
        for m in mixes
    )
    return Table(
        "To mix", ("colour", "coat", "area", "paint", "thinner"), rows, "Losses and what stays in the cup included."
    )


def _hours(hours: float) -> str:
    if hours < 1.0:
        return f"{60 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 72.0 else f"{hours / 24:.0f} days"
