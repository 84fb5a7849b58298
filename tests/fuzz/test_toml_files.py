"""Whatever stands in a maker's TOML file, it is read or refused with file, place and remedy; nothing else is ever raised.

About 1,000 drawn files in all; the same ones in every run.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from condyle.errors import InputError
from condyle.figure.skeleton_file import parse_skeleton
from condyle.project.figure_file import parse_figure
from condyle.workshop.calibration.answers import parse_answers
from condyle.workshop.fits import parse_fits
from condyle.workshop.material import parse_material
from condyle.workshop.printer import parse_printer
from tests.cli.figures import FIGURE
from tests.fuzz.damaged_toml import damaged
from tests.workshop.calibration.test_sheets_and_history import blank, felt

many = settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))

WHOLE_FIGURE = (
    FIGURE.format(hash="blake2b:" + "0" * 40)
    + """
[workshop]
printer = "filament-200"
material = "pla"

[joints.middle.limits]
flex = [0.0, 90.0]

[joints.middle.relief]
depth_mm = 2.0

[parts.upper]
up = [0.0, 0.0, 1.0]

[finish]
start = "2031-05-05"

[[poses]]
name = "bent"
[poses.joints.middle]
flex = 10.0

[pieces.plate]
file = "plate.stl"
bone = "upper"

[book]
paper = "a4"
"""
)


def stored(*path: str) -> str:
    return resources.files("condyle").joinpath(*path).read_text(encoding="utf-8")


FILES: dict[str, tuple[str, Callable[[str], object]]] = {
    "figure": (WHOLE_FIGURE, lambda text: parse_figure(Path("figure.toml"), text)),
    "skeleton": (stored("figure", "templates", "upright.toml"), lambda text: parse_skeleton(text, "skeleton.toml")),
    "printer": (
        stored("workshop", "cards", "printers", "filament-200.toml"),
        lambda text: parse_printer(text, "mine", "mine.toml"),
    ),
    "material": (
        stored("workshop", "cards", "materials", "pla.toml"),
        lambda text: parse_material(text, "mine", "mine.toml"),
    ),
    "fits": (stored("workshop", "cards", "fits", "filament.toml"), lambda text: parse_fits(text, "fits.toml")),
    "answers": (felt(blank()), lambda text: parse_answers(text, "answers.toml", "2026-11-25")),
}


@pytest.mark.parametrize("kind", FILES)
def test_the_file_itself_is_read(kind: str) -> None:
    text, read = FILES[kind]
    read(text)


@pytest.mark.parametrize("kind", FILES)
@many
@given(data=st.data())
def test_a_damaged_file_is_read_or_refused_with_place_and_remedy(kind: str, data: st.DataObject) -> None:
    text, read = FILES[kind]
    try:
        read(data.draw(damaged(text)))
    except InputError as error:
        assert error.code
        assert error.hint, error.message
        assert error.place.file, error.message
        assert error.message.isprintable(), error.message
