"""Colours of triangles, held against files that an independent library writes."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh
from PIL import Image
from trimesh.visual import ColorVisuals, TextureVisuals
from trimesh.visual.material import PBRMaterial, SimpleMaterial

from condyle.geometry.formats.colours import from_linear, to_linear
from condyle.geometry.formats.registry import read_scene, read_scene_bytes

RED, BLUE = (200, 30, 20), (20, 40, 180)


def two_tone() -> tuple[trimesh.Trimesh, np.ndarray]:
    """A box, its upper faces red; vertices are apart so that no corner has two colours."""
    mesh = trimesh.creation.box((10.0, 10.0, 20.0)).subdivide()
    upper = mesh.triangles_center[:, 2] > 0.0
    apart = trimesh.Trimesh(mesh.triangles.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3), process=False)
    return apart, upper


def expected(upper: np.ndarray) -> np.ndarray:
    return np.where(upper[:, None], RED, BLUE)


@pytest.mark.parametrize("encoding", ["ascii", "binary"])
@pytest.mark.parametrize("at", ["vertex", "face"])
def test_ply_colours_at_vertices_and_faces(encoding: str, at: str) -> None:
    mesh, upper = two_tone()
    colours = np.hstack([expected(upper), np.full((len(upper), 1), 255)]).astype(np.uint8)
    mesh.visual = (
        ColorVisuals(mesh, vertex_colors=colours.repeat(3, axis=0)) if at == "vertex" else ColorVisuals(mesh, colours)
    )
    scene = read_scene_bytes(mesh.export(file_type="ply", encoding=encoding), "a.ply")
    assert np.array_equal(scene.meshes[0].colours, expected(upper))


def test_a_glb_with_colours_at_vertices() -> None:
    mesh, upper = two_tone()
    colours = np.hstack([expected(upper), np.full((len(upper), 1), 255)]).astype(np.uint8)
    mesh.visual = ColorVisuals(mesh, vertex_colors=colours.repeat(3, axis=0))
    scene = read_scene_bytes(mesh.export(file_type="glb"), "a.glb")
    # glTF 2.0, 3.7.2.1: COLOR_0 is in linear light; the library writes its numbers as they are.
    assert np.abs(scene.meshes[0].colours.astype(int) - from_linear(expected(upper) / 255.0)).max() <= 1


def test_a_texture_of_a_glb_and_of_an_obj(tmp_path) -> None:  # type: ignore[no-untyped-def]
    mesh, upper = two_tone()
    picture = Image.new("RGB", (8, 8), BLUE)
    picture.paste(RED, (0, 0, 8, 4))  # rows count from the top, and v from the bottom: v above a half is red
    uv = np.where(upper[:, None], (0.5, 0.8), (0.5, 0.2)).repeat(3, axis=0)
    mesh.visual = TextureVisuals(uv, material=PBRMaterial(baseColorTexture=picture))
    scene = read_scene_bytes(mesh.export(file_type="glb"), "a.glb")
    assert np.abs(scene.meshes[0].colours.astype(int) - expected(upper)).max() <= 1
    mesh.visual = TextureVisuals(uv, material=SimpleMaterial(image=picture, diffuse=(255, 255, 255, 255)))
    buffer = io.BytesIO()
    picture.save(buffer, format="PNG")
    (tmp_path / "material_0.png").write_bytes(buffer.getvalue())
    text, side = trimesh.exchange.obj.export_obj(mesh, return_texture=True)
    (tmp_path / "a.obj").write_text(text)
    for name, data in side.items():
        (tmp_path / name).write_bytes(data)
    scene = read_scene(tmp_path / "a.obj")
    assert np.array_equal(scene.meshes[0].colours, expected(upper))


def test_materials_and_vertex_colours_of_an_obj(tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "two.mtl").write_text("newmtl red\nKd 1 0 0\nnewmtl dark blue\nKd 0 0 0.4\n")
    corners = "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\n"
    faces = "usemtl red\nf 1 3 2\nf 1 2 4\nusemtl dark blue\nf 2 3 4\nf 3 1 4\n"
    (tmp_path / "a.obj").write_text(f"mtllib two.mtl\n{corners}{faces}")
    scene = read_scene(tmp_path / "a.obj")
    assert scene.meshes[0].colours.tolist() == [[255, 0, 0]] * 2 + [[0, 0, 102]] * 2
    (tmp_path / "b.obj").write_text(f"mtllib none.mtl\n{corners}{faces}")
    scene = read_scene(tmp_path / "b.obj")
    assert scene.meshes[0].colours is None
    assert any("materials" in note for note in scene.notes)
    tinted = "".join(f"{line} 0 0.5 1\n" for line in corners.splitlines())
    scene = read_scene_bytes(f"{tinted}f 1 3 2\nf 1 2 4\nf 2 3 4\nf 3 1 4\n".encode(), "c.obj")
    assert scene.meshes[0].colours.tolist() == [[0, 128, 255]] * 4


def test_linear_light_goes_there_and_back() -> None:
    # IEC 61966-2-1: mid grey 188 is half of the light, to a level.
    assert abs(int(from_linear(np.array([[0.5, 0.5, 0.5]]))[0, 0]) - 188) <= 1
    every = np.arange(256, dtype=np.uint8).repeat(3).reshape(-1, 3)
    assert np.array_equal(from_linear(to_linear(every)), every)


def test_files_without_colours_have_none() -> None:
    box = trimesh.creation.box((1.0, 1.0, 1.0))
    for kind in ("stl", "obj"):
        data = box.export(file_type=kind)
        assert (
            read_scene_bytes(data if isinstance(data, bytes) else data.encode(), f"a.{kind}").meshes[0].colours is None
        )
