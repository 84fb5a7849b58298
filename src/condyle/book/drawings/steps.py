"""A step of assembly: what is brought, drawn away from where it goes, with the line of its way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.book.drawings.figure import LINE, tinted
from condyle.finding import Point
from condyle.finish.assembly import AssemblyStep
from condyle.geometry.camera import camera_around
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.raster import png_bytes, render

_ELEVATION_DEG = 10.0


@dataclass(frozen=True)
class StepDrawing:
    """A PNG, and the way's ends as shares of its width and height from the top left."""

    png: bytes
    arrow: tuple[tuple[float, float], tuple[float, float]]


def step_drawing(
    step: AssemblyStep, centre: Point, meshes: Mapping[str, Mesh], size: tuple[int, int] = (660, 560)
) -> StepDrawing:
    """Draw one step, seen from the side from which its way looks longest and the joint is not hidden."""
    home = np.asarray(step.mating.direction, dtype=np.float64)
    near = (step.mating.stays, step.mating.moves)
    reach = max(float(np.ptp(meshes[n].vertices @ home)) for n in near)
    out = -home * min(max(0.6 * reach, 10.0), 26.0)
    # The two parts that meet, and of the rest only what hangs close by, so that the joint is large in the picture.
    brings = _close(step.brings, step.mating.moves, meshes)
    onto = _close(step.onto, step.mating.stays, meshes)
    shown = {n: meshes[n] for n in onto}
    shown |= {n: Mesh(meshes[n].vertices + out, meshes[n].faces) for n in brings}
    azimuth = _side(home, np.asarray(centre), [meshes[n] for n in onto])
    camera = camera_around(list(shown.values()), azimuth, _ELEVATION_DEG, aspect=size[0] / size[1], margin=0.08)
    picture = render(tinted({**meshes, **shown}, [*onto, *brings]), camera, size, LINE, fineness=2)
    ends = camera.project(np.array([np.asarray(centre) + out, np.asarray(centre)]), *size)[:, :2]
    a, b = ends / np.array(size, dtype=np.float64)
    return StepDrawing(png_bytes(picture), ((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))))


def _close(names: tuple[str, ...], middle: str, meshes: Mapping[str, Mesh]) -> list[str]:
    """Of a group, the part that meets and those that reach into its surroundings."""
    low, high = meshes[middle].bounds
    size = float(np.linalg.norm(high - low))
    low, high = low - 0.35 * size, high + 0.35 * size
    return [
        n
        for n in names
        if n == middle or bool(np.all(meshes[n].bounds[0] <= high) and np.all(meshes[n].bounds[1] >= low))
    ]


def _side(home: FloatArray, centre: FloatArray, onto: list[Mesh]) -> float:
    """The azimuth, of twelve, that sees the way most square and the joint's mouth least hidden; the front preferred."""
    best, found = -np.inf, 24.0
    points = np.concatenate([m.vertices[:: max(1, len(m.vertices) // 400)] for m in onto])
    for azimuth in np.arange(24.0, 384.0, 30.0):
        a, e = np.radians(azimuth), np.radians(_ELEVATION_DEG)
        eye = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
        square = 1.0 - abs(float(home @ eye))
        before = float(np.mean((points - centre) @ eye > 0.0))
        worth = square - 0.6 * before + 0.25 * np.cos(a - np.radians(24.0))
        if worth > best:
            best, found = worth, float(azimuth)
    return found
