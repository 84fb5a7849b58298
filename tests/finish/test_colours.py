"""Areas, borders and pots of paint, held against forms whose measures are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.finish.colours import Colour, lab, part_colours, pots
from condyle.finish.drawn import Brush, Drawn, Rule, word_for
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import box

RED, BLUE = Colour("red", (200, 30, 20)), Colour("blue", (20, 40, 180))


def test_cielab_of_known_colours() -> None:
    # Sharma, Wu and Dalal, Color Res. Appl. 30 (2005) 21, use the same CIELAB; sRGB primaries from memory:
    # red is (53.24, 80.09, 67.20), white (100, 0, 0).
    red, white = lab(np.array([[255, 0, 0], [255, 255, 255]]))
    assert red == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    assert white == pytest.approx([100.0, 0.0, 0.0], abs=0.05)


def test_a_band_round_a_cylinder() -> None:
    """A belt between z = 8 and z = 12 round a cylinder of radius 5: 2πr·4 of area, two borders of 2πr."""
    # Rings between shared circles, so that edges run along the borders.
    n = 96
    angles = np.arange(n) * 2 * np.pi / n
    rings = [np.column_stack([5 * np.cos(angles), 5 * np.sin(angles), np.full(n, z)]) for z in (0.0, 8.0, 12.0, 20.0)]
    faces = []
    for r in range(3):
        for k in range(n):
            a, b = r * n + k, r * n + (k + 1) % n
            faces += [(a, b, b + n), (a, b + n, a + n)]
    mesh = Mesh(np.concatenate(rings), np.array(faces, dtype=np.int32))
    drawn = Drawn((BLUE, RED), rules=(Rule(1, boxes=(((-9.0, -9.0, 8.0), (9.0, 9.0, 12.0)),)),))
    of = Brush(drawn).faces("bar", mesh.corners.mean(axis=1))
    told = part_colours("bar", mesh, of, np.ones(mesh.triangle_count, dtype=bool), drawn.colours)
    around = 2 * n * 5 * np.sin(np.pi / n)
    assert told.area_mm2["red"] == pytest.approx(4.0 * around, rel=1e-9)
    assert told.border_mm == pytest.approx(2.0 * around, rel=1e-9)
    assert told.plain is None
    assert [(s.colour, s.parts, s.joints) for s in told.splits] == [("red", 1, 1)]
    assert told.splits[0].saves_mm == pytest.approx(2.0 * around, rel=1e-9)


def test_hidden_faces_have_no_colour_and_a_part_of_one_colour_is_plain() -> None:
    mesh = box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)).mesh
    seen = mesh.normals[:, 2] > 0.5
    told = part_colours("lid", mesh, np.zeros(mesh.triangle_count, dtype=np.int32), seen, (RED, BLUE))
    assert dict(told.area_mm2) == {"red": pytest.approx(100.0)}
    assert told.plain == "red"
    assert told.border_mm == 0.0
    assert told.splits == ()


def test_colours_of_the_sculpt_reach_a_part_cut_from_it_and_rules_go_over_them() -> None:
    sculpt = box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)).mesh
    of_face = np.where(sculpt.normals[:, 2] > 0.5, 1, 0).astype(np.int32)
    rule = Rule(0, spheres=(((9.0, 9.0, 10.0), 1.5),))
    drawn = Drawn((BLUE, RED), sculpt, of_face, np.zeros(len(of_face), dtype=np.int32), (rule,), 0)
    points = np.array([[5.0, 5.0, 10.0], [5.0, 5.0, 0.0], [9.0, 9.0, 10.0]])
    assert Brush(drawn).faces("body", points).tolist() == [1, 0, 0]
    named = Drawn((BLUE, RED), rules=(Rule(1, parts=("head",)),))
    assert Brush(named).faces("head", points).tolist() == [1, 1, 1]
    assert Brush(named).faces("chest", points).tolist() == [0, 0, 0]


def test_many_shades_come_down_to_a_few_pots() -> None:
    seed = np.random.default_rng(7)
    reds = np.clip(np.array(RED.rgb) + seed.integers(-4, 5, (500, 3)), 0, 255)
    blues = np.clip(np.array(BLUE.rgb) + seed.integers(-4, 5, (100, 3)), 0, 255)
    found, of = pots(np.concatenate([reds, blues]).astype(np.uint8), np.ones(600))
    assert len(found) == 2
    assert len(set(of[:500])) == len(set(of[500:])) == 1
    assert of[0] != of[-1]


@pytest.mark.parametrize(
    ("rgb", "word"), [((0, 0, 0), "black"), ((255, 255, 255), "white"), ((128, 128, 128), "grey"), ((200, 30, 20), "red"),
                      ((20, 40, 160), "blue"), ((30, 140, 40), "green"), ((110, 70, 40), "brown"), ((230, 210, 40), "yellow")]
)  # fmt: skip
def test_words_for_colours(rgb: tuple[int, int, int], word: str) -> None:
    assert word in word_for(rgb)
