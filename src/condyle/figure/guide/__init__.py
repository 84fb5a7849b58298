"""The sculptor's guide: a skeleton's hardware, the flesh that it fills and sweeps at true size, to model around."""

from condyle.figure.guide.build import Guide, sculptors_guide

__all__ = ["Guide", "sculptors_guide"]
