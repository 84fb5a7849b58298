"""Poses: which ones stand, and how surely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from condyle.book.chapters.verdicts import amount
from condyle.book.matter import Table


def pose_table(poses: Sequence[Mapping[str, Any]]) -> Table:
    """From the ``poses`` of proof.json."""
    words = {True: "stands", False: "falls", None: "not known"}
    rows = tuple(
        (
            str(p["name"]).replace("_", " "),
            words[p["stands"]],
            amount(p["tip_deg"], "°"),
            amount(p["margin_mm"], "mm"),
            (p["weakest_joint"] or "").replace("_", " "),
        )
        for p in poses
    )
    note = "Tipping is measured from where the figure rests on its own; 8° and 3 mm are wanted."
    return Table("", ("pose", "on its own", "tips at", "margin", "weakest joint"), rows, note)
