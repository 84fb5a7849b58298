"""Poses in the GLB: decoded here from the bytes by the format's own rules, and walked by an independent scene graph."""

from __future__ import annotations

import io
import json
import struct
import sys
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial.transform import Rotation

sys.path.insert(0, str(Path(__file__).parents[1] / "figure" / "pose"))
from stickfigure import stick_figure

from condyle.export import kit_files
from condyle.export.pose_animation import pose_animation
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, forward, ground

_TO_FIGURE = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
POSE = Pose(
    "wave", {"shoulder_left": {"flex": 70.0, "abduct": 60.0}, "elbow_left": {"flex": 80.0}, "neck": {"twist": 30.0}}
)


def written() -> tuple[Kit, bytes]:
    kit = stick_figure(20.0)
    half = Pose("half", {"shoulder_left": {"flex": 40.0, "abduct": 40.0}, "neck": {"twist": 10.0}})
    return kit, kit_files(kit, [pose_animation(kit, "wave", [Pose("rest"), half, POSE])]).files["figure.glb"]


def parts_of(data: bytes) -> tuple[dict, bytes]:
    """glTF 2.0, 4.4: a header of 12 bytes, then chunks of length, kind and body."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON" and size % 4 == 0
    document = json.loads(data[20 : 20 + size])
    body_size, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert kind == b"BIN\0" and 28 + size + body_size == length
    return document, data[28 + size :]


def values(document: dict, body: bytes, number: int) -> np.ndarray:
    accessor = document["accessors"][number]
    view = document["bufferViews"][accessor["bufferView"]]
    width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor["type"]]
    assert accessor["componentType"] == 5126 and view["byteLength"] == 4 * width * accessor["count"]
    assert "target" not in view  # only vertex data has one (3.6.2.3)
    return np.frombuffer(body, "<f4", accessor["count"] * width, view["byteOffset"]).reshape(-1, width)


def test_animations_follow_the_rules_of_the_format() -> None:
    """glTF 2.0, 3.11: times rise from 0 or later and carry min and max; rotations are unit quaternions; no node and path twice."""
    _, data = written()
    document, body = parts_of(data)
    (animation,) = document["animations"]
    assert animation["name"] == "wave"
    targets = [(c["target"]["node"], c["target"]["path"]) for c in animation["channels"]]
    assert len(set(targets)) == len(targets)
    for channel in animation["channels"]:
        sampler = animation["samplers"][channel["sampler"]]
        times = values(document, body, sampler["input"])[:, 0]
        told = document["accessors"][sampler["input"]]
        assert times[0] == 0.0 and (np.diff(times) > 0).all()
        assert (told["min"], told["max"]) == ([float(times[0])], [float(times[-1])])
        out = values(document, body, sampler["output"])
        assert len(out) == len(times)
        if channel["target"]["path"] == "rotation":
            np.testing.assert_allclose(np.linalg.norm(out, axis=1), 1.0, atol=1e-6)
            assert (np.einsum("ij,ij->i", out[1:], out[:-1]) >= 0).all()


def test_the_last_key_played_is_the_pose_on_its_feet() -> None:
    kit, data = written()
    document, body = parts_of(data)
    (animation,) = document["animations"]
    scene = trimesh.load(io.BytesIO(data), file_type="glb")
    graph = scene.graph
    for channel in animation["channels"]:
        node = document["nodes"][channel["target"]["node"]]["name"]
        parent = graph.transforms.parents[node]
        local = graph.get(node, parent)[0].copy()
        last = values(document, body, animation["samplers"][channel["sampler"]]["output"])[-1]
        if channel["target"]["path"] == "rotation":
            local[:3, :3] = Rotation.from_quat(last).as_matrix()
        else:
            local[:3, 3] = last
        graph.update(frame_to=node, frame_from=parent, matrix=local)
    placed = forward(kit, POSE)
    down = ground(kit, placed)
    for part in kit.parts:
        matrix, mesh = graph.get(f"part:{part.name}")
        seen = 1000.0 * trimesh.transform_points(scene.geometry[mesh].vertices, matrix) @ _TO_FIGURE.T
        ours = trimesh.transform_points(part.mesh.vertices, down @ placed[part.name])
        np.testing.assert_allclose(seen.min(axis=0), ours.min(axis=0), atol=5e-4)
        np.testing.assert_allclose(seen.max(axis=0), ours.max(axis=0), atol=5e-4)
