"""The example of a figure in pieces, from its files to the proved kit."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from condyle.project.pipeline import open_figure, prove_figure, take_in_sculpt
from condyle.project.watch import Watch

SEATS = {
    "helmet_seat": "peg",
    "belt_front_seat": "peg",
    "belt_back_seat": "peg",
    "plate_left_seat": "ball",
    "plate_right_seat": "peg",
}


def example() -> ModuleType:
    path = Path(__file__).parents[2] / "examples" / "02-pieces" / "make.py"
    spec = importlib.util.spec_from_file_location("pieces", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_body_and_pieces_come_to_one_figure(tmp_path: Path) -> None:
    taken = take_in_sculpt(open_figure(example().write(tmp_path), keep=False), Watch())
    pieces = {p.name: p for p in taken.pieces}
    assert [f"{name}_seat" for name in pieces] == list(SEATS)
    assert taken.intake.solid.bounds[1, 2] == pytest.approx(108.0, abs=0.05)  # the bare head, under its helmet
    assert pieces["helmet"].solid.bounds[1, 2] == pytest.approx(113.5, abs=0.05)
    assert pieces["plate_left"].on == "ball" and pieces["plate_left"].tilt_deg == 8.0


@pytest.mark.slow
def test_the_example_is_proved_whole_with_every_piece_a_part_of_its_own(tmp_path: Path) -> None:
    result = prove_figure(example().write(tmp_path), Watch(), keep=False)
    joints = {j["name"]: j for j in result.document["joints"]}
    assert {name: joints[name]["kind"] for name in SEATS} == SEATS
    assert all(joints[name]["built"] and joints[name]["size"] for name in SEATS)  # each found room for its stud
    assert {p["name"] for p in result.document["parts"]} == {
        "pelvis", "chest", "head", "helmet", "belt_front", "belt_back", "plate_left", "plate_right",
    }  # fmt: skip
    for name in SEATS:
        assert f"parts/{name.removesuffix('_seat')}.stl" in result.files
    # What holds the loose plates is measured again on the finished solids.
    for name in ("plate_left_seat", "plate_right_seat"):
        (held,) = [f for f in result.findings if f.check == "fit.retention" and f.subject == name]
        assert held.verdict == "pass" and held.measured is not None and held.measured > 0.05
    assert abs(result.kit.balance.residual_mm3) < 0.01
    seats = [f for f in result.findings if f.check.startswith(("piece.", "fit.")) and f.verdict == "fail"]
    assert seats == []
    tilt = [f for f in result.findings if f.check.startswith("move.") and f.subject == "plate_left_seat"]
    assert len(tilt) == 2 and all(f.verdict == "pass" for f in tilt)
