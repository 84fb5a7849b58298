"""Pictures: where things land, what hides what, and that the same scene gives the same picture."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from condyle.errors import UsageError
from condyle.geometry.camera import Camera, camera_around
from condyle.geometry.fields import surface_from_field
from condyle.geometry.mesh import Mesh
from condyle.geometry.raster import Item, layers_of, lettered, png_bytes, render, render_around, vertex_normals
from condyle.geometry.shading import PLAIN

FRONT = Camera((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 40.0)


def ball(radius: float, x: float = 0.0, y: float = 0.0) -> Mesh:
    box = np.array([[x - radius - 1, y - radius - 1, -radius - 1], [x + radius + 1, y + radius + 1, radius + 1]])
    return surface_from_field(lambda p: np.linalg.norm(p - [x, y, 0.0], axis=1) - radius, box, 0.35)


def test_a_ball_covers_its_disc_and_is_nearest_in_the_middle() -> None:
    """Parallel projection: the disc has the area π r² and the depth of the front is −r."""
    layers = layers_of([Item(ball(10.0))], FRONT, (400, 400))
    covered = (layers.owner >= 0).sum() * (40.0 / 400.0) ** 2
    assert covered == pytest.approx(np.pi * 100.0, rel=0.005)
    assert layers.depth.min() == pytest.approx(-10.0, abs=0.02)
    assert layers.normal[200, 200] == pytest.approx([1.0, 0.0, 0.0], abs=0.05)


def test_perspective_by_similar_triangles() -> None:
    """Seen from a distance D a ball's outline has the half angle asin(r / D) (similar triangles)."""
    camera = Camera((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 40.0, perspective_deg=40.0)
    layers = layers_of([Item(ball(10.0))], camera, (400, 400))
    away = 20.0 / np.tan(np.radians(20.0))
    assert camera.distance_mm == pytest.approx(away)
    radius_mm = away * np.tan(np.arcsin(10.0 / away))
    assert (layers.owner >= 0).sum() * 0.01 == pytest.approx(np.pi * radius_mm**2, rel=0.01)
    plane, drift = camera.rays(400, 400)
    here = layers.owner >= 0
    place = plane[here] + layers.depth[here][:, None] * drift[here]
    np.testing.assert_allclose(np.linalg.norm(place, axis=1), 10.0, atol=0.03)


def test_the_nearer_one_hides_the_other_whatever_the_order() -> None:
    near, far = Item(ball(4.0, x=12.0)), Item(ball(8.0, x=-8.0))
    there = layers_of([near, far], FRONT, (200, 200)).owner
    back = layers_of([far, near], FRONT, (200, 200)).owner
    assert there[100, 100] == 0 and back[100, 100] == 1
    np.testing.assert_array_equal(there == 0, back == 1)


def test_left_of_the_figure_is_right_in_a_front_view() -> None:
    """A figure that faces +x has its left at +y; seen from the front that is the viewer's right."""
    layers = layers_of([Item(ball(3.0, y=10.0))], FRONT, (200, 200))
    columns = np.flatnonzero((layers.owner >= 0).any(axis=0))
    assert columns.min() > 100


def test_normals_of_a_ball() -> None:
    mesh = ball(10.0)
    outward = mesh.vertices / np.linalg.norm(mesh.vertices, axis=1, keepdims=True)
    assert np.einsum("ij,ij->i", vertex_normals(mesh), outward).min() > 0.97


def test_picture_is_paper_ink_and_wash() -> None:
    picture = render([Item(ball(10.0), (0.8, 0.3, 0.2))], FRONT, (120, 120), PLAIN, fineness=2)
    assert picture.shape == (120, 120, 3)
    paper = np.array(PLAIN.paper) * 255.0
    np.testing.assert_allclose(picture[3, 3], paper, atol=1.0)
    middle = picture[60, 60].astype(float)
    assert middle[0] > middle[1] > middle[2], "the wash keeps its colour"
    # The outline is the darkest thing on the row through the middle.
    row = picture[60].astype(float).sum(axis=1)
    edge = np.argmin(row[:60])
    assert edge == pytest.approx(60 - 30, abs=2)
    assert row[edge] < 0.55 * paper.sum()


def test_same_picture_and_png_round_trip() -> None:
    items = [Item(ball(8.0))]
    first, second = render_around(items, size=(90, 60), fineness=2), render_around(items, size=(90, 60), fineness=2)
    assert png_bytes(first) == png_bytes(second)
    with Image.open(io.BytesIO(png_bytes(first))) as read:
        np.testing.assert_array_equal(np.asarray(read), first)


def test_camera_around_shows_everything() -> None:
    mesh = ball(8.0, x=20.0)
    for degrees in (0.0, 50.0):
        camera = camera_around([mesh], 35.0, 20.0, aspect=1.5, perspective_deg=degrees)
        seen = camera.project(mesh.vertices, 300, 200)
        assert seen[:, 0].min() > 0 and seen[:, 0].max() < 300
        assert seen[:, 1].min() > 0 and seen[:, 1].max() < 200


def test_letters_are_inked_on_the_spot() -> None:
    blank = np.full((60, 120, 3), 240, dtype=np.uint8)
    marked = lettered(blank, [(60.0, 30.0, "7", 30.0)])
    changed = np.argwhere((marked != blank).any(axis=2))
    assert len(changed) > 20
    assert np.abs(changed.mean(axis=0) - [30.0, 60.0]).max() < 8.0


def test_refusals() -> None:
    with pytest.raises(UsageError):
        Camera((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0)
    with pytest.raises(UsageError):
        render([Item(ball(2.0))], FRONT, (0, 10))
