"""Walls of known thickness, measured by rays and inscribed balls."""

from __future__ import annotations

import math

import numpy as np
import pytest
from smallkits import ball_kit

from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, extrude, subtract, union
from condyle.proof import prove
from condyle.proof.bodies import make_bodies
from condyle.proof.wall import Wall, probes_of, thinnest, walls
from condyle.workshop.bench import load_workshop


def wall_of(solid: Solid) -> Wall:
    bvh = Bvh(solid.mesh)
    found = thinnest(probes_of(solid.mesh, bvh), bvh)
    assert found is not None
    return found


def test_a_plate_is_as_thick_as_it_is() -> None:
    found = wall_of(box((0, 0, 0), (10, 10, 0.7)))
    assert found.thickness_mm == pytest.approx(0.7, abs=1e-6)
    assert found.place[2] == pytest.approx(0.35, abs=1e-6)


def test_edges_of_a_block_are_no_thin_walls() -> None:
    # The largest ball of a 4 × 5 × 6 block spans its smallest side; a ray or ball at its edges is as small as you like.
    assert wall_of(box((0, 0, 0), (4, 5, 6))).thickness_mm == pytest.approx(4.0, abs=1e-6)
    assert wall_of(cylinder(5.0, 0.0, 20.0)).thickness_mm == pytest.approx(10.0, abs=0.05)


def test_a_tube_and_an_eccentric_hollow() -> None:
    # Tube: 5 − 4.4 mm, less two chord errors. Spheres of 5 and 4 mm, centres 0.6 mm apart: thinnest 0.4 mm, towards +z.
    tube = wall_of(subtract(cylinder(5.0, 0.0, 10.0), [cylinder(4.4, -1.0, 11.0, "outside")]))
    assert 0.6 - 0.025 <= tube.thickness_mm <= 0.6
    shell = wall_of(subtract(sphere(5.0), [sphere(4.0).translated((0.0, 0.0, 0.6))]))
    assert 0.4 - 0.04 <= shell.thickness_mm <= 0.4 + 0.02
    assert shell.place[2] > 4.5


def test_a_film_that_no_printer_leaves_is_no_wall_and_a_thicker_one_is() -> None:
    block = box((0, 0, 0), (9, 9, 3))
    for film_mm, thinnest_mm in ((0.004, 3.0), (0.2, 0.2)):
        flagged = union([block, box((2.0, 2.0, 2.9), (4.0, 2.0 + film_mm, 4.0))])
        assert wall_of(flagged).thickness_mm == pytest.approx(thinnest_mm, abs=1e-6)


@pytest.mark.parametrize(("opening_deg", "is_wall"), [(90.0, False), (60.0, False), (20.0, True)])
def test_a_feather_edge_is_thin_and_a_blunt_one_is_not(opening_deg: float, is_wall: bool) -> None:
    h = 10 * math.tan(math.radians(opening_deg / 2))
    wedge = extrude([np.array([[0.0, 0.0], [10.0, -h], [10.0, h]])], 20.0)
    bvh = Bvh(wedge.mesh)
    found = thinnest(probes_of(wedge.mesh, bvh), bvh)
    if is_wall:
        # A probe stands for up to a square millimetre, so the edge itself is met to within a probe's distance.
        assert found is not None
        assert found.thickness_mm < 0.4
    else:
        assert found is None or found.thickness_mm > 5.0


def test_a_turned_and_moved_part_has_the_same_walls() -> None:
    from condyle.geometry.frame import rotation_matrix_about

    tube = subtract(cylinder(5.0, 0.0, 10.0), [cylinder(4.0, -1.0, 11.0, "outside").translated((0.3, 0, 0))])
    turned = tube.transformed(rotation_matrix_about(np.array([3.0, 1.0, 2.0]), np.array([1.0, 2.0, -1.0]), 77.0))
    assert wall_of(turned).thickness_mm == pytest.approx(wall_of(tube).thickness_mm, abs=1e-6)


def test_thin_flesh_around_hardware_is_judged_by_two_lines() -> None:
    # The block's top is brought down to 0.5 mm over the hollow of 4.05 mm.
    kit, _, _ = ball_kit()
    from smallkits import kit_of

    low = subtract(kit.part("upper").solid, [box((-20, -20, 4.55), (20, 20, 20))])
    made = kit_of({"upper": low, "lower": kit.part("lower").solid}, kit.joints)[0]
    by_part, findings = walls(made, make_bodies(made), 0.45)
    wall = by_part["upper"]
    assert wall is not None
    assert wall.thickness_mm == pytest.approx(0.5, abs=0.02)
    (hardware,) = [f for f in findings if f.check == "wall.hardware"]
    assert (hardware.subject, hardware.verdict) == ("ball", "caution")
    assert hardware.target == pytest.approx(0.9)
    (hardware,) = [f for f in walls(made, make_bodies(made), 0.8)[1] if f.check == "wall.hardware"]
    assert hardware.verdict == "fail"


def test_prove_gathers_joints_and_parts() -> None:
    workshop = load_workshop()
    kit, sculpt, skeleton = ball_kit()
    proof = prove(kit, sculpt, skeleton, workshop)
    assert set(proof.joints) == {"ball"}
    assert set(proof.parts) == {"upper", "lower"}
    density = workshop.material.density_g_cm3.value
    assert proof.parts["upper"].mass_g == pytest.approx(kit.part("upper").solid.volume_mm3 * density / 1000)
    assert proof.joints["ball"].reached["flex"] == (-50.0, 50.0)
    assert "upper hardware" in (proof.joints["ball"].stopped_by["abduct"] or "")
    assert all(f.advice for f in proof.findings if f.verdict in ("caution", "fail"))
    assert prove(kit, sculpt, skeleton, workshop) == proof
