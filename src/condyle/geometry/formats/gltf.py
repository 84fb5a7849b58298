"""glTF 2.0 and GLB: meshes where the scene places them, and the joints of a skin. Metres, y up.

A skinned mesh is read as it is displayed at rest: each vertex is moved by the weighted sum of its joints' matrices
(linear blending), which for a figure in its binding pose leaves the vertices where they are. Joint centres are the
joints' places in the same pose. Morph targets stay at zero; cameras and animations are passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from condyle.finding import Point
from condyle.geometry.formats.gltf_colours import colours_of
from condyle.geometry.formats.gltf_data import Json, Store, entry, is_glb, split_container
from condyle.geometry.formats.limits import (
    EXPORT_AGAIN,
    MAX_MESHES,
    MAX_TRIANGLES,
    SIMPLIFY,
    checked_mesh,
    checked_meshes,
    printable,
    refusal,
)
from condyle.geometry.formats.scene import NamedMesh, Scene
from condyle.geometry.mesh import FloatArray, Mesh

_COMPRESSIONS = ("KHR_draco_mesh_compression", "EXT_meshopt_compression", "KHR_meshopt_compression")
_UNDERSTOOD = ("KHR_mesh_quantization", "KHR_texture_transform", "KHR_texture_basisu", "EXT_texture_webp")
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
_MAX_DEPTH = 1000


def looks_like_gltf(data: bytes) -> bool:
    """Whether this is a GLB, or JSON that speaks of an asset."""
    return is_glb(data) or (data[:64].lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"{" and b'"asset"' in data)


def read_gltf(data: bytes, file: str, fetch: Callable[[str], bytes]) -> Scene:
    """Read a .glb, or a .gltf whose further buffers come through ``fetch``."""
    try:
        return _read(data, file, fetch)
    except (TypeError, AttributeError, KeyError, IndexError, ValueError, OverflowError):
        # the document is free JSON: what is not of the type that glTF wants ends here
        raise refusal("syntax", "the document is not of the form that glTF asks for", EXPORT_AGAIN, file) from None


def _read(data: bytes, file: str, fetch: Callable[[str], bytes]) -> Scene:
    document, binary = split_container(data, file)
    _check_extensions(document, file)
    store = Store(document, binary, file, fetch)
    placed = _Placed(document, file)
    meshes: list[NamedMesh] = []
    joints: dict[str, Point] = {}
    notes: list[str] = []
    total = 0
    for skin in sorted({n["skin"] for n in placed.nodes.values() if "skin" in n}):
        joints |= _joint_centres(entry(document, "skins", skin, file), placed, document, file)
    for number, node in placed.nodes.items():
        if "mesh" not in node:
            continue
        source = entry(document, "meshes", node["mesh"], file)
        name = str(node.get("name") or source.get("name") or "")
        for primitive in source["primitives"]:
            mesh = _primitive(primitive, store, name, file, notes)
            if mesh is None:
                continue
            if "skin" in node:
                mesh = _skinned(mesh, primitive, entry(document, "skins", node["skin"], file), placed, store)
            else:
                mesh = mesh.transformed(placed.matrices[number])
            made = checked_mesh(name, mesh.vertices, mesh.faces, file)
            meshes.append(replace(made, colours=colours_of(primitive, mesh.faces, store, notes)))
            total += max(mesh.triangle_count, len(mesh.vertices) // 3)
            if len(meshes) > MAX_MESHES:
                raise refusal("huge", f"more than {MAX_MESHES:,} meshes", "Join the meshes and export again.", file)
            if total > MAX_TRIANGLES:  # nodes can show one mesh many times
                raise refusal("huge", f"the scene shows more than {MAX_TRIANGLES:,} triangles", SIMPLIFY, file)
    if any("weights" in m for m in document.get("meshes") or []):
        notes.append("shape keys were left at zero")
    return Scene(
        checked_meshes(meshes, file), "gltf", "meter", "y", joints, tuple(dict.fromkeys(notes)), tuple(store.side_files)
    )


def _check_extensions(document: Json, file: str) -> None:
    used = [str(e) for e in document.get("extensionsUsed") or []]
    required = [str(e) for e in document.get("extensionsRequired") or []]
    packed = [e for e in _COMPRESSIONS if e in required]
    if packed:
        raise refusal(
            "compressed",
            f"the geometry is compressed ({packed[0]})",
            "Export again with the compression of the geometry switched off.",
            file,
        )
    strange = [e for e in required if e not in _UNDERSTOOD and not e.startswith("KHR_materials_")]
    if strange:
        raise refusal(
            "unsupported", f"the file cannot be read without {printable(strange[0])}", "Export plain glTF 2.0.", file
        )
    if "EXT_mesh_gpu_instancing" in used:
        raise refusal(
            "unsupported", "the file repeats meshes by EXT_mesh_gpu_instancing", "Export plain glTF 2.0.", file
        )


class _Placed:
    """The nodes of the displayed scene in document order of a walk from its roots, with their matrices to the scene."""

    def __init__(self, document: Json, file: str) -> None:
        self.nodes: dict[int, Json] = {}
        self.matrices: dict[int, FloatArray] = {}
        if "scenes" in document:
            roots = entry(document, "scenes", document.get("scene", 0), file).get("nodes", [])
        else:
            children = {c for n in document.get("nodes") or [] for c in n.get("children", [])}
            roots = [i for i in range(len(document.get("nodes") or [])) if i not in children]
        stack = [(root, np.eye(4), 0) for root in reversed(roots)]
        while stack:
            number, outer, depth = stack.pop()
            node = entry(document, "nodes", number, file)
            if number in self.nodes or depth > _MAX_DEPTH:
                raise refusal("syntax", f"the nodes form no tree (at node {number})", EXPORT_AGAIN, file)
            with np.errstate(all="ignore"):
                matrix = outer @ _local_matrix(node)
            if not np.isfinite(matrix).all():
                raise refusal("not_finite", f"the place of node {number} is not a number", EXPORT_AGAIN, file)
            with np.errstate(all="ignore"):
                turned = abs(np.linalg.det(matrix[:3, :3]))
            if "mesh" in node and turned < 1e-30:
                raise refusal("syntax", f"node {number} is placed by a matrix that flattens it", EXPORT_AGAIN, file)
            self.nodes[number], self.matrices[number] = node, matrix
            stack += [(child, matrix, depth + 1) for child in reversed(node.get("children", []))]


def _local_matrix(node: Json) -> FloatArray:
    if "matrix" in node:
        return _numbers(node["matrix"], 16).reshape(4, 4).T
    x, y, z, w = _numbers(node.get("rotation", [0, 0, 0, 1]), 4)
    matrix = np.eye(4)
    # the rotation of a unit quaternion (glTF 2.0, 3.5.2); exporters round, so it is brought to unit length first
    norm = x * x + y * y + z * z + w * w
    s = 2.0 / norm if norm > 0 else 0.0
    matrix[:3, :3] = [
        [1 - s * (y * y + z * z), s * (x * y - z * w), s * (x * z + y * w)],
        [s * (x * y + z * w), 1 - s * (x * x + z * z), s * (y * z - x * w)],
        [s * (x * z - y * w), s * (y * z + x * w), 1 - s * (x * x + y * y)],
    ]
    matrix[:3, :3] *= _numbers(node.get("scale", [1, 1, 1]), 3)
    matrix[:3, 3] = _numbers(node.get("translation", [0, 0, 0]), 3)
    return matrix


def _numbers(values: Any, count: int) -> FloatArray:
    array = np.array([float(v) for v in values], dtype=np.float64)
    if array.shape != (count,) or not np.isfinite(array).all():
        raise ValueError("not a row of numbers")
    return array


def _primitive(primitive: Json, store: Store, name: str, file: str, notes: list[str]) -> Mesh | None:
    mode = primitive.get("mode", _TRIANGLES)
    if mode not in (_TRIANGLES, _STRIP, _FAN):
        notes.append("points and lines were passed over")
        return None
    attributes = primitive["attributes"]
    if any(e in (primitive.get("extensions") or {}) for e in _COMPRESSIONS) and "bufferView" not in entry(
        store.document, "accessors", attributes["POSITION"], file
    ):
        raise refusal("compressed", "the geometry is compressed", "Export without compression of the geometry.", file)
    vertices = store.accessor(attributes["POSITION"])
    if vertices.shape[1] != 3:
        raise refusal("syntax", f"the positions of {name!r} have {vertices.shape[1]} numbers", EXPORT_AGAIN, file)
    if "indices" in primitive:
        order = store.accessor(primitive["indices"])
        if order.dtype.kind != "u" or order.shape[1] != 1:
            raise refusal("syntax", f"the indices of {name!r} are no whole numbers", EXPORT_AGAIN, file)
        indices = order[:, 0].astype(np.int64)
    else:
        indices = np.arange(len(vertices))
    if mode == _TRIANGLES:
        if len(indices) % 3:
            notes.append("a last triangle without three corners was ignored")
        faces = indices[: len(indices) // 3 * 3].reshape(-1, 3)
    elif len(indices) < 3:
        return None
    elif mode == _STRIP:
        faces = np.stack([indices[:-2], indices[1:-1], indices[2:]], axis=1)
        faces[1::2] = faces[1::2][:, [1, 0, 2]]
    else:
        faces = np.stack([np.full(len(indices) - 2, indices[0]), indices[1:-1], indices[2:]], axis=1)
    return checked_mesh(name, vertices.astype(np.float64), faces, file).mesh


def _joint_centres(skin: Json, placed: _Placed, document: Json, file: str) -> dict[str, Point]:
    centres: dict[str, Point] = {}
    for number in skin["joints"]:
        node = entry(document, "nodes", number, file)
        if number not in placed.matrices:
            raise refusal("syntax", f"joint {number} is not in the scene", EXPORT_AGAIN, file)
        name = str(node.get("name") or f"joint_{number}")
        x, y, z = (float(v) for v in placed.matrices[number][:3, 3])
        centres[name if name not in centres else f"{name}_{number}"] = (x, y, z)
    return centres


def _skinned(mesh: Mesh, primitive: Json, skin: Json, placed: _Placed, store: Store) -> Mesh:
    """The vertices as the skin shows them at rest (glTF 2.0, 3.7.3.3: the node's own place does not count)."""
    numbers = skin["joints"]
    if "inverseBindMatrices" in skin:
        inverse = store.accessor(skin["inverseBindMatrices"])
        if inverse.shape[1] != 16 or len(inverse) < len(numbers):
            raise refusal("syntax", "a skin has not one matrix a joint", EXPORT_AGAIN, store.file)
        inverse = inverse.astype(np.float64).reshape(-1, 4, 4).transpose(0, 2, 1)
    else:
        inverse = np.broadcast_to(np.eye(4), (len(numbers), 4, 4))
    with np.errstate(all="ignore"):
        matrices = np.stack([placed.matrices[n] @ inverse[i] for i, n in enumerate(numbers)])
    if not np.isfinite(matrices).all():
        raise refusal("not_finite", "a skin's matrices are not numbers", EXPORT_AGAIN, store.file)
    if np.abs(matrices - matrices[0]).max() <= 1e-6 * max(1.0, float(np.abs(matrices[0]).max())):
        return mesh.transformed(matrices[0])
    total = np.zeros(len(mesh.vertices))
    moved = np.zeros_like(mesh.vertices)
    for joints, weights in _influences(primitive, store, len(mesh.vertices), len(numbers)):
        for matrix in np.unique(joints):
            mine = joints == matrix
            part = mesh.vertices[mine] @ matrices[matrix, :3, :3].T + matrices[matrix, :3, 3]
            moved[mine] += part * weights[mine, None]
            total[mine] += weights[mine]
    if not (total > 1e-6).all():
        raise refusal("syntax", "a vertex of a skinned mesh follows no joint", EXPORT_AGAIN, store.file)
    mirrored = np.linalg.det(matrices[0, :3, :3]) < 0
    return Mesh(moved / total[:, None], mesh.faces[:, ::-1] if mirrored else mesh.faces)


def _influences(primitive: Json, store: Store, count: int, joint_count: int) -> Iterator[tuple[np.ndarray, FloatArray]]:
    """Joint numbers (n,) and weights (n,), one pair for each influence that a vertex can have."""
    group = 0
    while f"JOINTS_{group}" in primitive["attributes"]:
        joints = store.accessor(primitive["attributes"][f"JOINTS_{group}"])
        weights = store.accessor(primitive["attributes"][f"WEIGHTS_{group}"]).astype(np.float64)
        if joints.shape != (count, 4) or weights.shape != (count, 4) or joints.dtype.kind != "u":
            raise refusal("syntax", "the joints and weights of a skinned mesh do not fit it", EXPORT_AGAIN, store.file)
        if len(joints) and int(joints.max()) >= joint_count:
            raise refusal("index", "a skinned mesh follows a joint that does not exist", EXPORT_AGAIN, store.file)
        if not np.isfinite(weights).all() or (weights < 0).any():
            raise refusal("not_finite", "the weights of a skinned mesh are not numbers", EXPORT_AGAIN, store.file)
        for i in range(4):
            yield joints[:, i].astype(np.int64), weights[:, i]
        group += 1
