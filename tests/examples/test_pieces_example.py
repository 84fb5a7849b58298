"""The example of a figure in pieces, from its files to the seated helmet."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from condyle.project.pipeline import open_figure, take_in_sculpt
from condyle.project.watch import Watch


@pytest.mark.slow
def test_the_helmet_and_the_body_come_to_one_figure(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location(
        "pieces", Path(__file__).parents[2] / "examples" / "02-pieces" / "make.py"
    )
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    opened = open_figure(module.write(tmp_path, 1.0), keep=False)
    taken = take_in_sculpt(opened, Watch())
    (helmet,) = taken.pieces
    # the whole figure is 150 mm tall with its helmet on; the body alone ends at the crown of the head under it
    assert helmet.solid.bounds[1, 2] == pytest.approx(150.0, abs=0.2)
    assert taken.intake.solid.bounds[0, 2] == pytest.approx(0.0, abs=0.05)
    assert 140.0 < taken.intake.solid.bounds[1, 2] < 148.0
    assert helmet.bone == "head" and helmet.how == "pegged"
