"""The inside behind a wall, against closed forms and against brute force: every fine cell asked for its distance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.errors import UsageError
from condyle.geometry.hollow import core_properties
from condyle.geometry.mass import combined, film_properties, mass_properties, moved, taken_away
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import subtract, union


def test_shell_of_a_sphere_against_its_closed_form() -> None:
    # Inner offset of a ball: 4πr³/3 and 2mr²/5 at the smaller radius (references of mechanics; derived).
    core = core_properties(sphere(10.0).mesh, 1.2)
    assert core is not None
    r = 8.8
    assert core.volume_mm3 == pytest.approx(4.0 / 3.0 * math.pi * r**3, rel=4e-3)
    assert np.diag(core.inertia_g_mm2) == pytest.approx([0.4 * core.mass_g * r * r] * 3, rel=6e-3)


def test_shell_of_a_box_against_its_closed_form() -> None:
    core = core_properties(box((0, 0, 0), (10, 14, 20)).mesh, 1.2, 1.24)
    assert core is not None
    a, b, c = 7.6, 11.6, 17.6
    assert core.volume_mm3 == pytest.approx(a * b * c, rel=5e-3)
    assert core.centre_mm == pytest.approx([5, 7, 10], abs=0.02)
    assert core.inertia_g_mm2[2, 2] == pytest.approx(core.mass_g * (a * a + b * b) / 12.0, rel=1e-2)


def _limb() -> Mesh:
    """A bone with a ball, a neck, a waist and a socket: thin and thick, convex and hollow."""
    outer = union(
        [sphere(4.0), cylinder(2.2, -9.0, 0.0), cylinder(5.0, -24.0, -8.0), sphere(6.5).translated((0, 1, -26))]
    )
    return subtract(outer, [sphere(4.0, "outside").translated((0, 1, -30)), box((-9, -0.3, -40), (9, 0.3, -27))]).mesh


def _brute_force(mesh: Mesh, depth: float, pitch: float) -> tuple[float, np.ndarray]:
    """Volume of the shell and centre of the inside, cell by cell, by an independent library and a search tree."""
    trimesh = pytest.importorskip("trimesh")
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    low, high = mesh.bounds
    axes = [np.arange(a + 0.5 * pitch, b, pitch) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    # Inside by ray crossings along z, distance by the nearest of a dense sample of the surface: no code of ours.
    points, _ = trimesh.sample.sample_surface(body, 150_000, seed=7)
    from scipy.spatial import cKDTree

    inside = _inside_by_sections(body, axes)
    distance = np.zeros(len(grid))
    distance[inside] = cKDTree(points).query(grid[inside])[0]
    deep = grid[distance > depth]
    return (np.count_nonzero(inside) - len(deep)) * pitch**3, deep.mean(axis=0)


def _inside_by_sections(body: object, axes: list[np.ndarray]) -> np.ndarray:
    """Cells inside, layer by layer, by point-in-polygon on the independent library's sections."""
    import shapely

    out = np.zeros(tuple(len(a) for a in axes), dtype=bool)
    x, y = np.meshgrid(axes[0], axes[1], indexing="ij")
    for k, z in enumerate(axes[2]):
        path = body.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])  # type: ignore[attr-defined]
        if path is None:
            continue
        winding = np.zeros(x.shape, dtype=int)
        for loop in path.discrete:
            outline = shapely.Polygon(loop[:, :2])
            shapely.prepare(outline)
            winding += shapely.contains_xy(outline, x, y)
        out[:, :, k] = winding % 2 == 1
    return out.ravel()


@pytest.mark.slow
def test_shell_of_a_limb_against_brute_force() -> None:
    mesh = _limb()
    whole = mesh.volume_mm3
    core = core_properties(mesh, 1.2)
    assert core is not None
    shell, centre = _brute_force(mesh, 1.2, 0.23)
    assert whole - core.volume_mm3 == pytest.approx(shell, rel=1e-2)
    assert core.centre_mm == pytest.approx(centre, abs=0.05)


def test_shell_of_a_limb_settles_as_cells_get_finer() -> None:
    mesh = _limb()
    coarse, fine = core_properties(mesh, 1.2), core_properties(mesh, 1.2, pitch_mm=0.11)
    assert coarse is not None and fine is not None
    shell = mesh.volume_mm3 - fine.volume_mm3
    assert mesh.volume_mm3 - coarse.volume_mm3 == pytest.approx(shell, rel=5e-3)


def test_thin_bodies_have_no_inside_and_hardware_stays_full() -> None:
    assert core_properties(box((0, 0, 0), (30, 30, 2.0)).mesh, 1.2) is None
    ball = sphere(10.0).mesh
    whole, half = (core_properties(ball, 1.2, solid=keep) for keep in (None, lambda p: p[:, 2] > 0.0))
    assert whole is not None and half is not None
    assert half.volume_mm3 == pytest.approx(0.5 * whole.volume_mm3, rel=5e-2)  # a layer of cells
    with pytest.raises(UsageError, match="wall"):
        core_properties(ball, 0.0)


def test_bodies_sum_by_the_parallel_axis_theorem() -> None:
    """Two halves of a block make the block, and a hollow block is the block less its inside (exact)."""
    left, right = (mass_properties(box(*b).mesh, 1.24) for b in (((0, 0, 0), (3, 4, 5)), ((3, 0, 0), (10, 4, 5))))
    whole = mass_properties(box((0, 0, 0), (10, 4, 5)).mesh, 1.24)
    summed = combined([left, right])
    assert summed.mass_g == pytest.approx(whole.mass_g, rel=1e-12)
    assert summed.inertia_g_mm2 == pytest.approx(whole.inertia_g_mm2, rel=1e-9, abs=1e-9)
    back = combined([whole, taken_away(left)])
    assert back.centre_mm == pytest.approx(right.centre_mm, rel=1e-9)
    turn = np.array([[0, -1, 0, 5], [1, 0, 0, -2], [0, 0, 1, 7], [0, 0, 0, 1]], dtype=float)
    again = moved(whole, turn)
    direct = mass_properties(box((0, 0, 0), (10, 4, 5)).mesh.transformed(turn), 1.24)
    assert again.centre_mm == pytest.approx(direct.centre_mm, rel=1e-9)
    assert again.inertia_g_mm2 == pytest.approx(direct.inertia_g_mm2, rel=1e-9, abs=1e-9)


def test_film_on_a_sphere_against_the_thin_shell() -> None:
    """A thin spherical shell: I = 2mr²/3 (closed form, derived), mass 4πr²·t·ρ."""
    film = film_properties(sphere(10.0).mesh, 0.04, 1.4)
    assert film is not None
    assert film.mass_g == pytest.approx(4e-3 * math.pi * 100.0 * 0.04 * 1.4, rel=5e-3)
    assert np.diag(film.inertia_g_mm2) == pytest.approx([2.0 / 3.0 * film.mass_g * 100.0] * 3, rel=5e-3)
