"""Paint: how thick the films are, how much to mix, when the next coat may follow, and what they take from each gap.

Dry film = wet film × volume solids; litres = area × dry film / (10 × volume solids in % × transfer efficiency), area in m²
and film in µm (spreading-rate formulas of the coatings trade, as in any paint maker's terms-and-formulas page).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from condyle.workshop.values import Measured

Role = Literal["primer", "base", "detail", "clear"]

CUP_ML = 1.5
"""What stays in cup and brush of each mix: common practice, no source."""


@dataclass(frozen=True)
class Coat:
    """One kind of coat, laid down ``times`` times.

    film_um     dry film of one pass on one face
    solids      volume solids of the paint as it is bought, 0 to 1
    thinner     volume of thinner to one volume of paint
    transfer    share of what is sprayed or brushed that ends on the part, 0 to 1
    touch_dry_h until it may be touched; recoat_h until the next pass of the same kind
    next_h      from when, and until when without scuffing, another kind may follow
    cure_h      until it may be handled hard: joints are moved only then
    glossy      whether it dries so smooth that the next coat needs it scuffed first
    """

    role: Role
    times: int
    film_um: Measured
    solids: Measured
    thinner: float
    transfer: Measured
    touch_dry_h: float
    recoat_h: float
    next_h: tuple[float, float]
    cure_h: float
    glossy: bool = False

    @property
    def whole_film_um(self) -> float:
        """Dry film of all passes on one face."""
        return self.times * self.film_um.value


_PRACTICE = "common practice, no source; measure it on a test strip"

STARTER: tuple[Coat, ...] = (
    Coat(
        "primer", 2, Measured(18.0, 6.0, _PRACTICE), Measured(0.35, 0.10, _PRACTICE), 0.0,
        Measured(0.35, 0.12, _PRACTICE), 0.5, 1.0, (4.0, 48.0), 24.0,
    ),
    Coat(
        "base", 2, Measured(14.0, 5.0, _PRACTICE), Measured(0.30, 0.10, _PRACTICE), 0.5,
        Measured(0.35, 0.12, _PRACTICE), 0.5, 0.5, (2.0, 72.0), 24.0,
    ),
    Coat(
        "detail", 1, Measured(10.0, 5.0, _PRACTICE), Measured(0.30, 0.10, _PRACTICE), 0.3,
        Measured(0.90, 0.05, _PRACTICE), 0.3, 0.5, (4.0, 168.0), 24.0,
    ),
    Coat(
        "clear", 2, Measured(18.0, 6.0, _PRACTICE), Measured(0.30, 0.10, _PRACTICE), 0.2,
        Measured(0.35, 0.12, _PRACTICE), 0.5, 1.0, (24.0, 48.0), 72.0, glossy=True,
    ),
)  # fmt: skip
"""Primer, base, detail and clear as brush and spray at a bench lay them down; together 0.11 mm on a face."""


@dataclass(frozen=True)
class Film:
    """Thickness of a whole system on one face, mm, with its standard deviation."""

    mm: float
    sd_mm: float

    @property
    def high_mm(self) -> float:
        """Not exceeded in nineteen faces of twenty."""
        return self.mm + 1.645 * self.sd_mm


def film(coats: Sequence[Coat]) -> Film:
    """The whole system on one face. One hand lays all passes of a kind, so their errors add up within it."""
    thickness = sum(c.whole_film_um for c in coats) / 1000.0
    sd = math.hypot(*(c.times * c.film_um.sd for c in coats)) / 1000.0 if coats else 0.0
    return Film(thickness, sd)


def wet_film_um(dry_um: float, solids: float) -> float:
    """Wet film that leaves a dry one; ``solids`` is the volume share in what is laid down, above 0 and at most 1."""
    _check_share(solids)
    return dry_um / solids


def coverage_m2_l(dry_um: float, solids: float) -> float:
    """Area that a litre covers without loss."""
    _check_share(solids)
    return 1000.0 * solids / dry_um


def paint_ml(area_mm2: float, dry_um: float, solids: float, transfer: float) -> float:
    """Paint as bought for one pass over an area, losses included."""
    _check_share(solids)
    _check_share(transfer)
    return area_mm2 * dry_um * 1e-6 / (solids * transfer)


def _check_share(value: float) -> None:
    if not 0.0 < value <= 1.0:
        raise ValueError(f"a share lies above 0 and at most at 1, not at {value}")


@dataclass(frozen=True)
class Mix:
    """What to mix for all passes of one colour: paint and thinner in ml, what stays in the cup included, and its sd."""

    role: Role
    colour: str
    area_mm2: float
    paint_ml: float
    thinner_ml: float
    sd_ml: float


def mix(coat: Coat, colour: str, area_mm2: float) -> Mix:
    """Amounts for one coat kind and colour over an area of all parts that take it."""
    each = paint_ml(area_mm2, coat.film_um.value, coat.solids.value, coat.transfer.value)
    paint = coat.times * each + CUP_ML / (1.0 + coat.thinner)
    relative = math.hypot(
        coat.film_um.sd / coat.film_um.value,
        coat.solids.sd / coat.solids.value,
        coat.transfer.sd / coat.transfer.value,
    )
    return Mix(coat.role, colour, area_mm2, paint, paint * coat.thinner, coat.times * each * relative)


def kerf_left_mm(kerf_mm: float, system: Film) -> tuple[float, float]:
    """What two painted faces leave of a gap between them: the mean, and the least in nineteen of twenty."""
    # Both faces are painted by one hand in one go, so their errors add up.
    return kerf_mm - 2.0 * system.mm, kerf_mm - 2.0 * system.high_mm


def clearance_left_mm(clearance_mm: float, system: Film, faces: int) -> float:
    """Radial clearance that is left when ``faces`` (0 masked, 1, or 2) of a bearing are painted."""
    if faces not in (0, 1, 2):
        raise ValueError("a bearing has two faces")
    return clearance_mm - faces * system.mm
