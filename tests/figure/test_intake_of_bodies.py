"""Intake of real human bodies that run through themselves: folds, fingers, toes, arms pressed against the chest.

The bodies come from a data set (CC0) that a package carries; skipped where it is not installed. trimesh judges
closedness; the exact winding number (Jacobson et al. 2013, section 3) says what lies inside.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from condyle.figure.intake import IntakeWanted, take_in
from condyle.geometry.bvh import Bvh
from condyle.geometry.formats import NamedMesh, Scene
from condyle.geometry.mesh import Mesh
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.repair.weld import welded
from condyle.geometry.winding import winding_number

_SPEC = importlib.util.spec_from_file_location(
    "bodies_of_a_data_set", Path(__file__).parents[1] / "seating" / "bodies.py"
)
assert _SPEC is not None and _SPEC.loader is not None
bodies: Any = importlib.util.module_from_spec(_SPEC)
sys.modules[_SPEC.name] = bodies
_SPEC.loader.exec_module(bodies)

pytestmark = pytest.mark.skipif(not bodies.available(), reason="the data set is not installed")


def pressed(deg: float) -> dict[str, Any]:
    """Upper arms swung towards the body, about the axis that the figure faces along."""
    return {
        "upper_arm_left": bodies.Segment((1.0, 0.0, 0.0), -deg),
        "upper_arm_right": bodies.Segment((1.0, 0.0, 0.0), deg),
        "thigh_left": bodies.Segment((1.0, 0.0, 0.0), -8.0),
        "thigh_right": bodies.Segment((1.0, 0.0, 0.0), 8.0),
    }


CASES: dict[str, dict[str, Any]] = {
    "infant": {"targets": {"macrodetails/caucasian-female-baby": 1.0}},
    "young man": {"targets": {"macrodetails/african-male-young": 1.0}},
    "child": {"targets": {"macrodetails/asian-female-child": 1.0}},
    "arms pressed in": {"segments": pressed(45.0)},
    "arms through the chest": {"segments": pressed(65.0), "targets": {"macrodetails/african-female-old": 1.0}},
}


@pytest.mark.parametrize("name", CASES)
def test_a_body_through_itself_becomes_one_skin(name: str) -> None:
    body = welded(bodies.body(name, **CASES[name]).mesh)
    assert len(crossings_of(Bvh(body))) > 20
    intake = take_in(Scene((NamedMesh(name, body),), "obj", unit="millimeter"), IntakeWanted(150.0, "z", "x"))
    assert any("ran through itself" in change for change in intake.report.changes)
    assert intake.report.max_deviation_mm <= 0.02
    out = intake.solid.mesh
    assert len(crossings_of(Bvh(out))) == 0 and len(intake.solid.shells()) == 1
    corners = out.corners.astype(np.float32)
    seen = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3), process=True)
    assert seen.is_watertight and seen.is_winding_consistent
    points = np.random.default_rng(5).uniform(*out.bounds, size=(800, 3))
    moved = body.transformed(intake.report.transform)
    wanted, found = winding_number(moved, points) > 0.5, winding_number(out, points) > 0.5
    assert (wanted != found).sum() <= max(1, 0.005 * wanted.sum())


def test_a_body_without_crossings_keeps_its_volume() -> None:
    body: Mesh = bodies.body("plain").mesh
    intake = take_in(Scene((NamedMesh("plain", body),), "obj"), IntakeWanted(150.0))
    assert (intake.report.up, intake.report.facing) == ("z", "x")
    assert intake.solid.volume_mm3 == pytest.approx(trimesh.Trimesh(body.vertices, body.faces).volume, rel=1e-3)
    assert intake.solid.genus == 0
