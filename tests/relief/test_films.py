"""No film beside a cut: plain slabs and corners as fields of distance, whose thickness is known by construction."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.figure.relief.through import through
from condyle.geometry.gridfield import Values

STEP, WALL = 0.25, 0.84
X, Y, _ = np.meshgrid(*[np.arange(-3.0, 3.0, STEP) + 0.03] * 3, indexing="ij")


def band(values: np.ndarray) -> Values:
    return np.asarray(np.clip(values, -0.5, 0.5), dtype=np.float32)


def stands(tool: Values, flesh: Values) -> np.ndarray:
    return (flesh < 0.0) & (tool >= 0.0)


@pytest.mark.parametrize("thick", [0.005, 0.1, 0.25])
@pytest.mark.parametrize("slant", [0.0, 30.0, 45.0])
def test_a_film_between_a_tool_and_a_face_goes_with_the_tool(thick: float, slant: float) -> None:
    along = X * math.cos(math.radians(slant)) + Y * math.sin(math.radians(slant))
    flesh, tool = band(along - thick), band(along)
    gone = through(tool, flesh, STEP, WALL)
    assert not stands(gone, flesh).any()
    # The tool's own surface now lies beyond the face, so that none of the film is left between two points of the grid.
    assert (gone[np.abs(along - thick) < 0.02] < 0.0).all()
    assert (gone <= tool).all()


def test_a_wall_and_a_corner_stay() -> None:
    wall, tool = band(X - WALL), band(X)
    assert np.array_equal(through(tool, wall, STEP, WALL), tool)
    # A tool that leaves flesh square through its skin: the corner between the two faces is no film.
    corner = band(Y)
    assert np.array_equal(through(tool, corner, STEP, WALL), tool)


def test_a_feather_edge_is_blunted_to_a_third_of_a_wall() -> None:
    turn = math.radians(15.0)
    tool, flesh = band(X), band(X * math.cos(turn) + Y * math.sin(turn))
    left = stands(through(tool, flesh, STEP, WALL), flesh)
    # Between the two faces the way across is the sum of the ways to either (to the second order of the angle).
    across = np.where(left, np.maximum(X, 0.0) + np.maximum(-(X * math.cos(turn) + Y * math.sin(turn)), 0.0), np.inf)
    assert left.any()
    assert across.min() >= 0.35 * WALL - 1e-6
