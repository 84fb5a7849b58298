"""Raised letters of our own that a nozzle can print: straight strokes of one width, drawn on a grid of 2 by 4.

A stroke is never narrower than what prints reliably, and the letters are so tall that the gaps inside an 8 stay open.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, region_from_rings
from condyle.geometry.solid import Solid, extrude
from condyle.workshop.printer import Printer

# Strokes as runs of points "xy" on the grid, x 0 to 2 to the right, y 0 to 4 up.
_STROKES: dict[str, tuple[str, ...]] = {
    "0": ("00 20 24 04 00",), "1": ("03 14 10", "00 20"), "2": ("04 24 22 02 00 20",), "3": ("04 24 20 00", "02 22"),
    "4": ("04 02 22", "24 20"), "5": ("24 04 02 22 20 00",), "6": ("24 04 00 20 22 02",), "7": ("04 24 10",),
    "8": ("00 20 24 04 00", "02 22"), "9": ("22 02 04 24 20 00",), "A": ("00 03 14 23 20", "02 22"),
    "B": ("00 04 14 23 12 02", "12 21 10 00"), "C": ("24 04 00 20",), "D": ("00 04 14 23 21 10 00",),
    "E": ("24 04 00 20", "02 12"), "F": ("24 04 00", "02 12"), "G": ("24 04 00 20 22 12",), "H": ("00 04", "20 24", "02 22"),
    "I": ("10 14",), "J": ("24 20 00 01",), "K": ("00 04", "24 02 20"), "L": ("04 00 20",), "M": ("00 04 12 24 20",), "N": ("00 04 20 24",),
    "P": ("00 04 24 22 02",), "R": ("00 04 24 22 02 20",), "S": ("24 04 02 22 20 00",), "T": ("04 24", "14 10"),
    "U": ("04 00 20 24",), "V": ("04 10 24",), "W": ("04 00 12 20 24",), "X": ("00 24", "04 20"), "Y": ("04 12 24", "12 10"),
    "Z": ("04 24 00 20",), "-": ("02 22",), "+": ("02 22", "13 11"), ".": ("10 10",), " ": (),
}  # fmt: skip
_NARROW = {"I": 1.0, "1": 1.0, ".": 1.0}


@dataclass(frozen=True)
class Hand:
    """How letters are written: width of the strokes, height of the capitals with their strokes, and relief, in mm."""

    stroke_mm: float
    capital_mm: float
    relief_mm: float

    @property
    def grid_mm(self) -> float:
        return (self.capital_mm - self.stroke_mm) / 4.0

    @property
    def gap_mm(self) -> float:
        """Between neighbouring letters, and the narrowest inside one: as wide as a stroke, or nearly."""
        return max(0.75 * self.stroke_mm, 0.3)


def hand_for(printer: Printer) -> Hand:
    """Strokes of two lines or the smallest feature, at least 0.5 mm; relief of three layers, at least 0.4 mm.

    Common practice, no source.
    """
    line, layer = printer.line_mm.value, printer.layer_mm.value
    stroke = round(max(2.0 * line, printer.min_feature_mm.value, 0.5), 2)
    # The gap between the bars of an 8 is half the inner height less a stroke.
    inner = max(0.75 * stroke, line, 0.4)
    return Hand(stroke, round(3.0 * stroke + 2.0 * inner, 2), round(layer * math.ceil(max(3.0, 0.4 / layer)), 3))


def width_mm(text: str, hand: Hand) -> float:
    """How wide a text comes out."""
    wide = sum(_advance(letter, hand) for letter in text)
    return wide - hand.gap_mm if text else 0.0


def raised(text: str, hand: Hand, at: tuple[float, float, float]) -> Solid:
    """A text standing on a level face, its middle at ``at`` (x, y of the middle, z of the face), read along +x.

    The letters reach 0.05 mm into the face, so that both become one body. UsageError for a letter we cannot write.
    """
    x = at[0] - 0.5 * width_mm(text, hand)
    shape: Region | None = None
    for letter in text:
        drawn = _letter(letter, hand, x)
        if drawn is not None:
            shape = drawn if shape is None else shape | drawn
        x += _advance(letter, hand)
    if shape is None:
        raise UsageError("label.empty", f"nothing to write in {text!r}")
    body = extrude(shape.rings(), hand.relief_mm + 0.05, f"label {text}")
    return body.translated((0.0, at[1] - 0.5 * hand.capital_mm, at[2] - 0.05))


def _advance(letter: str, hand: Hand) -> float:
    columns = _NARROW.get(letter, 2.0) if letter != "1" else 2.0
    return (0.0 if letter in "I." else columns * hand.grid_mm) + hand.stroke_mm + hand.gap_mm


def _letter(letter: str, hand: Hand, x_mm: float) -> Region | None:
    if letter not in _STROKES:
        raise UsageError("label.letter", f"no letter {letter!r} for labels", hint="capitals, digits, + - and .")
    shift = -1.0 if letter in "I." else 0.0
    shape: Region | None = None
    for run in _STROKES[letter]:
        points = [np.array([float(p[0]) + shift, float(p[1])]) * hand.grid_mm for p in run.split()]
        for a, b in itertools.pairwise(points):
            stroke = region_from_rings([_capsule(a + _base(hand, x_mm), b + _base(hand, x_mm), 0.5 * hand.stroke_mm)])
            shape = stroke if shape is None else shape | stroke
    return shape


def _base(hand: Hand, x_mm: float) -> FloatArray:
    return np.array([x_mm + 0.5 * hand.stroke_mm, 0.5 * hand.stroke_mm])


def _capsule(a: FloatArray, b: FloatArray, radius: float) -> FloatArray:
    """A stroke with round ends, 12 points a half circle; a full dot where both ends are the same."""
    way = b - a
    turn = math.atan2(way[1], way[0]) if float(np.abs(way).max()) > 0 else 0.0
    half = _half_circle()
    c, s = math.cos(turn), math.sin(turn)
    rotate = np.array([[c, -s], [s, c]])
    return np.concatenate([b + radius * half @ rotate.T, a - radius * half @ rotate.T])


@lru_cache(maxsize=1)
def _half_circle() -> FloatArray:
    angle = np.linspace(-0.5 * math.pi, 0.5 * math.pi, 13)
    return np.stack([np.cos(angle), np.sin(angle)], axis=1)
