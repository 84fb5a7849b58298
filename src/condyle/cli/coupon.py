"""condyle coupon: small prints that measure what fits on this printer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

What = Literal["ladder", "gauge", "steps", "walls", "strain", "friction"]
Family = Literal["ball", "hinge", "swivel", "double_hinge", "peg"]


def coupon(
    *,
    out: Annotated[Path, Parameter(help="A new folder for the plates and the sheet of answers.")],
    what: Annotated[
        list[What] | None,
        Parameter(name="--what", consume_multiple=True, negative=(), help="Which coupons; else all of them."),
    ] = None,
    family: Annotated[
        list[Family] | None,
        Parameter(name="--family", consume_multiple=True, negative=(), help="Joint families of the ladders."),
    ] = None,
    size: Annotated[
        list[float] | None,
        Parameter(name="--size", consume_multiple=True, negative=(), help="Joint sizes of the ladders, in mm."),
    ] = None,
    printer: Annotated[str, Parameter(help="A printer card, or a file of yours.")] = "filament-200",
    material: Annotated[str, Parameter(help="A material card, or a file of yours.")] = "pla",
    fits: Annotated[Path | None, Parameter(help="What earlier coupons gave; ladders begin from it.")] = None,
    count: Annotated[int, Parameter(help="Joints on a ladder, 3 to 9.")] = 7,
) -> int:
    """Make small plates to print that measure your printer: joints at stepped clearances, gauges, a friction beam.

    With --family or --size alone, only ladders are made. Every plate fits 120 x 120 mm and prints without supports.
    """
    from condyle.cli.early import look_at_workshop

    look_at_workshop(printer, material, fits)
    from condyle.cli.screen import to_screen
    from condyle.project.coupon_folder import CouponWish, write_coupons
    from condyle.workshop.bench import load_workshop
    from condyle.workshop.calibration.sheet import CAUTIONS

    wish = CouponWish(
        out, tuple(what or ()), tuple(family or ()), tuple(size or ()), printer, material, fits, count
    )  # fmt: skip
    plates = write_coupons(wish)
    screen = to_screen()
    for plate in plates:
        x, y, z = plate.size_mm
        screen.print(
            f"{plate.name + '.3mf':<28} {x:3.0f} x {y:3.0f} x {z:2.0f} mm   about {_minutes(plate.effort.time_s)}, "
            f"{plate.effort.mass_g:.0f} g",
            markup=False,
        )
        screen.print(f"    {plate.about}", markup=False, soft_wrap=True)
    whole = sum(p.effort.time_s for p in plates), sum(p.effort.mass_g for p in plates)
    screen.print(f"All: about {_minutes(whole[0])} and {whole[1]:.0f} g (a plain model, right to about a third).")
    screen.print("Print solid, without supports, as they lie. Each plate is there as STL too.")
    for caution in CAUTIONS[load_workshop(printer, material).printer.process]:
        screen.print(f"  ! {caution}", markup=False, soft_wrap=True)
    into = f" --into {printer}" if printer.endswith(".toml") else ""
    screen.print(
        f"Next: print, fill in {out / 'answers.toml'} (or let it be asked), then: condyle calibrate {out}{into}",
        markup=False,
        soft_wrap=True,
    )
    return 0


def _minutes(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
