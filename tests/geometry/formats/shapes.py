"""Small meshes and files, made by code, that the tests of the formats share."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from typing import Any

import numpy as np

from condyle.geometry.mesh import Mesh

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
TICKET_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/printticket"
THUMBNAIL_RELATION = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    '<Default Extension="png" ContentType="image/png"/></Types>'
)


def tetrahedron() -> Mesh:
    """Corners at the origin and at 1, 2 and 3 along the axes: volume 1·2·3/6 = 1."""
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]], dtype=np.float64)
    return Mesh(vertices, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))


def cube(size: float = 2.0, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Mesh:
    """A cube of 12 triangles, its lowest corner at ``at``."""
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(corners * size + np.array(at), np.array(faces))


def lumpy(count: int = 24, seed: int = 3) -> Mesh:
    """A closed, star-shaped blob with uneven numbers, as a sculpt has them."""
    rng = np.random.default_rng(seed)
    u, v = np.linspace(0, 2 * np.pi, 2 * count, endpoint=False), np.linspace(0, np.pi, count + 1)[1:-1]
    rings = np.stack(
        [np.outer(np.sin(v), np.cos(u)), np.outer(np.sin(v), np.sin(u)), np.outer(np.cos(v), np.ones_like(u))], axis=-1
    ).reshape(-1, 3)
    vertices = np.concatenate([rings, [[0, 0, 1], [0, 0, -1]]]) * (20 + rng.random((len(rings) + 2, 1)))
    n, rows = len(u), len(v)
    faces = []
    for i in range(rows - 1):
        for j in range(n):
            a, b = i * n + j, i * n + (j + 1) % n
            faces += [(a, a + n, b), (b, a + n, b + n)]
    top, bottom = len(rings), len(rings) + 1
    faces += [(top, j, (j + 1) % n) for j in range(n)]
    faces += [(bottom, (rows - 1) * n + (j + 1) % n, (rows - 1) * n + j) for j in range(n)]
    return Mesh(vertices, np.array(faces))


def model_xml(body: str | None = None, *, attributes: str = 'unit="millimeter"', build: str | None = None,
              before: str = "", resources: str = "") -> str:  # fmt: skip
    """A 3MF model: a tetrahedron as object 1 unless told otherwise."""
    if body is None:
        body = f'<object id="1" type="model">{mesh_xml(tetrahedron())}</object>'
    if build is None:
        build = '<item objectid="1"/>'
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><model {attributes} xmlns="{CORE}">{before}'
        f"<resources>{resources}{body}</resources><build>{build}</build></model>"
    )


def mesh_xml(mesh: Mesh) -> str:
    vertices = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in mesh.vertices.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist())
    return f"<mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh>"


def relations_xml(*relations: tuple[str, str], mode: str = "") -> str:
    rows = "".join(
        f'<Relationship Target="{target}" Id="rel{i}" Type="{kind}"{mode}/>'
        for i, (kind, target) in enumerate(relations)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        f'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{rows}</Relationships>'
    )


def package(model: str | bytes | None = None, *, relations: str | None = None, extra: dict[str, bytes] | None = None,
            types: str | None = TYPES, name: str = "3D/3dmodel.model") -> bytes:  # fmt: skip
    """A 3MF package around a model."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        if types is not None:
            archive.writestr("[Content_Types].xml", types)
        archive.writestr("_rels/.rels", relations or relations_xml((MODEL_RELATION, "/3D/3dmodel.model")))
        archive.writestr(name, model_xml() if model is None else model)
        for path, data in (extra or {}).items():
            archive.writestr(path, data)
    return out.getvalue()


def glb(document: dict[str, Any], data: bytes = b"") -> bytes:
    """A GLB container."""
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    if data:
        chunks += struct.pack("<I4s", len(data), b"BIN\0") + data
    return b"glTF" + struct.pack("<II", 2, 12 + len(chunks)) + chunks


def gltf_document(mesh: Mesh, **more: Any) -> tuple[dict[str, Any], bytes]:
    """A glTF document of one mesh in one node, and its binary data."""
    positions, indices = mesh.vertices.astype("<f4").tobytes(), mesh.faces.astype("<u4").tobytes()
    document: dict[str, Any] = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": "body", "mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(mesh.vertices), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5125, "count": 3 * len(mesh.faces), "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(positions)},
            {"buffer": 0, "byteOffset": len(positions), "byteLength": len(indices)},
        ],
        "buffers": [{"byteLength": len(positions) + len(indices)}],
    }
    document.update(more)
    return document, positions + indices


def stl(mesh: Mesh) -> bytes:
    """Binary STL."""
    record = np.zeros(len(mesh.faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["v"] = mesh.corners
    return b"made by code".ljust(80) + struct.pack("<I", len(mesh.faces)) + record.tobytes()


def stl_text(mesh: Mesh, name: str = "body") -> bytes:
    """Text STL."""
    rows = [f"solid {name}"]
    for corners in mesh.corners.tolist():
        rows += ["facet normal 0 0 0", " outer loop"]
        rows += ["  vertex {:.17g} {:.17g} {:.17g}".format(*c) for c in corners]
        rows += [" endloop", "endfacet"]
    return ("\n".join([*rows, f"endsolid {name}"]) + "\n").encode()


def obj_text(mesh: Mesh) -> bytes:
    rows = ["# made by code", *("v {!r} {!r} {!r}".format(*v) for v in mesh.vertices.tolist())]
    rows += ["f {} {} {}".format(*(i + 1 for i in f)) for f in mesh.faces.tolist()]
    return ("\n".join(rows) + "\n").encode()


def ply(mesh: Mesh, order: str) -> bytes:
    """PLY with a colour per vertex and a quality per face, to be skipped; ``order`` as the header has it."""
    header = (
        f"ply\nformat {order} 1.0\ncomment made by code\nelement vertex {len(mesh.vertices)}\n"
        "property double x\nproperty double y\nproperty double z\nproperty uchar red\n"
        f"element face {len(mesh.faces)}\nproperty list uchar int vertex_indices\nproperty float quality\nend_header\n"
    ).encode()
    if order == "ascii":
        rows = ["{!r} {!r} {!r} 7".format(*v) for v in mesh.vertices.tolist()]
        rows += ["3 {} {} {} 0.5".format(*f) for f in mesh.faces.tolist()]
        return header + ("\n".join(rows) + "\n").encode()
    sign = "<" if "little" in order else ">"
    body = b"".join(struct.pack(sign + "dddB", *v, 7) for v in mesh.vertices.tolist())
    return header + body + b"".join(struct.pack(sign + "Biiif", 3, *f, 0.5) for f in mesh.faces.tolist())


def every_format(mesh: Mesh) -> dict[str, bytes]:
    """The mesh in every format that can be read, by file name; written by this file, not by the code under test."""
    document, data = gltf_document(mesh)
    return {
        "a.stl": stl(mesh),
        "text.stl": stl_text(mesh),
        "a.obj": obj_text(mesh),
        "ascii.ply": ply(mesh, "ascii"),
        "little.ply": ply(mesh, "binary_little_endian"),
        "big.ply": ply(mesh, "binary_big_endian"),
        "a.glb": glb(document, data),
        "a.3mf": package(model_xml(f'<object id="1">{mesh_xml(mesh)}</object>')),
    }
