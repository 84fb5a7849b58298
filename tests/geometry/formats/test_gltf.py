"""glTF: placement, skins, stored forms. Rules by section of the glTF 2.0 specification (ISO/IEC 12113)."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from condyle.geometry.formats import read_scene, read_scene_bytes
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.mesh import Mesh
from tests.geometry.formats.shapes import cube, glb, gltf_document, lumpy, tetrahedron


class Document:
    """A glTF document that grows."""

    def __init__(self, mesh: Mesh) -> None:
        self.json, self.data = gltf_document(mesh)

    def add(self, values: np.ndarray, component: int, kind: str, **more: Any) -> int:
        """A further accessor."""
        raw = np.ascontiguousarray(values).tobytes()
        self.json["bufferViews"].append({"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw)})
        self.data += raw + b"\0" * (-len(raw) % 4)
        self.json["buffers"][0]["byteLength"] = len(self.data)
        self.json["accessors"].append({"bufferView": len(self.json["bufferViews"]) - 1, "componentType": component,
                                       "count": len(values), "type": kind, **more})  # fmt: skip
        return len(self.json["accessors"]) - 1

    def read(self) -> Any:
        return read_scene_bytes(glb(self.json, self.data), "a.glb")


def arm(pose: np.ndarray | None = None) -> Document:
    """A bar along x of two cubes: the nearer follows ``shoulder`` at the origin, the farther ``elbow`` at x = 2."""
    two = [cube(2.0), cube(2.0, (2.0, 0.0, 0.0))]
    mesh = Mesh(np.concatenate([m.vertices for m in two]), np.concatenate([two[0].faces, two[1].faces + 8]))
    doc = Document(mesh)
    joints = np.zeros((16, 4), dtype="<u1")
    joints[8:, 0] = 1
    weights = np.zeros((16, 4), dtype="<f4")
    weights[:, 0] = 1
    elbow_inverse = np.eye(4)
    elbow_inverse[0, 3] = -2
    inverse = np.stack([np.eye(4).T, elbow_inverse.T]).astype("<f4").reshape(-1, 16)
    attributes = doc.json["meshes"][0]["primitives"][0]["attributes"]
    attributes["JOINTS_0"] = doc.add(joints, 5121, "VEC4")
    attributes["WEIGHTS_0"] = doc.add(weights, 5126, "VEC4")
    place = np.eye(4)
    place[0, 3] = 2
    if pose is not None:
        place = place @ pose
    doc.json["nodes"] = [
        {"name": "body", "mesh": 0, "skin": 0, "translation": [100, 100, 100]},
        {"name": "shoulder", "children": [2]},
        {"name": "elbow", "matrix": place.T.ravel().tolist()},
    ]
    doc.json["scenes"] = [{"nodes": [0, 1]}]
    doc.json["skins"] = [{"joints": [1, 2], "inverseBindMatrices": doc.add(inverse, 5126, "MAT4")}]
    return doc


def test_a_skinned_mesh_in_its_binding_pose_and_its_joints() -> None:
    """3.7.3.3: the place of the node that carries a skinned mesh does not count."""
    scene = arm().read()
    assert scene.joints == {"shoulder": (0, 0, 0), "elbow": (2, 0, 0)}
    assert scene.merged().bounds.tolist() == [[0, 0, 0], [4, 2, 2]]
    assert scene.unit == "meter"
    assert scene.up == "y"


def test_a_skinned_mesh_stored_in_a_pose_is_read_as_it_shows() -> None:
    """3.7.3.1: joint matrix = place of the joint × its inverse bind matrix. The farther cube turns 90° about z at x = 2."""
    scene = arm(rotation_matrix_about(np.zeros(3), np.array([0.0, 0.0, 1.0]), 90.0)).read()
    near, far = scene.merged().vertices[:8], scene.merged().vertices[8:]
    assert near.max(axis=0) == pytest.approx([2, 2, 2])
    assert far.min(axis=0) == pytest.approx([0, 0, 0], abs=1e-6)
    assert far.max(axis=0) == pytest.approx([2, 2, 2])
    assert scene.joints["elbow"] == (2, 0, 0)


def test_a_scaled_skeleton_scales_mesh_and_joints_alike() -> None:
    """Common in exports: vertices in centimetres, a root of scale 0.01."""
    doc = arm()
    doc.json["nodes"].append({"name": "root", "scale": [0.01, 0.01, 0.01], "children": [1]})
    doc.json["scenes"] = [{"nodes": [0, 3]}]
    scene = doc.read()
    assert scene.merged().bounds[1] == pytest.approx([0.04, 0.02, 0.02])
    assert scene.joints["elbow"] == pytest.approx((0.02, 0, 0))


def test_weights_are_brought_to_one() -> None:
    doc = arm(rotation_matrix_about(np.zeros(3), np.array([0.0, 0.0, 1.0]), 90.0))
    attributes = doc.json["meshes"][0]["primitives"][0]["attributes"]
    joints = np.tile(np.array([0, 1, 0, 0], dtype="<u2"), (16, 1))
    attributes["JOINTS_0"] = doc.add(joints, 5123, "VEC4")
    attributes["WEIGHTS_0"] = doc.add(
        np.tile(np.array([100, 100, 0, 0], dtype="<u1"), (16, 1)), 5121, "VEC4", normalized=True
    )
    moved = doc.read().merged().vertices
    # half of each matrix: the corner (4, 0, 0) goes half way to (2, 2, 0)
    assert np.abs(moved - [3, 1, 0]).sum(axis=1).min() < 1e-6


def test_nodes_place_their_meshes() -> None:
    """3.5.3: translation × rotation × scale, parents first; a mirroring place keeps the outside outside."""
    made, data = gltf_document(tetrahedron())
    half = np.sqrt(0.5)
    made["nodes"] = [
        {"name": "outer", "translation": [10, 0, 0], "children": [1, 2]},
        {"name": "turned", "mesh": 0, "rotation": [0, 0, half, half], "scale": [2, 1, 1]},
        {"name": "mirrored", "mesh": 0, "scale": [-1, 1, 1]},
        {"name": "not in the scene", "mesh": 0},
    ]
    scene = read_scene_bytes(glb(made, data), "a.glb")
    assert [m.name for m in scene.meshes] == ["turned", "mirrored"]
    turned, mirrored = (m.mesh for m in scene.meshes)
    assert turned.bounds == pytest.approx(np.array([[8, 0, 0], [10, 2, 3]]))
    assert turned.volume_mm3 == pytest.approx(2.0)
    assert mirrored.bounds == pytest.approx(np.array([[9, 0, 0], [10, 2, 3]]))
    assert mirrored.volume_mm3 == pytest.approx(1.0)


def test_placement_agrees_with_trimesh() -> None:
    """An independent reader on a scene of random nested places."""
    rng = np.random.default_rng(5)
    made, data = gltf_document(lumpy())
    made["nodes"] = []
    for i in range(6):
        rotation = rng.normal(size=4)
        node: dict[str, Any] = {
            "name": f"n{i}", "mesh": 0, "translation": rng.normal(size=3).tolist(),
            "rotation": (rotation / np.linalg.norm(rotation)).tolist(), "scale": (0.5 + rng.random(3)).tolist(),
        }  # fmt: skip
        if i < 5:
            node["children"] = [i + 1]
        made["nodes"].append(node)
    content = glb(made, data)
    ours = read_scene_bytes(content, "a.glb").merged()
    judge = trimesh.load_scene(io.BytesIO(content), file_type="glb").to_geometry()
    assert ours.bounds == pytest.approx(judge.bounds, rel=1e-5)
    assert ours.volume_mm3 == pytest.approx(judge.volume, rel=1e-5)


def test_interleaved_quantised_and_sparse_positions() -> None:
    """3.6.2: strides, normalised integers (KHR_mesh_quantization), and a sparse accessor that moves one corner."""
    mesh = tetrahedron()
    doc = Document(mesh)
    rows = np.zeros(4, dtype=[("p", "<i2", 3), ("pad", "<i2"), ("n", "<f4", 3)])
    rows["p"] = np.round(mesh.vertices / 3 * 32767)
    quantised = doc.add(rows.view(np.uint8).reshape(4, -1), 5122, "VEC3", normalized=True)
    doc.json["bufferViews"][-1]["byteStride"] = rows.itemsize
    doc.json["extensionsRequired"] = doc.json["extensionsUsed"] = ["KHR_mesh_quantization"]
    doc.json["meshes"][0]["primitives"][0]["attributes"]["POSITION"] = quantised
    doc.json["nodes"][0]["scale"] = [3, 3, 3]
    assert doc.read().merged().volume_mm3 == pytest.approx(1.0, rel=1e-3)

    doc = Document(mesh)
    doc.add(np.array([3], dtype="<u2"), 5123, "SCALAR")
    doc.add(np.array([[0, 0, 6]], dtype="<f4"), 5126, "VEC3")
    views = len(doc.json["bufferViews"])
    doc.json["accessors"][0]["sparse"] = {
        "count": 1, "indices": {"bufferView": views - 2, "componentType": 5123}, "values": {"bufferView": views - 1},
    }  # fmt: skip
    assert doc.read().merged().volume_mm3 == pytest.approx(2.0)


@pytest.mark.parametrize(("mode", "order"), [(5, [0, 1, 2, 3]), (6, [0, 1, 3, 2])])
def test_strips_and_fans(mode: int, order: list[int]) -> None:
    """3.7.2.1: a square as two triangles, both facing one way."""
    square = Mesh(np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]]), np.array([[0, 1, 2]]))
    doc = Document(square)
    primitive = doc.json["meshes"][0]["primitives"][0]
    primitive["mode"] = mode
    primitive["indices"] = doc.add(np.array(order, dtype="<u1"), 5121, "SCALAR")
    assert doc.read().merged().area_vectors.sum(axis=0) == pytest.approx([0, 0, 1])
    assert doc.read().triangle_count == 2


def test_buffers_beside_the_file(tmp_path: Path) -> None:
    made, data = gltf_document(cube())
    made["buffers"][0]["uri"] = "data%20files/a.bin"
    made["images"] = [{"uri": "textures/skin.png"}]
    (tmp_path / "data files").mkdir()
    (tmp_path / "data files" / "a.bin").write_bytes(data)
    (tmp_path / "a.gltf").write_text(json.dumps(made))
    scene = read_scene(tmp_path / "a.gltf")
    assert scene.merged().volume_mm3 == pytest.approx(8.0)
    assert scene.side_files == ("data files/a.bin",)
