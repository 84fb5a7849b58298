"""Fits: where the clearance of each joint comes from, printed coupons or a guess."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from condyle.book.matter import Table
from condyle.errors import UsageError
from condyle.workshop.bench import Workshop
from condyle.workshop.fits import Fit


def fit_table(
    joints: Sequence[Mapping[str, Any]], workshop: Workshop, known: Mapping[str, Fit] | None = None
) -> Table | None:
    """One row for each family, size and fit in use. None where no joint has a fit.

    ``known``: by joint the fit that counts as its parts will lie; else what the workshop knows of its size.
    """
    used: dict[tuple[str, float, Fit], list[float | None]] = {}
    for j in joints:
        if j["built"] and j["size"] is not None:
            kind, size = str(j["kind"]), float(j["size"])
            try:
                fit = (known or {}).get(str(j["name"])) or workshop.fits.get(kind, size)
            except UsageError:
                continue
            used.setdefault((kind, size, fit), []).append(j.get("clearance_mm"))
    rows = []
    for (kind, size, fit), drawn in sorted(used.items(), key=lambda row: row[0][:2]):
        other = sorted({f"{c:+.2f}" for c in drawn if c is not None and abs(c - fit.clearance_mm) > 0.004})
        rows.append(
            (
                f"{kind.replace('_', ' ')}, {size:g} mm",
                str(len(drawn)),
                f"{fit.clearance_mm:+.2f} mm a side" + (f" (drawn {' and '.join(other)})" if other else ""),
                f"{fit.low_mm:+.2f} to {fit.high_mm:+.2f} mm",
                f"{fit.n} printed" if fit.n else "a guess",
            )
        )
    if not rows:
        return None
    guesses = sum(r[4] == "a guess" for r in rows)
    note = "All of them were measured on this printer." if not guesses else (
        f"Guesses, with no coupon of yours behind them: {guesses} of {len(rows)}. Print the coupons (condyle coupon), say "
        "what you felt (condyle calibrate), and make the kit again before you print all of it."
    )  # fmt: skip
    return Table(
        "",
        ("joint", "in the kit", "clearance", "nine in ten lie in", "stands on"),
        tuple(rows),
        f"{note} Of a pair drawn with negative clearance, the parts press on each other. Drawn otherwise than the fit says: "
        "what bends there is too stiff for it, or the figure file asks for it.",
    )
