"""Every format gives back the mesh that went in; the writers are judged by libraries that share nothing with them."""

from __future__ import annotations

import io
from pathlib import Path

import lib3mf
import numpy as np
import pytest
import trimesh

from condyle.errors import UsageError
from condyle.geometry.formats import as_written, read_scene, read_scene_bytes, stl_bytes, threemf_bytes
from condyle.geometry.mesh import Mesh
from tests.geometry.formats.shapes import cube, every_format, lumpy, tetrahedron

DOUBLES = ("text.stl", "a.obj", "ascii.ply", "little.ply", "big.ply", "a.3mf")


def same_triangles(a: Mesh, b: Mesh, tolerance: float) -> None:
    """Equal as lists of triangles: order and first corner included, sharing of vertices not."""
    assert a.corners.shape == b.corners.shape
    assert np.abs(a.corners - b.corners).max() <= tolerance


@pytest.mark.parametrize("name", sorted(every_format(tetrahedron())))
@pytest.mark.parametrize("mesh", [tetrahedron(), cube(), lumpy()], ids=["tetrahedron", "cube", "lumpy"])
def test_every_reader_gives_the_mesh_back(name: str, mesh: Mesh) -> None:
    scene = read_scene_bytes(every_format(mesh)[name], name)
    # float32 keeps 24 bits: within half a step of a number below 32
    same_triangles(scene.merged(), mesh, 0.0 if name in DOUBLES else 32 * 2.0**-24)
    assert scene.unit == {"a.glb": "meter", "a.3mf": "millimeter"}.get(name)
    assert scene.up == ("y" if name == "a.glb" else None)
    assert scene.notes == ()


@pytest.mark.parametrize("name", sorted(every_format(tetrahedron())))
def test_files_are_read_from_disk(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(every_format(cube())[name])
    assert read_scene(tmp_path / name).merged().volume_mm3 == pytest.approx(8.0)


def test_binary_stl_has_the_published_size() -> None:
    """84 + 50 n bytes, the count a little-endian uint32 at offset 80 (the de-facto STL format; 12 triangles: 684)."""
    data = stl_bytes(cube())
    assert len(data) == 684
    assert int.from_bytes(data[80:84], "little") == 12
    assert not data.lower().startswith(b"solid")
    assert data == stl_bytes(cube())


def test_a_binary_stl_may_begin_with_solid() -> None:
    data = b"solid of a careless exporter facet".ljust(80) + stl_bytes(lumpy())[80:]
    same_triangles(read_scene_bytes(data, "a.stl").merged(), lumpy(), 32 * 2.0**-24)


def test_trimesh_reads_our_stl_as_closed_and_of_the_same_volume() -> None:
    mesh = lumpy()
    judge = trimesh.load(io.BytesIO(stl_bytes(mesh)), file_type="stl")
    assert judge.is_watertight
    assert judge.is_winding_consistent
    assert judge.volume == pytest.approx(mesh.volume_mm3, rel=1e-6)


def test_as_written_is_what_trimesh_sees() -> None:
    """Against trimesh's own merging of the same STL."""
    mesh = lumpy(40)
    ours = as_written(mesh)
    judge = trimesh.load(io.BytesIO(stl_bytes(mesh)), file_type="stl")
    assert len(ours.vertices) == len(judge.vertices)
    assert ours.triangle_count == len(judge.faces)


def test_as_written_merges_and_drops() -> None:
    mesh = tetrahedron()
    split = Mesh(np.concatenate([mesh.corners.reshape(-1, 3), [[1 + 1e-9, 0, 0]]]),
                 np.concatenate([np.arange(12).reshape(-1, 3), [[2, 12, 4]]]))  # fmt: skip
    ours = as_written(split)
    assert len(ours.vertices) == 4
    assert ours.triangle_count == 4
    assert ours.volume_mm3 == pytest.approx(1.0)


def test_corners_that_only_float32_tells_apart_are_one() -> None:
    """Against trimesh's merging: close to zero float32 is far finer than any reader's merging distance."""
    cut = Mesh(np.array([[0.0, 0, 0], [4e-9, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]),
               np.array([[0, 3, 2], [1, 2, 4], [3, 4, 2], [0, 4, 3], [0, 2, 1], [0, 1, 4]], dtype=np.int32))  # fmt: skip
    plain = trimesh.load(io.BytesIO(stl_bytes(cut)), file_type="stl")
    ours = as_written(cut)
    judge = trimesh.load(io.BytesIO(stl_bytes(ours)), file_type="stl")
    assert len(plain.vertices) < len(np.unique(cut.vertices.astype(np.float32), axis=0))
    assert (len(ours.vertices), ours.triangle_count) == (len(judge.vertices), len(judge.faces)) == (4, 4)
    assert judge.is_watertight


def judged_by_lib3mf(
    data: bytes,
) -> tuple[list[tuple[str, np.ndarray, np.ndarray, np.ndarray]], list[str], lib3mf.Model]:
    """What the format's reference implementation reads, in strict mode: objects, and its warnings."""
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(list(data))
    warnings = [reader.GetWarning(i)[0] for i in range(reader.GetWarningCount())]
    objects = []
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        resource = model.GetMeshObjectByID(item.GetObjectResource().GetResourceID())
        vertices = np.array([list(v.Coordinates) for v in resource.GetVertices()], dtype=np.float64)
        faces = np.array([list(t.Indices) for t in resource.GetTriangleIndices()])
        assert resource.IsManifoldAndOriented()
        matrix = np.array([list(row) for row in item.GetObjectTransform().Fields])
        objects.append((resource.GetName(), vertices, faces, matrix))
    return objects, warnings, model


def test_lib3mf_reads_our_3mf_strictly_without_a_warning() -> None:
    parts = [("body", lumpy()), ('a "quoted" & <named> part', cube(3.0, (-7.0, 5.0, 0.5)))]
    objects, warnings, model = judged_by_lib3mf(threemf_bytes(parts, translation=(30.0, 31.5, 32.0)))
    assert warnings == []
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert [o[0] for o in objects] == [name for name, _ in parts]
    for (_, mesh), (_, vertices, faces, matrix) in zip(parts, objects, strict=True):
        same_triangles(Mesh(vertices, faces), as_written(mesh), 0.0)
        assert matrix.tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 1], [30.0, 31.5, 32.0]]


