"""Parts as written: closed, pinched nowhere, outward, judged by trimesh on the bytes of the STL."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from condyle.errors import SolidError
from condyle.export import checked_part, part_file
from condyle.export.fans import drawn_apart
from condyle.export.written import unsound_corners
from condyle.geometry.formats import as_written, stl_bytes
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, gather, subtract, union


def cube() -> Solid:
    return box((0, 0, 0), (10, 10, 10))


def twins() -> Solid:
    """Cutters 20 µm apart and less, at coordinates where a float32 step is 7.6 µm."""
    rng = np.random.default_rng(3)
    centre = np.array([120.0, 90.0, 70.0])
    tools = []
    for _ in range(30):
        outwards = rng.normal(size=3)
        first = sphere(2.0).translated(centre + 20 * outwards / np.linalg.norm(outwards))
        tools += [first, first.translated(rng.normal(size=3) * 2e-5)]
    return union([sphere(20.0).translated(centre), *tools])


CASES: dict[str, Callable[[], Solid]] = {
    "a cube": cube,
    "two that share an edge": lambda: union([cube(), box((10, 10, 0), (20, 20, 10))]),
    "two that share a corner": lambda: union([cube(), box((10, 10, 10), (20, 20, 20))]),
    "two whose faces are 0.1 nm apart": lambda: gather([cube(), box((10 + 1e-7, 0, 0), (20, 10, 10))]),
    "a wall of 0.1 nm": lambda: subtract(cube(), [box((2, 2, 2), (8, 8, 10 - 1e-7))]),
    "a hole": lambda: subtract(cube(), [cylinder(3.0, -1.0, 11.0).translated((5, 5, 0))]),
    "cutters almost alike": twins,
}


@pytest.mark.parametrize("case", sorted(CASES))
def test_a_written_part_is_closed_for_an_independent_reader(case: str) -> None:
    solid = CASES[case]()
    mesh = checked_part(solid, case)
    judge = trimesh.load(io.BytesIO(stl_bytes(mesh)), file_type="stl")
    assert judge.is_watertight
    assert judge.is_winding_consistent
    assert judge.volume == pytest.approx(mesh.volume_mm3, rel=1e-5)
    # every corner moves by at most 0.0063 mm (and rounding)
    assert abs(mesh.volume_mm3 - solid.volume_mm3) <= 0.0064 * solid.mesh.area_mm2
    assert np.abs(mesh.bounds - solid.bounds).max() <= 0.0064 + 2e-5


def test_nothing_moves_where_nothing_is_wrong() -> None:
    mesh = checked_part(cube(), "cube")
    assert mesh.triangle_count == 12
    assert mesh.volume_mm3 == 1000.0


def test_rounding_does_break_the_touching_ones() -> None:
    """Otherwise the mends above would not be tested."""
    for case in ("two that share an edge", "two that share a corner", "two whose faces are 0.1 nm apart"):
        assert unsound_corners(as_written(CASES[case]().mesh)).any()


def plain_judgement(mesh: Mesh) -> np.ndarray:
    """Unsound corners by loops over a dictionary: edges used once each way, and triangles around a corner in one ring."""
    unsound = np.zeros(len(mesh.vertices), dtype=bool)
    uses: dict[tuple[int, int], int] = {}
    for face in mesh.faces.tolist():
        for i in range(3):
            edge = (face[i], face[(i + 1) % 3])
            uses[edge] = uses.get(edge, 0) + 1
    for (a, b), n in uses.items():
        if n != 1 or uses.get((b, a), 0) != 1:
            unsound[[a, b]] = True
    if unsound.any():
        return unsound
    for vertex in range(len(mesh.vertices)):
        following = {}
        for face in mesh.faces.tolist():
            if vertex in face:
                i = face.index(vertex)
                following[face[(i + 1) % 3]] = face[(i + 2) % 3]
        if following:
            start = at = next(iter(following))
            steps = 0
            while steps == 0 or at != start:
                at, steps = following[at], steps + 1
            unsound[vertex] = steps != len(following)
    return unsound


@pytest.mark.parametrize(
    "mesh",
    [
        as_written(cube().mesh),
        Mesh(cube().mesh.vertices, cube().mesh.faces[:-1]),
        as_written(CASES["two that share an edge"]().mesh),
        as_written(CASES["two that share a corner"]().mesh),
        as_written(CASES["a hole"]().mesh),
    ],
)
def test_unsound_corners_agree_with_a_plain_count(mesh: Mesh) -> None:
    assert (unsound_corners(mesh) == plain_judgement(mesh)).all()


def test_three_wedges_around_an_edge_are_parted() -> None:
    """Three prisms that share the z axis as their edge: three bodies afterwards, each a little smaller."""
    prisms = []
    for turn in (0.0, 2.1, 4.2):
        a, b = ((np.cos(turn + s), np.sin(turn + s)) for s in (0.0, 0.7))
        corners = np.array(
            [[0, 0, z] for z in (0, 5)] + [[*a, z] for z in (0, 5)] + [[*b, z] for z in (0, 5)], dtype=float
        )
        faces = np.array([[0, 4, 2], [1, 3, 5], [0, 2, 3], [0, 3, 1], [2, 4, 5], [2, 5, 3], [4, 0, 1], [4, 1, 5]])
        prisms.append(Mesh(corners, faces))
    touching = as_written(concatenate(prisms))
    assert unsound_corners(touching).any()
    apart = drawn_apart(touching, 1e-3)
    assert apart is not None
    written = as_written(apart)
    assert not unsound_corners(written).any()
    bodies = trimesh.Trimesh(written.vertices, written.faces, process=False).split(only_watertight=True)
    assert len(bodies) == 3
    assert sum(b.volume for b in bodies) < touching.volume_mm3
    assert sum(b.volume for b in bodies) == pytest.approx(touching.volume_mm3, rel=5e-3)


def test_an_open_surface_cannot_be_parted() -> None:
    assert drawn_apart(Mesh(cube().mesh.vertices, cube().mesh.faces[:-1]), 1e-3) is None


def test_a_part_that_is_lost_in_rounding_is_an_error_with_its_place() -> None:
    speck = box((0, 0, 0), (2e-3, 2e-3, 2e-3)).translated((90_000.0, 0, 0))
    with pytest.raises(SolidError) as caught:
        checked_part(speck, "speck")
    assert caught.value.code == "export.part"
    assert caught.value.hint
    assert "speck" in caught.value.message


def test_part_names_become_file_names() -> None:
    assert part_file("forearm_left") == "parts/forearm_left.stl"
    for name in ("../x", "a/b", "", "-rf", "a b"):
        with pytest.raises(Exception, match="cannot be a file name"):
            part_file(name)
