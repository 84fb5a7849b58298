"""What a joint's shape has to know of the printer and the material, as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass

from condyle.workshop.bench import Workshop


@dataclass(frozen=True)
class Stock:
    """Plain values for the joint families, read off a workshop once.

    line_mm      width of one printed line; the thinnest wall is two of them
    gap_mm       the narrowest slot that comes out open
    strain       strain that the material takes a few times: a snap is put together, not worked all day
    across_mpa   tension that pulls layers apart; ``notch`` the share of a stress concentration that a static load feels
    """

    process: str
    line_mm: float
    gap_mm: float
    modulus_mpa: float
    yield_mpa: float
    strain: float
    friction: float
    poisson: float
    density_g_cm3: float
    across_mpa: float
    notch: float

    @property
    def wall_mm(self) -> float:
        """The thinnest wall that is printed sound: two line widths, and never below 0.6 mm."""
        return max(2.0 * self.line_mm, 0.6)

    @property
    def fillet_mm(self) -> float:
        """The round that a printer leaves in an inner corner: half a line, at least 0.1 mm (common practice, no source)."""
        return max(0.1, 0.5 * self.line_mm)


def stock_of(workshop: Workshop) -> Stock:
    """The plain values of a workshop.

    The narrowest open slot is taken as one line width for filament and twice the line for resin, whose cured edges creep
    together (common practice, no source).
    """
    printer, material = workshop.printer, workshop.material
    line = printer.line_mm.value
    gap = line if printer.process == "filament" else max(2.0 * line, 0.2)
    return Stock(
        process=printer.process,
        line_mm=line,
        gap_mm=gap,
        modulus_mpa=material.modulus_mpa.value,
        yield_mpa=material.yield_mpa.value,
        strain=material.strain_once.value,
        friction=material.friction.value,
        poisson=material.poisson.value,
        density_g_cm3=material.density_g_cm3.value,
        across_mpa=material.across_layers.value * material.yield_mpa.value,
        notch=min(1.0, material.notch.value),
    )
