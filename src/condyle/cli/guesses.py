"""Which joints of a kit were cut by a guess, and which coupon would replace it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, cast

from condyle.joints.coupons.halves import SERIES
from condyle.workshop.bench import Workshop, starter_names
from condyle.workshop.fits import FitKind


def guessed_joints(joints: Sequence[Mapping[str, Any]], workshop: Workshop) -> Counter[tuple[str, float]]:
    """How many built joints (as in proof.json) of each family and size have a clearance that nobody has felt."""
    found: Counter[tuple[str, float]] = Counter()
    for joint in joints:
        kind, size, clearance = joint["kind"], joint["size"], joint["clearance_mm"]
        if not joint["built"] or size is None or clearance is None or kind not in workshop.fits.by_kind:
            continue
        fit = workshop.fits.get(kind, size)
        if fit.n == 0 and abs(fit.clearance_mm - clearance) < 1e-4:
            found[(kind, size)] += 1
    return found


def guess_line(joints: Sequence[Mapping[str, Any]], workshop: Workshop) -> str:
    """One line for the screen; empty where every clearance was felt or set by hand."""
    guessed = guessed_joints(joints, workshop)
    if not guessed:
        return ""
    names = ", ".join(dict.fromkeys(f"{kind.replace('_', ' ')} {round(size, 1):g}" for kind, size in sorted(guessed)))
    family, drawn = max(sorted(guessed), key=lambda joint: guessed[joint])
    # An insert's peg is as thick as its flesh allows; the coupon nearest to it tells the most.
    size = min(SERIES[cast(FitKind, family)], key=lambda one: abs(one - drawn))
    cards = (("--printer", "printers", workshop.printer.name), ("--material", "materials", workshop.material.name))
    named = " ".join(
        f"{option} {name if name in starter_names(what) else name + '.toml'}" for option, what, name in cards
    )
    return (
        f"Clearances of {names} mm are guesses until joints of yours were felt; other sizes of a family follow the one that "
        f"was. Before you print all of it: condyle coupon --family {family} --size {size:g} {named} --out FOLDER"
    )
