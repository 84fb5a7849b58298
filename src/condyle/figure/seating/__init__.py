"""Seating: the skeleton finds its place in a sculpt. One call, ``seat``; everything else here is its inside."""

from condyle.figure.seating.seat import Seating, seat

__all__ = ["Seating", "seat"]
