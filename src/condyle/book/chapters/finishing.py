"""Finishing: the coats, what to mix, what they take from the gaps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from condyle.book.matter import Table
from condyle.finish.coats import Coat, Mix, film
from condyle.finish.detail import LostDetail
from condyle.finish.surface import SandingPlan


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


def sanding_table(plans: Mapping[str, SandingPlan]) -> Table:
    """What smoothing each part takes."""
    rows = tuple(
        (
            name.replace("_", " "),
            f"{p.show_mm2 / 100:.1f} cm²",
            f"{p.fill_mm2 / 100:.1f} cm²" if p.fill_mm2 >= 5.0 else "none",
            f"{1000 * p.mean_ra_mm:.0f} µm",
            f"{p.removed_mm[0]:.3f}, at most {p.removed_mm[1]:.2f} mm",
            f"{60 * p.hours:.0f} min",
        )
        for name, p in plans.items()
    )
    grits = next((", then ".join(g for g, _ in p.grits) for p in plans.values() if p.grits), "")
    factor = next((p.factor for p in plans.values()), 1.0)
    hours = sum(p.hours for p in plans.values())
    return Table(
        "Filling and sanding",
        ("part", "seen", "fill first", "Ra as printed", "taken off", "about"),
        rows,
        f"Grits: {grits}. {hours:.1f} hours in all, good to a factor of {factor:g} either way. Details shallower than what is "
        "taken off, paint included, will be lost.",
    )


def detail_table(lost: Mapping[str, Sequence[LostDetail]], most: int = 16) -> Table | None:
    """The largest places whose detail may not outlive sanding and paint."""
    all_ = sorted(((d, n) for n, found in lost.items() for d in found), key=lambda v: -v[0].area_mm2)
    if not all_:
        return None
    rows = tuple(
        (n.replace("_", " "), f"{d.depth_mm:.2f} mm", f"{d.area_mm2:.0f} mm²", ", ".join(f"{v:.0f}" for v in d.place))
        for d, n in all_[:most]
    )
    more = f" {len(all_) - most} smaller places stand in details/finish.json." if len(all_) > most else ""
    return Table(
        "Detail that may be lost",
        ("part", "depth", "over", "at x, y, z in mm"),
        rows,
        f"Shallower than what sanding takes and coats lay on there: sand round it, thin the coats, or carve it deeper.{more}",
    )


def _hours(hours: float) -> str:
    if hours < 1.0:
        return f"{60 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 72.0 else f"{hours / 24:.0f} days"
