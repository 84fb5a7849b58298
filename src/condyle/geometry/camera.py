"""Where a picture is taken from: parallel or perspective projection of mm to pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.finding import Point
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray, Mesh


@dataclass(frozen=True)
class Camera:
    """A camera that looks at ``target`` (mm) from the side where ``towards_eye`` points.

    span_mm          what the height of the picture shows, at the target
    perspective_deg  the vertical angle of view; 0 is a parallel projection
    """

    target: Point
    towards_eye: Point
    span_mm: float
    up: Point = (0.0, 0.0, 1.0)
    perspective_deg: float = 0.0

    def __post_init__(self) -> None:
        if not self.span_mm > 0 or not 0.0 <= self.perspective_deg < 150.0:
            raise UsageError("camera.view", "a camera needs a span above 0 and an angle of view from 0 to 150 degrees")

    @property
    def axes(self) -> FloatArray:
        """(3, 3): rows are the picture's right and up, and the way back to the eye."""
        back = unit(np.asarray(self.towards_eye))
        up = np.asarray(self.up, dtype=np.float64)
        if np.linalg.norm(np.cross(up, back)) < 1e-6:  # straight from above or below: front of the figure upwards
            up = np.array([1.0, 0.0, 0.0])
        right = unit(np.cross(up, back))
        return np.stack([right, np.cross(back, right), back])

    @property
    def distance_mm(self) -> float:
        """From the eye to the target; meaningless (0) for a parallel projection."""
        if self.perspective_deg == 0.0:
            return 0.0
        return float(self.span_mm / 2.0 / np.tan(np.radians(self.perspective_deg) / 2.0))

    def project(self, points: FloatArray, width: int, height: int) -> FloatArray:
        """Points (n, 3) to (n, 3): column and row in pixels (row 0 on top), and depth in mm away from the eye.

        Depth counts from the target, for both projections; behind the eye a point gets NaN.
        """
        view = (np.asarray(points, dtype=np.float64) - np.asarray(self.target)) @ self.axes.T
        scale = np.full(len(view), height / self.span_mm)
        if self.perspective_deg:
            ahead = self.distance_mm - view[:, 2]
            scale = scale * np.divide(self.distance_mm, ahead, out=np.full(len(view), np.nan), where=ahead > 1e-6)
        return np.stack([width / 2.0 + view[:, 0] * scale, height / 2.0 - view[:, 1] * scale, -view[:, 2]], axis=1)

    def rays(self, width: int, height: int) -> tuple[FloatArray, FloatArray]:
        """Pixel middles' places in the target's plane (h, w, 3) in mm, and where each moves per mm of depth."""
        pixel = self.span_mm / height
        column = (np.arange(width) + 0.5 - width / 2.0) * pixel
        row = (height / 2.0 - np.arange(height) - 0.5) * pixel
        right, up, back = self.axes
        plane = np.asarray(self.target) + column[None, :, None] * right + row[:, None, None] * up
        if self.perspective_deg:
            eye = np.asarray(self.target) + back * self.distance_mm
            drift = (plane - eye) / self.distance_mm
        else:
            drift = np.broadcast_to(-back, plane.shape)
        return plane, drift


def camera_around(
    meshes: Sequence[Mesh],
    azimuth_deg: float,
    elevation_deg: float,
    *,
    aspect: float = 1.0,
    perspective_deg: float = 0.0,
    margin: float = 0.06,
) -> Camera:
    """A camera that shows all of the meshes. Azimuth 0 faces the figure's front (+x), 90 its left side (+y)."""
    points = np.concatenate([m.vertices for m in meshes])
    a, e = np.radians(azimuth_deg), np.radians(elevation_deg)
    eye = (float(np.cos(a) * np.cos(e)), float(np.sin(a) * np.cos(e)), float(np.sin(e)))
    axes = Camera((0.0, 0.0, 0.0), eye, 1.0).axes
    view = points @ axes.T
    low, high = view.min(axis=0), view.max(axis=0)
    middle = ((low + high) / 2.0) @ axes
    span = max(high[1] - low[1], (high[0] - low[0]) / aspect) * (1.0 + 2.0 * margin)
    if perspective_deg:  # the near side looks larger than the middle does
        span += (high[2] - low[2]) * np.tan(np.radians(perspective_deg) / 2.0)
    target = (float(middle[0]), float(middle[1]), float(middle[2]))
    return Camera(target, eye, float(span), perspective_deg=perspective_deg)
