"""Right-handed orthonormal frames and rotations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.geometry.mesh import FloatArray


def unit(vector: FloatArray) -> FloatArray:
    """The vector at length 1; ValueError for one without length."""
    v = np.asarray(vector, dtype=np.float64)
    length = float(np.linalg.norm(v))
    if not length > 1e-12:
        raise ValueError("a direction needs a length")
    return v / length


@dataclass(frozen=True, eq=False)
class Frame:
    """An origin (3,) in mm and a rotation (3, 3) whose columns are the frame's x, y, z in outer coordinates."""

    origin: FloatArray
    rotation: FloatArray

    @property
    def x(self) -> FloatArray:
        return self.rotation[:, 0]

    @property
    def y(self) -> FloatArray:
        return self.rotation[:, 1]

    @property
    def z(self) -> FloatArray:
        return self.rotation[:, 2]

    @property
    def matrix(self) -> FloatArray:
        """(4, 4): from frame coordinates to outer coordinates."""
        m = np.eye(4)
        m[:3, :3] = self.rotation
        m[:3, 3] = self.origin
        return m

    @property
    def inverse(self) -> FloatArray:
        """(4, 4): from outer coordinates to frame coordinates."""
        m = np.eye(4)
        m[:3, :3] = self.rotation.T
        m[:3, 3] = -self.rotation.T @ self.origin
        return m

    def to_outer(self, points: FloatArray) -> FloatArray:
        return np.asarray(points) @ self.rotation.T + self.origin

    def to_local(self, points: FloatArray) -> FloatArray:
        return (np.asarray(points) - self.origin) @ self.rotation


def frame_from_zx(origin: FloatArray, z: FloatArray, x_hint: FloatArray) -> Frame:
    """A frame with the given z and an x as near to ``x_hint`` as being square to z allows; y = z × x.

    ValueError when the hint lies along z.
    """
    zu = unit(z)
    xu = np.asarray(x_hint, dtype=np.float64)
    xu = unit(xu - zu * float(xu @ zu))
    return Frame(np.asarray(origin, dtype=np.float64), np.stack([xu, np.cross(zu, xu), zu], axis=1))


def rotation_about(axis: FloatArray | Sequence[float], angle_deg: float) -> FloatArray:
    """(3, 3) right-handed rotation about a direction (Rodrigues' formula)."""
    x, y, z = (float(v) for v in axis)
    length = math.sqrt(x * x + y * y + z * z)
    if not length > 1e-12:
        raise ValueError("a direction needs a length")
    x, y, z = x / length, y / length, z / length
    t = math.radians(angle_deg)
    c, s = math.cos(t), math.sin(t)
    v = 1.0 - c
    # On plain floats: poses turn joints tens of thousands of times.
    return np.array(
        [
            [c + v * x * x, v * x * y - s * z, v * x * z + s * y],
            [v * x * y + s * z, c + v * y * y, v * y * z - s * x],
            [v * x * z - s * y, v * y * z + s * x, c + v * z * z],
        ]
    )


def rotation_matrix_about(point: FloatArray, axis: FloatArray, angle_deg: float) -> FloatArray:
    """(4, 4) right-handed rotation about the line through ``point`` along ``axis``."""
    m = np.eye(4)
    m[:3, :3] = rotation_about(axis, angle_deg)
    m[:3, 3] = np.asarray(point) - m[:3, :3] @ np.asarray(point)
    return m
