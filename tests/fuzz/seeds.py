"""Sound mesh files to begin from, each with something more of its format than the plain shapes of the format tests."""

from __future__ import annotations

import io
import json
import struct

import numpy as np
from PIL import Image

from tests.fuzz.targets import BESIDE
from tests.geometry.formats.shapes import (
    cube,
    every_format,
    glb,
    gltf_document,
    mesh_xml,
    model_xml,
    package,
    tetrahedron,
)
from tests.geometry.formats.test_gltf import Document, arm


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (2, 2), (200, 30, 20)).save(out, format="PNG")
    return out.getvalue()


def made() -> dict[str, bytes]:
    """All of them by name."""
    body = tetrahedron()
    files = every_format(body)
    skin = arm()
    files["skin.glb"] = glb(skin.json, skin.data)
    files["painted.obj"] = (
        b"mtllib a.mtl\no one\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nvt 0 0\nvt 1 0\nvt 0.5 1\n"
        b"usemtl red\nf 1/1 3/2 2/3\nf 1/1 2/2 4/3\ng two\nusemtl pic\nf -3/1/1 -2/2/1 -1/3/1\nf 3//1 1 4 2\ns 1\nl 1 2\n"
        + BESIDE
        + b"newmtl red\nKd 1 0 0\nnewmtl pic\nmap_Kd a.png\n"
    )
    files["faces.ply"] = (
        b"ply\nformat ascii 1.0\nobj_info x\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
        b"element face 2\nproperty list uchar int vertex_index\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n"
        b"element edge 1\nproperty int a\nproperty int b\nend_header\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n4 0 1 2 3 9 9 9\n3 0 2 3 1 2 3\n0 1\n"
    )
    painted = Document(body)
    attributes = painted.json["meshes"][0]["primitives"][0]["attributes"]
    attributes["COLOR_0"] = painted.add(np.zeros((4, 4), dtype="<u1"), 5121, "VEC4", normalized=True)
    attributes["TEXCOORD_0"] = painted.add(np.zeros((4, 2), dtype="<f4"), 5126, "VEC2")
    painted.json["meshes"][0]["primitives"][0]["material"] = 0
    painted.json["materials"] = [
        {"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}, "baseColorFactor": [1, 0.5, 0, 1]}}
    ]
    painted.json["textures"], painted.json["images"] = (
        [{"source": 0}],
        [{"bufferView": len(painted.json["bufferViews"]), "mimeType": "image/png"}],
    )
    raw = picture()
    painted.json["bufferViews"].append({"buffer": 0, "byteOffset": len(painted.data), "byteLength": len(raw)})
    painted.data += raw
    painted.json["buffers"][0]["byteLength"] = len(painted.data)
    files["painted.glb"] = glb(painted.json, painted.data)
    sparse = Document(body)
    sparse.json["accessors"][0]["sparse"] = {
        "count": 1,
        "indices": {"bufferView": 2, "componentType": 5123},
        "values": {"bufferView": 3},
    }
    sparse.add(np.array([[1]], dtype="<u2"), 5123, "SCALAR")
    sparse.add(np.array([[2.0, 0.0, 0.0]], dtype="<f4"), 5126, "VEC3")
    sparse.json["nodes"] = [
        {"children": [1], "scale": [2, 2, 2]}, {"mesh": 0, "rotation": [0, 0, 0, 1], "translation": [0, 1, 0]},
    ]  # fmt: skip
    files["sparse.glb"] = glb(sparse.json, sparse.data)
    document, data = gltf_document(body)
    document["buffers"][0]["uri"] = "a.bin"
    files["beside.gltf"] = json.dumps(document).encode() + BESIDE + data
    solid = f'<object id="1" type="model" name="a" pid="5" pindex="0">{mesh_xml(body)}</object>'
    files["painted.3mf"] = package(
        model_xml(solid, resources='<basematerials id="5"><base name="red" displaycolor="#FF0000FF"/></basematerials>')
    )
    files["components.3mf"] = package(
        model_xml(
            f'<object id="1" type="model">{mesh_xml(body)}</object><object id="2" type="model"><components>'
            '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 5 5"/><component objectid="1"/></components></object>',
            attributes='unit="inch" xml:lang="en-US"',
            build='<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 1 2 3"/>',
            before='<metadata name="Title">a</metadata>',
        )
    )
    files["cube.tri"] = coarse(cube(8.0).vertices, cube(8.0).faces)
    two = np.concatenate([cube(5.0).vertices, cube(5.0, (3.0, 2.0, 1.0)).vertices])
    files["two.tri"] = coarse(two, np.concatenate([cube(5.0).faces, cube(5.0).faces + 8]))
    return files


def coarse(vertices: np.ndarray, faces: np.ndarray) -> bytes:
    """A mesh as the target ``sculpt`` reads it."""
    places = np.rint(vertices).astype(int) @ np.array([1, 9, 81])
    return bytes([len(vertices) - 4]) + struct.pack(f">{len(places)}H", *places) + bytes(faces.ravel().tolist())
