"""The portrait is a picture of the asked size, with ink on paper, the same each time."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from condyle.demo.diver import diver, made_of
from condyle.demo.diver_metal import BRASS, CANVAS, COPPER, GLASS, LEAD, LEATHER, RUBBER
from condyle.demo.portrait import portrait
from condyle.geometry.shading import PLATE


def test_portrait() -> None:
    first = portrait(20_000, (240, 180), fineness=1)
    assert first == portrait(20_000, (240, 180), fineness=1)
    with Image.open(io.BytesIO(first)) as read:
        picture = np.asarray(read).astype(float) / 255.0
    assert picture.shape == (180, 240, 3)
    paper = np.abs(picture - PLATE.paper).max(axis=2) < 0.08
    ink = picture.max(axis=2) < 0.3
    assert paper.mean() > 0.4
    assert ink.mean() > 0.02


def test_each_place_is_made_of_what_it_should_be() -> None:
    """By height and place (the design's own words): helmet above, boots below, gloves out at the sides."""
    mesh = diver(60_000)
    of = made_of(mesh.vertices)
    x, y, z = mesh.vertices.T
    assert set(of[(z > 125.0)]) <= {COPPER, BRASS, GLASS}
    assert set(of[z < 3.0]) == {LEAD}
    assert set(of[(np.abs(y) > 58.0) & (z < 63.0)]) == {RUBBER}
    assert set(of[(z > 50.0) & (z < 70.0) & (np.abs(y) < 22.0)]) == {CANVAS}
    assert LEATHER in of[(z > 8.0) & (z < 25.0)]
    assert GLASS in of[(x > 14.0) & (z > 127.0)]
