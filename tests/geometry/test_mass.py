"""Mass properties against closed forms, and far from the origin."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from condyle.errors import UsageError
from condyle.geometry.mass import MassProperties, mass_properties
from condyle.geometry.mesh import Mesh
from tests.published import Published

CORNER = Mesh(
    np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float),
    np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]),
)
FAR = (1000.0, -2000.0, 500.0)
G_CM3_OF_1 = 1000.0  # the density that makes 1 mm³ weigh 1 g, so that closed forms for density 1 read straight off


def box(size: tuple[float, float, float]) -> Mesh:
    made = trimesh.creation.box(extents=size)
    return Mesh(made.vertices, made.faces)


def turned(mesh: Mesh, rotation: Rotation) -> Mesh:
    matrix = np.eye(4)
    matrix[:3, :3] = rotation.as_matrix()
    matrix[:3, 3] = FAR
    return mesh.transformed(matrix)


def test_corner_tetrahedron() -> None:
    # Closed forms (simplex integrals): V 1/6, centre (¼,¼,¼), I_xx about the origin 1/30, about the centre 1/80, product
    # ∫xy about the centre −1/480.
    found = mass_properties(CORNER, G_CM3_OF_1)
    assert found.volume_mm3 == pytest.approx(1 / 6, rel=1e-12)
    np.testing.assert_allclose(found.centre_mm, 0.25, rtol=1e-12)
    assert found.inertia_g_mm2[0, 0] == pytest.approx(1 / 80, rel=1e-12)
    assert found.inertia_g_mm2[0, 1] == pytest.approx(1 / 480, rel=1e-12)  # −∫xy
    about_origin = found.inertia_about(np.zeros(3))
    assert about_origin[0, 0] == pytest.approx(1 / 30, rel=1e-12)
    assert about_origin[0, 1] == pytest.approx(-1 / 120, rel=1e-12)


def test_cube_and_regular_tetrahedron(published: Published) -> None:
    # Cube: I = m a²/6. Regular tetrahedron of edge a: V = a³/(6√2), I = m a²/20.
    cube = mass_properties(box((3.0, 3.0, 3.0)), 1.24)
    assert cube.mass_g == pytest.approx(27 * 1.24e-3, rel=1e-12)
    np.testing.assert_allclose(cube.inertia_g_mm2, np.eye(3) * cube.mass_g * 9 / 6, rtol=1e-12, atol=1e-15)
    corners = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float)  # edge √8
    regular = mass_properties(Mesh(corners, np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])))
    volume = abs(regular.volume_mm3)
    closed = "closed form"
    exact = 8**1.5 / (6 * math.sqrt(2))
    published("volume of a regular tetrahedron of edge √8", volume, exact, unit="mm³", tolerance=1e-11, source=closed)
    arm = float(regular.inertia_g_mm2[0, 0] / regular.mass_g)
    published("its moment of inertia over its mass, a²/20", arm, 0.4, unit="mm²", tolerance=1e-12, source=closed)
    np.testing.assert_allclose(regular.inertia_g_mm2 / regular.mass_g, np.eye(3) * 8 / 20, rtol=1e-12, atol=1e-15)


def cone(sides: int, radius: float, height: float) -> Mesh:
    angle = 2 * np.pi * np.arange(sides) / sides
    rim = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(sides)], axis=1)
    vertices = np.concatenate([rim, [[0.0, 0.0, 0.0], [0.0, 0.0, height]]])
    here, after = np.arange(sides), (np.arange(sides) + 1) % sides
    base = np.stack([after, here, np.full(sides, sides)], axis=1)
    side = np.stack([here, after, np.full(sides, sides + 1)], axis=1)
    return Mesh(vertices, np.concatenate([base, side]))


def test_cone(published: Published) -> None:
    # Solid cone: V πR²h/3, centre h/4 above the base, I_axis 3mR²/10, I across 3m(4R²+h²)/80. 4000 sides err by 4·10⁻⁷.
    found = mass_properties(cone(4000, 2.0, 5.0), G_CM3_OF_1)
    exact = math.pi * 4 * 5 / 3
    what = "volume of a cone of 4000 sides"
    published(what, found.volume_mm3, exact, unit="mm³", tolerance=2e-5, source="closed form, πr²h/3")
    np.testing.assert_allclose(found.centre_mm, [0, 0, 1.25], atol=1e-9)
    across = 3 * found.mass_g * (16 + 25) / 80
    np.testing.assert_allclose(np.diag(found.inertia_g_mm2), [across, across, 3 * found.mass_g * 4 / 10], rtol=2e-6)


def test_icosahedron_and_its_subdivisions(published: Published) -> None:
    # V of the icosahedron of circumradius 1: 2.5361507; subdivided on the sphere it tends to 4π/3 from below, and
    # I to 2mr²/5.
    solids = [trimesh.creation.icosphere(subdivisions=s) for s in (0, 3, 5)]
    found = [mass_properties(Mesh(s.vertices, s.faces), G_CM3_OF_1) for s in solids]
    volume = found[0].volume_mm3
    published(
        "volume of an icosahedron in the unit sphere",
        volume,
        2.5361507,
        unit="mm³",
        tolerance=5e-8,
        source="closed form",
    )
    assert found[0].volume_mm3 < found[1].volume_mm3 < found[2].volume_mm3 < 4 * math.pi / 3
    assert found[2].volume_mm3 == pytest.approx(4 * math.pi / 3, rel=1e-3)
    np.testing.assert_allclose(np.diag(found[2].inertia_g_mm2), 0.4 * found[2].mass_g, rtol=1e-3)


@pytest.mark.parametrize("mesh", [CORNER, box((3.0, 4.0, 5.0)), cone(96, 2.0, 5.0)], ids=["corner", "box", "cone"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_far_away_and_turned(mesh: Mesh, seed: int) -> None:
    # Mirtich 1996's sums keep their digits only near the origin; 1e-9 relative must hold at (1000, −2000, 500).
    rotation = Rotation.random(random_state=seed)
    here = mass_properties(mesh, G_CM3_OF_1)
    there = mass_properties(turned(mesh, rotation), G_CM3_OF_1)
    assert there.volume_mm3 == pytest.approx(here.volume_mm3, rel=1e-9)
    np.testing.assert_allclose(there.centre_mm, rotation.apply(here.centre_mm) + FAR, rtol=0, atol=1e-9)
    r = rotation.as_matrix()
    scale = float(np.abs(here.inertia_g_mm2).max())
    np.testing.assert_allclose(there.inertia_g_mm2, r @ here.inertia_g_mm2 @ r.T, rtol=0, atol=1e-9 * scale)


def test_unused_vertices_far_out_cost_no_digits() -> None:
    lonely = Mesh(np.concatenate([CORNER.vertices, [[1e9, 0, 0]]]), CORNER.faces)
    assert mass_properties(lonely).volume_mm3 == pytest.approx(1 / 6, rel=1e-12)


def test_inside_out_is_the_negative() -> None:
    here, reversed_ = mass_properties(CORNER), mass_properties(Mesh(CORNER.vertices, CORNER.faces[:, ::-1]))
    assert reversed_.volume_mm3 == pytest.approx(-here.volume_mm3, rel=1e-12)
    np.testing.assert_allclose(reversed_.centre_mm, here.centre_mm, rtol=1e-12)


def test_agrees_with_another_library_on_a_ring() -> None:
    made = trimesh.creation.torus(major_radius=10.0, minor_radius=3.0)
    found: MassProperties = mass_properties(Mesh(made.vertices, made.faces), G_CM3_OF_1)
    assert found.volume_mm3 == pytest.approx(made.volume, rel=1e-9)
    np.testing.assert_allclose(found.inertia_g_mm2, made.moment_inertia, rtol=1e-9, atol=1e-6)


def test_what_has_no_mass_is_refused() -> None:
    flat = Mesh(CORNER.vertices * [1, 1, 0], CORNER.faces)
    for mesh, density, code in [
        (flat, 1.0, "mass.volume"),
        (Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), 1.0, "mass.volume"),
        (CORNER, 0.0, "mass.density"),
        (CORNER, math.nan, "mass.density"),
    ]:
        with pytest.raises(UsageError) as caught:
            mass_properties(mesh, density)
        assert caught.value.code == code
