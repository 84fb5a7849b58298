"""Printers, described by what they do and not by who made them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from condyle.workshop.card import Card, Error, Length, Overhang, PlateSide, Process, Spread
from condyle.workshop.fits import FamilyCards, Fits, fits_from_cards
from condyle.workshop.toml_file import read_checked
from condyle.workshop.values import Measured


@dataclass(frozen=True)
class Printer:
    """What a printer can do, every number with its standard deviation and source.

    plate_mm                width, depth and height of the build volume
    line_mm                 width of one printed line: the nozzle's track, or the pixel of a resin printer
    layer_mm                layer height
    xy_error_mm             in-plane error of an outside length of some tens of mm: 0 on average, this is its 1-sd size
    z_error_mm              the same along the build direction
    hole_error_mm           printed minus drawn DIAMETER of an upright hole; negative where holes come out small
    shaft_error_mm          printed minus drawn DIAMETER of an upright shaft
    first_layer_spread_mm   how far the first layers bulge out, per side
    min_feature_mm          the thinnest wall or pin that prints reliably
    overhang_deg            lowest slope, from the horizontal, that prints without support
    """

    name: str
    process: Process
    plate_mm: tuple[float, float, float]
    line_mm: Measured
    layer_mm: Measured
    xy_error_mm: Measured
    z_error_mm: Measured
    hole_error_mm: Measured
    shaft_error_mm: Measured
    first_layer_spread_mm: Measured
    min_feature_mm: Measured
    overhang_deg: Measured


class PrinterCard(Card):
    """printer.toml, schema 1."""

    schema_: Literal[1] = Field(alias="schema")
    process: Process
    plate_mm: Annotated[list[PlateSide], Field(min_length=3, max_length=3)]
    line_mm: Length
    layer_mm: Length
    xy_error_mm: Spread
    z_error_mm: Spread
    hole_error_mm: Error
    shaft_error_mm: Error
    first_layer_spread_mm: Spread
    min_feature_mm: Length
    overhang_deg: Overhang
    fits: FamilyCards = Field(default_factory=dict)


def parse_printer(text: str, name: str, file: str) -> tuple[Printer, Fits]:
    """A printer and the fits measured on it, from the text of a printer file.

    Raises FigureFileError with file and line for anything the schema does not allow.
    """
    card = read_checked(PrinterCard, text, file)
    width, depth, height = card.plate_mm
    printer = Printer(
        name=name,
        process=card.process,
        plate_mm=(width, depth, height),
        line_mm=card.line_mm.measured(),
        layer_mm=card.layer_mm.measured(),
        xy_error_mm=card.xy_error_mm.measured(),
        z_error_mm=card.z_error_mm.measured(),
        hole_error_mm=card.hole_error_mm.measured(),
        shaft_error_mm=card.shaft_error_mm.measured(),
        first_layer_spread_mm=card.first_layer_spread_mm.measured(),
        min_feature_mm=card.min_feature_mm.measured(),
        overhang_deg=card.overhang_deg.measured(),
    )
    return printer, fits_from_cards(card.fits)
