"""The seam: to the side where a part is cut, then to the figure's back, and never along a bearing where that can be helped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from condyle.build.faces import HIDDEN, SHOW
from condyle.build.layers import layers_of
from condyle.build.seam import seam
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import subtract, union
from tests.build.forms import part_of, rules, standing

RULES = rules()


def laid(part, move=None):
    move = standing(part.solid) if move is None else move
    found = seam(part, layers_of(part.mesh.transformed(move), RULES.layer_mm), move)
    assert found is not None
    return found


def test_a_round_post_that_shows_all_around_takes_it_at_its_back():
    found = laid(part_of(cylinder(5.0, 0.0, 20.0)))
    assert found.way == pytest.approx((-1.0, 0.0, 0.0), abs=1e-6)
    assert found.words == "its back"
    # One outline a layer: the seam is as long as the post is tall, and all of it shows.
    assert found.show_mm == found.total_mm == pytest.approx(20.0, abs=2 * RULES.layer_mm)
    assert found.bearing_mm == 0.0


def test_it_goes_to_a_cut_face_even_at_the_front():
    post = cylinder(5.0, 0.0, 20.0)
    # The sculpt reaches on before x = 1: the front of the post is cut out of it, its back is skin.
    sculpt = union([post, box((1, -6, 0), (30, 6, 20))])
    part = replace(part_of(post), skin=Bvh(sculpt.mesh))
    assert part.kinds_at(np.array([[5.0, 0.0, 7.0], [-5.0, 0.0, 7.0]])).tolist() == [HIDDEN, SHOW]
    found = laid(part)
    assert found.show_mm == 0.0
    assert found.way[0] > 0.5


def test_it_keeps_off_a_bearing_on_one_side_and_owns_up_to_a_bore():
    part = part_of(cylinder(5.0, 0.0, 20.0), bearings=(box((-6, -6, 0), (-1, 6, 21)),))
    found = laid(part)
    assert found.bearing_mm == 0.0 and found.way[0] > -0.3
    pipe = subtract(cylinder(5.0, 0.0, 20.0), [cylinder(3.0, -1.0, 21.0, "outside")])
    bored = laid(part_of(pipe, bearings=(cylinder(3.2, -1.0, 21.0),)))
    # Its bore has an outline of its own in each layer, and a seam on whichever side.
    assert bored.bearing_mm == pytest.approx(20.0, abs=2 * RULES.layer_mm)
    assert bored.total_mm == pytest.approx(40.0, abs=4 * RULES.layer_mm)


def test_an_outline_begins_off_the_bearing_where_any_of_it_is_free():
    """The whole back of a post bears but for a strip: barred from it, the seam keeps to the strip and the front shows none."""
    post = cylinder(5.0, 0.0, 20.0)
    part = part_of(post, bearings=(box((-6, -6, 0), (4.9, 6, 21)),))
    found = laid(part)
    assert found.bearing_mm == 0.0 and found.at is None
    whole = laid(part_of(post, bearings=(box((-6, -6, 0), (6, 6, 12)),)))
    assert whole.bearing_mm == pytest.approx(12.0, abs=2 * RULES.layer_mm)
    assert whole.at is not None and 0.0 < whole.at[2] < 12.0


def test_sides_are_those_of_the_figure_however_the_part_lies():
    lying = np.array([[0.0, 0, 1, 0], [0, 1, 0, 0], [-1, 0, 0, 5.0], [0, 0, 0, 1]])  # its front points down
    found = laid(part_of(box((-5, -5, 0), (5, 5, 20))), lying)
    assert found.way[0] == pytest.approx(0.0, abs=1e-9)
    assert np.linalg.norm(found.way) == pytest.approx(1.0)
