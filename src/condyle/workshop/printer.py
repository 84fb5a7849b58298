"""Printers, described by what they do and not by who made them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from condyle.workshop.calibration.records import Record
from condyle.workshop.card import (
    Card,
    Error,
    Friction,
    Length,
    Number,
    Overhang,
    PlateSide,
    Process,
    Share,
    Spread,
    Strain,
)
from condyle.workshop.fits import FamilyCards, Fits, fits_from_cards
from condyle.workshop.toml_file import read_checked
from condyle.workshop.values import Measured

CALIBRATED = ("xy_error_mm", "z_error_mm", "hole_error_mm", "shaft_error_mm", "first_layer_spread_mm", "min_feature_mm")
"""What coupons measure of a printer."""


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


class MaterialChanges(Card):
    """``[materials.NAME]``: what coupons printed on this printer told of a material, in place of its card's numbers."""

    friction: Friction | None = None
    strain_once: Strain | None = None
    strain_repeated: Strain | None = None
    across_layers: Share | None = None
    kept_30_days: Share | None = None
    kept_50_moves: Share | None = None

    def measured(self) -> dict[str, Measured]:
        """The numbers that are given, by name."""
        given = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: number.measured() for name, number in given.items() if number is not None}


class BeforeCard(Card):
    """``[before]``: what the printer was taken for before its first coupon; every calibration starts from it."""

    numbers: dict[str, Number] = Field(default_factory=dict)
    fits: FamilyCards = Field(default_factory=dict)


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
    materials: dict[str, MaterialChanges] = Field(default_factory=dict)
    before: BeforeCard | None = None
    history: list[Record] = Field(default_factory=list)


@dataclass(frozen=True)
class PrinterFile:
    """All that a printer file holds: the printer, its fits, what it changes of materials, and its history."""

    printer: Printer
    fits: Fits
    materials: Mapping[str, Mapping[str, Measured]]
    before: Mapping[str, Measured]
    fits_before: Fits
    history: tuple[Record, ...]


def parse_printer(text: str, name: str, file: str) -> tuple[Printer, Fits]:
    """A printer and the fits measured on it, from the text of a printer file.

    Raises FigureFileError with file and line for anything the schema does not allow.
    """
    whole = parse_printer_file(text, name, file)
    return whole.printer, whole.fits


def parse_printer_file(text: str, name: str, file: str) -> PrinterFile:
    """Everything in a printer file. Raises FigureFileError with file and line for anything the schema does not allow."""
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
    fits = fits_from_cards(card.fits)
    known = {name: getattr(printer, name) for name in CALIBRATED}
    before = known if card.before is None else known | {k: n.measured() for k, n in card.before.numbers.items()}
    fits_before = fits if card.before is None and not card.history else Fits()
    if card.before is not None:
        fits_before = fits_from_cards(card.before.fits)
    return PrinterFile(
        printer=printer,
        fits=fits,
        materials={name: changes.measured() for name, changes in card.materials.items()},
        before=before,
        fits_before=fits_before,
        history=tuple(card.history),
    )
