"""Coupons without joints: holes and shafts, steps, thin walls, and tongues that are bent to a known strain."""

from __future__ import annotations

from dataclasses import dataclass

from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, subtract, union
from condyle.workshop.coupons.lettering import Hand, hand_for, raised, width_mm
from condyle.workshop.coupons.plate import Piece, laid_out
from condyle.workshop.material import Material
from condyle.workshop.printer import Printer

DIAMETERS_MM = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Of the gauge's holes and shafts: the sizes that joints have."""

PLATE_MM = (70.0, 28.0, 3.5)
"""Outside lengths of the gauge."""

HEIGHTS_MM = (4.0, 8.0, 12.0, 16.0)
STEP_MM = (8.0, 14.0)
"""Heights of the steps, and length and width of each."""

WALLS_IN_LINES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
RESIN_WALLS_MM = (0.15, 0.2, 0.3, 0.4, 0.5, 0.7)

STRAIN_TIMES = (0.5, 0.8, 1.2, 1.7, 2.3, 3.2)
"""Strains of the tongues, in times of what the material's card permits once."""

TONGUE_MM, TONGUE_THICK_MM, TONGUE_WIDE_MM = 16.0, 1.4, 4.0
_GREATEST_STRAIN = 0.06


@dataclass(frozen=True, eq=False)
class HoleGauge:
    pieces: tuple[Piece, ...]
    diameters_mm: tuple[float, ...]
    lengths_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class StepGauge:
    pieces: tuple[Piece, ...]
    heights_mm: tuple[float, ...]
    width_mm: float


@dataclass(frozen=True, eq=False)
class WallLadder:
    pieces: tuple[Piece, ...]
    walls_mm: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class StrainLadder:
    """Strain of each tongue when its tip touches the stop: along the layers (bar), and across them (upright)."""

    pieces: tuple[Piece, ...]
    along: tuple[float, ...]
    across: tuple[float, ...]


def hole_gauge(printer: Printer) -> HoleGauge:
    """A plate with a through hole and an upright shaft of each diameter; its own outside is measured too."""
    hand = hand_for(printer)
    long, wide, thick = PLATE_MM
    x, gap = 0.0, (long - sum(DIAMETERS_MM)) / (len(DIAMETERS_MM) + 1)
    holes: list[Solid] = []
    shafts: list[Solid] = []
    for d in DIAMETERS_MM:
        x += gap + 0.5 * d
        holes.append(cylinder(0.5 * d, -1.0, thick + 1.0, "outside").translated((x, wide - 6.5, 0.0)))
        shafts.append(cylinder(0.5 * d, thick - 0.2, thick + 8.0).translated((x, 6.5, 0.0)))
        shafts.append(raised(f"{d:g}", hand, (x, 0.5 * wide, thick)))
        x += 0.5 * d
    plate = subtract(box((0.0, 0.0, 0.0), (long, wide, thick)), holes, "gauge")
    whole = union([plate, *shafts], "gauge")
    return HoleGauge(laid_out([Piece("gauge", whole)]), DIAMETERS_MM, (long, wide))


def step_gauge(printer: Printer) -> StepGauge:
    """A stair: its heights tell the vertical error, its width at the foot and above tells how the first layers spread."""
    hand = hand_for(printer)
    long, wide = STEP_MM
    free = 0.8 + 0.5 * hand.capital_mm
    solids = [box((k * long, 0.0, 0.0), (len(HEIGHTS_MM) * long, wide, h)) for k, h in enumerate(HEIGHTS_MM)]
    solids += [raised(str(k + 1), hand, ((k + 0.5) * long, free, h)) for k, h in enumerate(HEIGHTS_MM)]
    # Labels stand in front, so that the calliper finds a bare face behind them.
    return StepGauge(laid_out([Piece("stair", union(solids, "stair"))]), HEIGHTS_MM, wide)


