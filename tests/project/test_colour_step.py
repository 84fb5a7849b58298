"""Colours of a figure file and of a sculpt, brought together on the parts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from condyle.errors import FigureFileError
from condyle.figure.kit import Balance, Kit, Part
from condyle.finish.drawn import Brush
from condyle.geometry.primitives import box
from condyle.project.colour_step import drawn_colours
from condyle.project.figure_file import parse_figure
from condyle.project.sculpt import load_sculpt

HEAD = """schema = 1
[figure]
name = "bar"
sculpt = "bar.ply"
height_mm = 100.0
[skeleton]
template = "upright"
"""
KIT = Kit(
    (Part("chest", "chest", box((0, 0, 0), (10, 10, 50))), Part("head", "head", box((0, 0, 50), (10, 10, 100)))),
    (),
    Balance(0.0, 0.0, 0.0, 0.0, 0.0),
)
LOW, MIDDLE, HIGH = np.array([[5.0, 0.0, 20.0], [5.0, 0.0, 45.0], [5.0, 0.0, 90.0]])


def sculpt(folder: Path, *, coloured: bool) -> Path:
    """A bar in metres, its upper half red: as another library writes it."""
    mesh = trimesh.util.concatenate(
        [trimesh.creation.box((0.01, 0.01, 0.05)), trimesh.creation.box((0.01, 0.01, 0.05))]
    )
    mesh.vertices[:, :2] += 0.005
    mesh.vertices[:8, 2] += 0.025
    mesh.vertices[8:, 2] += 0.075
    if coloured:
        mesh.visual = trimesh.visual.ColorVisuals(
            mesh, np.repeat([[20, 40, 180, 255], [200, 30, 20, 255]], 12, axis=0).astype(np.uint8)
        )
    (folder / "bar.ply").write_bytes(mesh.export(file_type="ply"))
    return folder / "bar.ply"


def brush_of(folder: Path, text: str, *, coloured: bool) -> tuple[Brush, list[str]]:
    path = sculpt(folder, coloured=coloured)
    document = parse_figure(folder / "figure.toml", HEAD + text)
    drawn = drawn_colours(document, load_sculpt([path]), KIT, np.diag([1000.0, 1000.0, 1000.0, 1.0]))
    return Brush(drawn), [c.name for c in drawn.colours]


def test_the_sculpts_own_colours_come_through_the_scaling(tmp_path: Path) -> None:
    brush, names = brush_of(tmp_path, "", coloured=True)
    low, high = brush.faces("chest", np.array([LOW, HIGH]))
    assert names[low] == "dark blue"
    assert names[high] == "red"


def test_rules_go_over_them_in_order(tmp_path: Path) -> None:
    text = """
[[colours]]
name = "brass"
rgb = [190, 150, 60]
parts = ["head"]
[[colours]]
name = "lamp"
rgb = [250, 250, 200]
spheres = [[5.0, 0.0, 90.0, 3.0]]
boxes = [[[0.0, -1.0, 40.0], [10.0, 1.0, 48.0]]]
"""
    brush, names = brush_of(tmp_path, text, coloured=True)
    chest = [names[k] for k in brush.faces("chest", np.array([LOW, MIDDLE, HIGH]))]
    head = [names[k] for k in brush.faces("head", np.array([LOW, MIDDLE, HIGH]))]
    assert chest == ["dark blue", "lamp", "lamp"]
    assert head == ["brass", "lamp", "lamp"]


def test_without_any_colours_a_piece_is_a_region_of_its_own(tmp_path: Path) -> None:
    text = '[pieces.head]\nfile = "bar.ply"\nbone = "head"\n'
    brush, names = brush_of(tmp_path, text, coloured=False)
    assert [names[k] for k in brush.faces("head", np.array([HIGH]))] == ["head"]
    assert names[-1] == "base colour"


def test_without_colours_all_is_the_rest(tmp_path: Path) -> None:
    brush, names = brush_of(tmp_path, '[[colours]]\nname = "ochre"\nrgb = [190, 140, 60]\n', coloured=False)
    assert [names[k] for k in brush.faces("chest", np.array([LOW, HIGH]))] == ["ochre", "ochre"]
    brush, names = brush_of(tmp_path, "", coloured=False)
    assert names == ["base colour"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[colours]]\nname = "a"\nrgb = [1, 2, 3]\nparts = ["haed"]\n', "head"),
        ('[[colours]]\nname = "a"\nrgb = [1, 2, 300]\n', "255"),
        ('[[colours]]\nname = "a"\nrgb = [1, 2, 3]\nboxes = [[[0.0, 0.0, 9.0], [1.0, 1.0, 1.0]]]\n', "lower corner"),
        ('[[colours]]\nname = "a"\nrgb = [1, 2, 3]\nwhere = "head"\n', "where"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(FigureFileError) as caught:
        brush_of(tmp_path, text, coloured=False)
    assert said in f"{caught.value.message} {caught.value.hint}"
    assert caught.value.place.line is not None
    assert caught.value.place.line >= 8
