"""Forms that are no figure of the skeleton: a clear verdict, or a refusal."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.demo.deckhand import deckhand
from condyle.errors import SculptError
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, hull, solid_from_mesh

TETRAHEDRON = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 100.0, 0.0], [30.0, 30.0, 150.0]])


def judged(body: Solid, skeleton: str) -> str:
    try:
        found = seat(body, load_template(skeleton)).findings
    except SculptError as error:
        return error.code
    return next((f.verdict for f in found if f.check == "seat.body"), "sound")


@pytest.mark.parametrize("skeleton", ["upright", "fourfoot"])
def test_a_board_is_no_body(skeleton: str) -> None:
    assert judged(box((-10, -75, 0), (10, 75, 150)), skeleton) in ("fail", "sculpt.no_figure")


def test_a_tetrahedron_is_no_body() -> None:
    assert judged(hull(TETRAHEDRON), "upright") == "sculpt.no_figure"


def test_a_figure_is_one() -> None:
    assert judged(solid_from_mesh(deckhand()), "upright") == "sound"
