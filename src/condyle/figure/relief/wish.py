"""What a maker allows relief to take at one joint."""

from __future__ import annotations

from dataclasses import dataclass

from condyle.finding import Point


@dataclass(frozen=True)
class KeptBall:
    """A ball, figure coordinates, in which nothing is taken away."""

    centre: Point
    radius_mm: float


@dataclass(frozen=True)
class KeptBox:
    """A box with upright sides, figure coordinates, in which nothing is taken away."""

    low: Point
    high: Point


@dataclass(frozen=True)
class ReliefWish:
    """The budget of one joint; None leaves a limit to the default of its size.

    depth_mm    how deep below a part's own surface material may be taken; 0 cuts nothing
    volume_mm3  how much may be taken from both sides together; 0 cuts nothing
    kept        regions that stay as they are
    refill      whether flesh that one side gives up may be given to the other where it slides free
    """

    depth_mm: float | None = None
    volume_mm3: float | None = None
    kept: tuple[KeptBall | KeptBox, ...] = ()
    refill: bool = True

    @property
    def allows(self) -> bool:
        """Whether anything may be cut at all."""
        return self.depth_mm != 0.0 and self.volume_mm3 != 0.0