def wall_ladder(printer: Printer) -> WallLadder:
    """Walls of growing thickness, 10 mm long and 6 mm high."""
    hand = hand_for(printer)
    if printer.process == "filament":
        walls = tuple(round(k * printer.line_mm.value, 2) for k in WALLS_IN_LINES)
    else:
        walls = RESIN_WALLS_MM
    pitch = max(6.0, width_mm("8", hand) + 1.6)
    front = hand.capital_mm + 1.6
    solids = [box((0.0, 0.0, 0.0), (pitch * len(walls), front + 11.0, 1.2))]
    for k, wall in enumerate(walls):
        x = (k + 0.5) * pitch
        solids.append(box((x - 0.5 * wall, front, 1.0), (x + 0.5 * wall, front + 10.0, 7.2)))
        solids.append(raised(str(k + 1), hand, (x, 0.8 + 0.5 * hand.capital_mm, 1.2)))
    return WallLadder(laid_out([Piece("walls", union(solids, "walls"))]), walls)


def strain_ladder(printer: Printer, material: Material) -> StrainLadder:
    """Tongues that are pushed with a finger until their tips meet a stop: each stop stands for one strain.

    ε = 1.5·h·y/L² at the root of a straight beam (bending alone; at L/h = 11 shear adds a few per cent to y).
    Tongues along the layers lie on the plate, those across them stand upright.
    """
    hand = hand_for(printer)
    once, share = material.strain_once.value, material.across_layers.value
    along = [_give_mm(k * once) for k in STRAIN_TIMES]
    across = [_give_mm(k * once * share) for k in STRAIN_TIMES]
    pieces = [Piece("along", _lying(along, hand)), Piece("across", _upright(across, hand))]
    per_mm = 1.5 * TONGUE_THICK_MM / TONGUE_MM**2
    return StrainLadder(
        laid_out(pieces), *(tuple(round(give * per_mm, 4) for give in gives) for gives in (along, across))
    )


def _give_mm(strain: float) -> float:
    """How far the stop stands off. Narrower slots than half a millimetre would print shut: small strains begin there."""
    return max(min(strain, _GREATEST_STRAIN) * TONGUE_MM**2 / (1.5 * TONGUE_THICK_MM), 0.5)


def _lying(gives: list[float], hand: Hand) -> Solid:
    """A comb: each tongue stands off a stiff stop that it meets at its tip; behind it there is room for a finger nail."""
    spine, stop, room = hand.capital_mm + 2.0, 3.0, max(2.0, hand.capital_mm - 4.4)
    y = 0.0
    solids: list[Solid] = []
    for k, give in enumerate(gives):
        solids.append(box((spine - 0.5, y, 0.0), (spine + TONGUE_MM, y + stop, TONGUE_WIDE_MM)))
        low = y + stop + give
        solids.append(box((spine - 0.5, low, 0.0), (spine + TONGUE_MM, low + TONGUE_THICK_MM, TONGUE_WIDE_MM)))
        solids.append(raised(str(k + 1), hand, (0.5 * spine, low + 0.5 * TONGUE_THICK_MM - 1.0, TONGUE_WIDE_MM)))
        y = low + TONGUE_THICK_MM + room
    solids.append(box((0.0, -1.0, 0.0), (spine, y, TONGUE_WIDE_MM)))
    return union(solids, "tongues along the layers")


def _upright(gives: list[float], hand: Hand) -> Solid:
    foot, stop, room = 2.0, 3.5, 4.0
    x = 1.0
    front = hand.capital_mm + 1.6
    solids: list[Solid] = []
    for k, give in enumerate(gives):
        top = foot + TONGUE_MM
        solids.append(box((x, front, foot - 0.2), (x + stop, front + TONGUE_WIDE_MM, top)))
        low = x + stop + give
        solids.append(box((low, front, foot - 0.2), (low + TONGUE_THICK_MM, front + TONGUE_WIDE_MM, top)))
        solids.append(raised(str(k + 1), hand, (low, 0.8 + 0.5 * hand.capital_mm, foot)))
        x = low + TONGUE_THICK_MM + room
    solids.append(box((0.0, 0.0, 0.0), (x - room + 1.5, front + TONGUE_WIDE_MM + 1.0, foot)))
    return union(solids, "tongues across the layers")
