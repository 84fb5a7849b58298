"""What OBJ, PLY and text STL files in the wild contain beyond the plain case."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from condyle.geometry.formats import read_scene_bytes
from tests.geometry.formats.shapes import cube, lumpy, obj_text, ply, stl_text

QUADS = "f 1 2 4 3\nf 5 7 8 6\nf 1 5 6 2\nf 3 4 8 7\nf 1 3 7 5\nf 2 6 8 4\n"


def cube_corners() -> str:
    return "".join("v {} {} {}\n".format(*v) for v in cube().vertices.tolist())


@pytest.mark.parametrize(
    "text",
    [
        cube_corners() + QUADS,
        "# comment\r\nmtllib a.mtl\r\n" + (cube_corners() + QUADS).replace("\n", "\r\n"),
        cube_corners().replace("v ", "v\t") + QUADS.replace("f ", "  f   "),
        cube_corners().replace("\n", " 1.0\n") + QUADS,
        cube_corners().replace("\n", " 0.5 0.25 1\n")
        + "vn 0 0 1\nvt 0 0\n"
        + QUADS.replace("1 2 4 3", "1/1/1 2/1/1 4//1 3/1"),
        cube_corners() + QUADS.replace("1 2 4 3", "-8 -7 -5 -6"),
        cube_corners() + QUADS.replace("f 1 2 4 3", "f 1 2 \\\n4 3"),
        cube_corners() + "s off\nusemtl skin\nl 1 2\n" + QUADS + "p 1\n",
    ],
)
def test_obj_variants(text: str) -> None:
    mesh = read_scene_bytes(text.encode(), "a.obj").merged()
    assert mesh.volume_mm3 == pytest.approx(8.0)
    assert mesh.triangle_count == 12


def test_obj_groups_become_meshes() -> None:
    far = "".join("v {} {} {}\n".format(*v) for v in cube(1.0, (5, 5, 5)).vertices.tolist())
    text = f"{cube_corners()}{far}o body\n{QUADS}g joint-knee marker\n"
    text += "".join("f {} {} {}\n".format(*(i + 9 for i in f)) for f in cube().faces.tolist())
    scene = read_scene_bytes(text.encode(), "a.obj")
    assert [m.name for m in scene.meshes] == ["body", "joint-knee marker"]
    assert scene.meshes[1].mesh.vertices.mean(axis=0) == pytest.approx([5.5, 5.5, 5.5])
    assert len(scene.meshes[1].mesh.vertices) == 8


def test_obj_polygons_agree_with_trimesh() -> None:
    """A prism on a hexagon; the judge splits polygons in its own way, the volume must agree."""
    angles = np.radians(np.arange(6) * 60)
    rows = [
        f"v {x!r} {y!r} {z}"
        for z in (0, 2)
        for x, y in zip(np.cos(angles).tolist(), np.sin(angles).tolist(), strict=True)
    ]
    rows += [
        "f 6 5 4 3 2 1",
        "f 7 8 9 10 11 12",
        *(f"f {i + 1} {(i + 1) % 6 + 1} {(i + 1) % 6 + 7} {i + 7}" for i in range(6)),
    ]
    text = "\n".join(rows).encode()
    scene = read_scene_bytes(text, "a.obj")
    judge = trimesh.load(io.BytesIO(text), file_type="obj", force="mesh")
    assert scene.merged().volume_mm3 == pytest.approx(judge.volume)
    # area of a regular hexagon of side 1: 3√3/2, elementary geometry
    assert scene.merged().volume_mm3 == pytest.approx(2 * 1.5 * np.sqrt(3))
    assert scene.notes == ("2 polygons of more than four sides were split as fans",)


def test_a_bent_in_quad_is_split_where_both_halves_face_one_way() -> None:
    """An arrowhead, its third corner drawn in: the diagonal 2-4 lies outside, so a blind fan from 2 folds over."""
    text = "v 0 0 0\nv 2 1 0\nv 0.5 0 0\nv 2 -1 0\nf 2 1 4 3\n"
    mesh = read_scene_bytes(text.encode(), "a.obj").merged()
    assert (mesh.area_vectors[:, 2] > 0).all() or (mesh.area_vectors[:, 2] < 0).all()


@pytest.mark.parametrize("order", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_of_mixed_polygons(order: str) -> None:
    """A quad among triangles takes the way that reads row by row."""
    mesh = cube()
    data = ply(mesh, order)
    quad = {"ascii": b"4 0 1 3 2 0.5\n"}.get(order)
    if quad is None:
        sign = "<" if "little" in order else ">"
        quad = np.array([4], dtype="u1").tobytes() + np.array([0, 1, 3, 2], dtype=sign + "i4").tobytes()
        quad += np.array([0.5], dtype=sign + "f4").tobytes()
        row = 1 + 12 + 4
        data = data[: -12 * row] + quad + data[-10 * row :]
    else:
        lines = data.splitlines(keepends=True)
        data = b"".join(lines[:-12]) + quad + b"".join(lines[-10:])
    data = data.replace(b"element face 12", b"element face 11")
    got = read_scene_bytes(data, "a.ply").merged()
    assert got.volume_mm3 == pytest.approx(8.0)
    assert got.triangle_count == 12


def test_ply_agrees_with_trimesh() -> None:
    """Files written by an independent library."""
    mesh = lumpy()
    judge = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    for encoding in ("ascii", "binary"):
        got = read_scene_bytes(judge.export(file_type="ply", encoding=encoding), "a.ply").merged()
        assert got.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-5)


def test_ply_with_further_elements_in_between() -> None:
    data = ply(cube(), "ascii").replace(
        b"element face", b"element edge 1\nproperty int vertex1\nproperty list uchar float weights\nelement face"
    )
    lines = data.splitlines(keepends=True)
    assert read_scene_bytes(b"".join([*lines[:-12], b"0 2 0.5 0.5\n", *lines[-12:]]), "a.ply").triangle_count == 12


def test_ply_with_a_comment_broken_over_lines() -> None:
    data = ply(cube(), "ascii").replace(b"made by code", b"made\nby code")
    assert read_scene_bytes(data, "a.ply").triangle_count == 12


@pytest.mark.parametrize(
    "text",
    [
        stl_text(cube()).upper(),
        stl_text(cube()).replace(b"\n", b"\r\n"),
        b"\n  " + stl_text(cube(), "a figure with a facet vertex 1 2 3"),
        stl_text(cube()).replace(b"solid body", b"solid"),
        stl_text(cube()).replace(b"normal 0 0 0", b"normal nan nan nan"),
        stl_text(cube()).replace(b"facet normal 0 0 0", b"facet"),
    ],
)
def test_text_stl_variants(text: bytes) -> None:
    mesh = read_scene_bytes(text, "a.stl").merged()
    assert mesh.volume_mm3 == pytest.approx(8.0)
    assert mesh.triangle_count == 12


def test_text_stl_of_several_solids() -> None:
    scene = read_scene_bytes(stl_text(cube(), "Left Arm") + stl_text(lumpy(), "head"), "a.stl")
    assert [m.name for m in scene.meshes] == ["Left Arm", "head"]
    assert scene.meshes[0].mesh.triangle_count == 12


def test_text_stl_in_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("condyle.geometry.formats.stl._CHUNK", 500)
    mesh = lumpy()
    assert (read_scene_bytes(stl_text(mesh), "a.stl").merged().corners == mesh.corners).all()


def test_obj_written_with_many_digits_is_read_exactly() -> None:
    assert (read_scene_bytes(obj_text(lumpy()), "a.obj").merged().vertices == lumpy().vertices).all()
