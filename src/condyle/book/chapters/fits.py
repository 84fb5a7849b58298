"""Fits: where the clearance of each joint comes from, printed coupons or a guess."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from condyle.book.matter import Table
from condyle.errors import UsageError
from condyle.workshop.bench import Workshop


def fit_table(joints: Sequence[Mapping[str, Any]], workshop: Workshop) -> Table | None:
    """One row for each family and size in use. None where no joint has a fit."""
    used: dict[tuple[str, float], list[str]] = {}
    for j in joints:
        if j["built"] and j["size"] is not None:
            used.setdefault((j["kind"], float(j["size"])), []).append(str(j["name"]))
    rows = []
    for (kind, size), names in sorted(used.items()):
        try:
            fit = workshop.fits.get(kind, size)
        except UsageError:
            continue
        rows.append(
            (
                f"{kind.replace('_', ' ')}, {size:g} mm",
                str(len(names)),
                f"{fit.clearance_mm:+.2f} mm a side",
                f"{fit.low_mm:+.2f} to {fit.high_mm:+.2f} mm",
                f"{fit.n} printed" if fit.n else "a guess",
            )
        )
    if not rows:
        return None
    guesses = sum(r[4] == "a guess" for r in rows)
    note = "All of them were measured on this printer." if not guesses else (
        f"{guesses} of {len(rows)} are guesses that no coupon of yours stands behind: print the coupons (condyle coupon), say "
        "what you felt (condyle calibrate), and make the kit again before you print all of it."
    )  # fmt: skip
    return Table(
        "",
        ("joint", "in the kit", "clearance", "nine in ten lie in", "stands on"),
        tuple(rows),
        f"{note} Of a pair drawn with negative clearance, the parts press on each other.",
    )
