"""Right-handed orthonormal frames and rotations."""

from __future__ import annotations

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


def rotation_about(axis: FloatArray, angle_deg: float) -> FloatArray:
    """(3, 3) right-handed rotation about a direction (Rodrigues' formula)."""
    a = unit(axis)
    t = np.radians(angle_deg)
    k = np.array([[0.0, -a[2], a[1]], [a[2], 0.0, -a[0]], [-a[1], a[0], 0.0]])
    return np.asarray(np.eye(3) + np.sin(t) * k + (1.0 - np.cos(t)) * (k @ k))


def rotation_matrix_about(point: FloatArray, axis: FloatArray, angle_deg: float) -> FloatArray:
    """(4, 4) right-handed rotation about the line through ``point`` along ``axis``."""
    m = np.eye(4)
    m[:3, :3] = rotation_about(axis, angle_deg)
    m[:3, 3] = np.asarray(point) - m[:3, :3] @ np.asarray(point)
    return m
