"""The rules by which a process prints: read off the printer's card, completed by the practice of the trade."""

from __future__ import annotations

from dataclasses import dataclass

from condyle.workshop.card import Process
from condyle.workshop.printer import Printer


@dataclass(frozen=True)
class Rules:
    """Plain numbers of one process. Those below the line are not on the printer's card: they are priors.

    overhang_deg       lowest slope, from the horizontal, that prints without support
    line_sd_mm …       see ``Printer``; errors of holes and shafts are of the diameter
    ----
    ledge_mm           a flat shelf this deep prints without support. Mazlan et al., J. Adv. Ind. Technol. Appl. (2020)
                       38-47, abstract: overhang lengths of 0.5 to 1.5 mm pass; the shortest is taken
    bridge_mm          a span anchored on both sides prints across this much air; 5 to 10 mm by common practice (from
                       memory): the lower end for filament. Resin cures onto nothing: a short span only
    column_mm          width of a support column; sound columns are not thinner (common practice, no source)
    spacing_mm         how far apart columns stand under a flat face (common practice, no source)
    foot_deg           steepest face that a column's foot stays on (common practice, no source)
    slender            height over width beyond which a column sways without a brace (common practice, no source)
    removal_deg        half angle of the free cone through which a tool must reach a column (our choice)
    """

    process: Process
    plate_mm: tuple[float, float, float]
    line_mm: float
    layer_mm: float
    overhang_deg: float
    hole_error_mm: float
    shaft_error_mm: float
    first_layer_spread_mm: float
    min_feature_mm: float
    xy_sd_mm: float
    z_sd_mm: float
    hole_sd_mm: float
    shaft_sd_mm: float
    ledge_mm: float
    bridge_mm: float
    column_mm: float
    spacing_mm: float
    foot_deg: float = 50.0
    slender: float = 25.0
    removal_deg: float = 15.0


def rules_of(printer: Printer) -> Rules:
    """The rules of a printer: its card's values, and the priors of its process."""
    filament = printer.process == "filament"
    line = printer.line_mm.value
    return Rules(
        process=printer.process,
        plate_mm=printer.plate_mm,
        line_mm=line,
        layer_mm=printer.layer_mm.value,
        overhang_deg=printer.overhang_deg.value,
        hole_error_mm=printer.hole_error_mm.value,
        shaft_error_mm=printer.shaft_error_mm.value,
        first_layer_spread_mm=printer.first_layer_spread_mm.value,
        min_feature_mm=printer.min_feature_mm.value,
        xy_sd_mm=printer.xy_error_mm.value,
        z_sd_mm=printer.z_error_mm.value,
        hole_sd_mm=printer.hole_error_mm.sd,
        shaft_sd_mm=printer.shaft_error_mm.sd,
        ledge_mm=0.5 if filament else 0.3,
        bridge_mm=5.0 if filament else 2.0,
        column_mm=max(2.0 * line, 0.8) if filament else max(4.0 * line, 0.4),
        spacing_mm=3.0 if filament else 2.0,
    )
