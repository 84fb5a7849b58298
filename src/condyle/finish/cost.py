"""What a figure costs in material, paint, consumables and hours; for one, and for several finished side by side.

Several share each set-up of the booth, each cup and each wait; they share no plate, so prints simply repeat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from condyle.finish.coats import Coat, Mix, mix
from condyle.finish.schedule import Task, critical_path
from condyle.finish.work import Amount, work_of

SHEET_CM2 = 60.0
"""Area that a piece of paper of 5 by 10 cm smooths before it is blunt: common practice, no source."""

FILLER_WASTE = 3.0
"""Filler taken from the tube to what stays in the steps: common practice, no source."""


@dataclass(frozen=True)
class Prices:
    """The maker's own, each None where it is not given: a ml of paint, a piece of paper, an hour of work."""

    paint_ml: float | None = None
    sheet: float | None = None
    hour: float | None = None


@dataclass(frozen=True)
class Bill:
    """A number of figures together. ``cost`` is what prices were given for, None without any; ``work_cost`` the hours'.

    print_h is machine time; hands_h the maker's own; least_days how long waits and prints last if hands are never short
    """

    figures: int
    plates: int
    print_h: float
    material_g: float
    paint_ml: float
    thinner_ml: float
    filler_ml: float
    sheets: int
    hands_h: float
    least_days: float
    cost: float | None
    work_cost: float | None


@dataclass(frozen=True)
class Colouring:
    """What is laid down: a coat, the name of its colour and the area of one figure that takes it."""

    coat: Coat
    colour: str
    area_mm2: float


def mixes(colourings: Sequence[Colouring], figures: int = 1) -> tuple[Mix, ...]:
    """What to mix for a number of figures: one cup for each colour and coat."""
    return tuple(mix(c.coat, c.colour, figures * c.area_mm2) for c in colourings if c.area_mm2 > 0.0)


def bill(
    figures: int,
    amount: Amount,
    coats: Sequence[Coat],
    colourings: Sequence[Colouring],
    material_g: float,
    material_cost: float | None,
    filler_mm3: float,
    grits: int,
    prices: Prices,
    printers: int = 1,
) -> Bill:
    """Add it all up for ``figures`` (1 or more) of the same figure. ``amount`` and the areas are those of one."""
    if figures < 1:
        raise ValueError("a bill is for one figure or more")
    many = replace(
        amount,
        prints=tuple((f"{name}, {k}", h) for k in range(1, figures + 1) for name, h in amount.prints),
        parts=figures * amount.parts,
        joints=figures * amount.joints,
        steps=figures * amount.steps,
        fill_cm2=figures * amount.fill_cm2,
        sand_h=figures * amount.sand_h,
        show_cm2=figures * amount.show_cm2,
        detail_cm2=figures * amount.detail_cm2,
    )
    tasks = work_of(many, coats)
    made = mixes(colourings, figures)
    paint, thinner = sum(m.paint_ml for m in made), sum(m.thinner_ml for m in made)
    # Paper outlives one small figure, but a started piece counts.
    sheets = grits * max(1, -int(-figures * amount.show_cm2 // SHEET_CM2)) if amount.show_cm2 > 0.0 else 0
    hands = sum(t.hands_h for t in tasks)
    print_h = sum(h for _, h in many.prints)
    after = critical_path(_without_prints(tasks)).length_h
    known = [
        v
        for v in (
            None if material_cost is None else figures * material_cost,
            None if prices.paint_ml is None else prices.paint_ml * paint,
            None if prices.sheet is None else prices.sheet * sheets,
        )
        if v is not None
    ]
    return Bill(
        figures,
        len(many.prints),
        print_h,
        figures * material_g,
        paint,
        thinner,
        FILLER_WASTE * figures * filler_mm3 / 1000.0,
        sheets,
        hands,
        (print_h / printers + after) / 24.0,
        sum(known) if known else None,
        None if prices.hour is None else prices.hour * hands,
    )


def _without_prints(tasks: Sequence[Task]) -> list[Task]:
    """The tasks that are left when all is printed."""
    prints = {t.name for t in tasks if t.at == "printer"}
    return [replace(t, after=tuple(n for n in t.after if n not in prints)) for t in tasks if t.name not in prints]
