"""Cost and time of the figure, for one and for several; and what to print spare."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.book.chapters.verdicts import amount
from condyle.book.matter import Table
from condyle.finish.coats import Mix
from condyle.finish.cost import Bill
from condyle.finish.spares import Spare


def cost_table(bills: Sequence[Bill]) -> Table:
    """One column a number of figures."""

    def row(name: str, *values: str) -> tuple[str, ...]:
        return (name, *values)

    rows = [
        row("plates", *(str(b.plates) for b in bills)),
        row("machine time", *(f"{b.print_h:.3g} h" for b in bills)),
        row("material, supports included", *(amount(b.material_g, "g") for b in bills)),
        row("paint, thinner", *(f"{b.paint_ml:.3g} ml, {b.thinner_ml:.3g} ml" for b in bills)),
        row("filler", *(f"{b.filler_ml:.2g} ml" for b in bills)),
        row("pieces of paper, 5 × 10 cm", *(str(b.sheets) for b in bills)),
        row("your own hours", *(f"{b.hands_h:.3g} h" for b in bills)),
        row("at least, with waits", *(f"{b.least_days:.2g} days" for b in bills)),
    ]
    if any(b.cost is not None for b in bills):
        rows.append(
            row("material and paint, as far as priced", *("" if b.cost is None else f"{b.cost:.2f}" for b in bills))
        )
    if any(b.work_cost is not None for b in bills):
        rows.append(row("your hours", *("" if b.work_cost is None else f"{b.work_cost:.2f}" for b in bills)))
    head = ("", *("one figure" if b.figures == 1 else f"{b.figures} figures" for b in bills))
    note = (
        "Hours by hand are common practice, good to a factor of 1.6 either way. Many figures share set-up, cups and waits, and "
        "no plate. Prices come from price_per_kg, paint_per_ml, paper_per_piece and hour in the figure file."
    )
    return Table("Cost and time", head, tuple(rows), note)


def stock_table(one: Bill, mixes: Sequence[Mix], grits: Sequence[str], masks: int, resin: bool) -> Table:
    """All that must lie ready before the first evening, for one figure."""
    paints = ", ".join(f"{m.colour} ({m.role}) {m.paint_ml:.2g} ml" for m in mixes)
    each = one.sheets // len(grits) if grits else 0
    rows = [
        (
            "smoothing",
            f"filler {one.filler_ml:.2g} ml; paper {', '.join(grits)}, {each} pieces of each; a bowl of water; a file",
        ),
        (
            "paint",
            f"{paints}; thinner {one.thinner_ml:.2g} ml; a scuffing pad; a card or spare part to try every coat on first",
        ),
        ("masking", f"{masks} printed masks and holders; thin tape; liquid mask; a board with 5 mm holes"),
        ("joints", "a rod a little thinner than each pin; a 1 mm drill and a small screw for what breaks"),
        ("yourself", f"dust mask, respirator for vapour, glasses{', nitrile gloves' if resin else ''}, moving air"),
    ]
    return Table(
        "To have at hand", ("for", "what"), tuple(rows), "Try every new coat on a swatch of the same print first."
    )


def spare_table(spares: Sequence[Spare]) -> Table:
    """What to print twice; parts with the same reason and remedy share a row."""
    alike: dict[tuple[str, str], list[str]] = {}
    for s in spares:
        name = s.part if s.part == s.joint else f"{s.part} (at {s.joint})"
        alike.setdefault((s.why, s.comes_out), []).append(name.replace("_", " "))
    return Table(
        "Spares, and what to do when one breaks",
        ("print spare", "because", "how the rest comes out"),
        tuple((", ".join(names), why, out) for (why, out), names in alike.items()),
    )
