"""Relief: material taken away, or handed to the other side, so that a part can move."""

from condyle.figure.relief.wish import KeptBall, KeptBox, ReliefWish

__all__ = ["KeptBall", "KeptBox", "ReliefWish"]
