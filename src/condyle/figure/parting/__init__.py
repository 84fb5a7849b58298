"""Parting: sizes chosen together, one cut through the sculpt, hardware part by part, the volume weighed."""

from condyle.figure.parting.sculpt_to_kit import Progress, part

__all__ = ["Progress", "part"]
