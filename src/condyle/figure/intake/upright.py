"""Signed axes in words, and the turn that brings a sculpt's up to z and its front to x."""

from __future__ import annotations

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.mesh import FloatArray

_AXES = "xyz"


def axis_vector(word: str, what: str) -> FloatArray:
    """``"z"``, ``"+z"`` or ``"-y"`` as a vector (3,); UsageError, naming ``what``, for anything else."""
    letter = word.strip().lower().removeprefix("+")
    sign = -1.0 if letter.startswith("-") else 1.0
    letter = letter.removeprefix("-")
    if letter not in ("x", "y", "z"):
        raise UsageError(
            "intake.axis",
            f"{what} is a signed axis, not {word!r}",
            hint="one of x, -x, y, -y, z, -z of the sculpt's file",
        )
    return np.asarray(sign * np.eye(3)[_AXES.index(letter)])


def axis_word(vector: FloatArray) -> str:
    """The signed axis nearest to a vector (3,), in words."""
    k = int(np.argmax(np.abs(vector)))
    return ("-" if vector[k] < 0 else "") + _AXES[k]


def nearest_axis(vector: FloatArray) -> tuple[FloatArray, float]:
    """The signed axis nearest to a vector (3,), and the angle between them in degrees."""
    axis = axis_vector(axis_word(vector), "direction")
    cosine = float(axis @ vector / np.linalg.norm(vector))
    return axis, float(np.degrees(np.arccos(min(1.0, cosine))))


def turn_to(up: FloatArray, facing: FloatArray | None) -> FloatArray:
    """Rotation (3, 3) that takes ``up`` to z and ``facing`` to x; both signed axes, UsageError when along one line.

    Without a facing, the one that turns least: x stays x where it can.
    """
    if facing is None:
        facing = next(a for a in np.eye(3) if abs(float(a @ up)) < 0.5)
    if abs(float(facing @ up)) > 0.5:
        raise UsageError(
            "intake.axes",
            "up and facing lie along one line",
            hint="a figure faces sideways to its up: for up z, facing is x, -x, y or -y",
        )
    return np.stack([facing, np.cross(up, facing), up])
