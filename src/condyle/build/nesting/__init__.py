"""Parts on build plates: by their true outlines, with brims and room between, on as few plates as can be."""

from condyle.build.nesting.nest import Item, Nesting, Placed, Plate, Rules, nest, plates_finding

__all__ = ["Item", "Nesting", "Placed", "Plate", "Rules", "nest", "plates_finding"]
