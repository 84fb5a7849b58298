"""How a part is filled and coated: what its weight depends on beyond its outside."""

from __future__ import annotations

import math
from dataclasses import dataclass

from condyle.errors import UsageError
from condyle.workshop.bench import Workshop


@dataclass(frozen=True)
class Recipe:
    """What the printer is told about a part's inside, and what is painted on.

    lines          outer lines (walls) of a filament print, each one line width thick; three are common practice, no source
    fill           share of the inside that is filled, 0 to 1; the start value is common practice, no source
    hollow_mm      wall of a resin part weighed as if hollow; 0 weighs it as it is drawn
    solid_hardware balls, sockets, tongues and studs are printed full
    coat_mm        thickness of all dry coats together, on the skin only; two thin coats by default (common practice)
    coat_g_cm3     density of the dry paint (common practice, no source)
    """

    lines: int = 3
    fill: float = 0.15
    hollow_mm: float = 0.0
    solid_hardware: bool = True
    coat_mm: float = 0.04
    coat_g_cm3: float = 1.4

    def __post_init__(self) -> None:
        if not (self.lines >= 1 and 0.0 <= self.fill <= 1.0 and self.hollow_mm >= 0.0 and self.coat_mm >= 0.0):
            raise UsageError("workshop.recipe", f"lines from 1, a fill from 0 to 1, walls and coats from 0, not {self}")
        if not (math.isfinite(self.hollow_mm) and math.isfinite(self.coat_mm) and self.coat_g_cm3 > 0.0):
            raise UsageError("workshop.recipe", "walls and coats are lengths in mm")

    def wall_mm(self, workshop: Workshop) -> float:
        """How deep a part is full, in mm; infinite where it is full throughout."""
        if workshop.printer.process == "resin":
            return self.hollow_mm if self.hollow_mm > 0.0 else math.inf
        return math.inf if self.fill >= 1.0 else self.lines * workshop.printer.line_mm.value

    def inside(self, workshop: Workshop) -> float:
        """The share of the inside that is filled: a hollowed resin part is empty."""
        return self.fill if workshop.printer.process == "filament" else 0.0