def test_our_3mf_comes_back() -> None:
    scene = read_scene_bytes(threemf_bytes([("head", lumpy()), ("arm", cube())], translation=(30, 30, 30)), "kit.3mf")
    assert [m.name for m in scene.meshes] == ["head", "arm"]
    assert scene.unit == "millimeter"
    same_triangles(scene.meshes[1].mesh, as_written(cube(at=(30, 30, 30))), 0.0)
    assert scene.meshes[0].mesh.volume_mm3 == pytest.approx(lumpy().volume_mm3, rel=1e-6)


def test_the_same_meshes_give_the_same_3mf() -> None:
    assert threemf_bytes([("a", lumpy())]) == threemf_bytes([("a", lumpy())])


@pytest.mark.parametrize(
    "objects", [[], [("a", cube()), ("a", cube())], [("a", Mesh(np.zeros((0, 3)), np.zeros((0, 3))))]]
)
def test_what_makes_no_3mf_is_a_usage_error(objects: list[tuple[str, Mesh]]) -> None:
    with pytest.raises(UsageError):
        threemf_bytes(objects)


def test_lib3mf_writes_and_we_read() -> None:
    """Components and transforms placed by the reference implementation, in inches."""
    model = lib3mf.Wrapper().CreateModel()
    model.SetUnit(lib3mf.ModelUnit.Inch)
    source = tetrahedron()
    mesh = model.AddMeshObject()
    mesh.SetName("wedge")
    for x, y, z in source.vertices.tolist():
        position = lib3mf.Position()
        position.Coordinates[:] = [x, y, z]
        mesh.AddVertex(position)
    for a, b, c in source.faces.tolist():
        triangle = lib3mf.Triangle()
        triangle.Indices[:] = [a, b, c]
        mesh.AddTriangle(triangle)

    def moved(rows: list[list[float]]) -> lib3mf.Transform:
        transform = lib3mf.Transform()
        for i, row in enumerate(rows):
            transform.Fields[i][:] = row
        return transform

    # v' = v M: a quarter turn about z (x to y), then a move
    turned = [[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [10.0, 0.0, 0.0]]
    doubled = [[2.0, 0.0, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 2.0], [0.0, 5.0, 0.0]]
    group = model.AddComponentsObject()
    group.AddComponent(mesh, moved(turned))
    model.AddBuildItem(group, moved(doubled))
    data = bytes(model.QueryWriter("3mf").WriteToBuffer())
    scene = read_scene_bytes(data, "judge.3mf")
    assert scene.unit == "inch"
    assert [m.name for m in scene.meshes] == ["wedge"]
    corner_x = [2 * (0 + 10), 2 * 1 + 5, 0]  # (1, 0, 0) turned to (0, 1, 0), moved to (10, 1, 0), doubled, moved
    assert np.abs(scene.merged().vertices - corner_x).sum(axis=1).min() < 1e-6
    assert scene.merged().volume_mm3 == pytest.approx(8.0)
