"""Every file that is no mesh ends in one clear FileFormatError: code, message, hint and place; never anything else."""

from __future__ import annotations

import base64
import io
import json
import struct
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from condyle.errors import FileFormatError
from condyle.geometry.formats import limits, read_scene, read_scene_bytes
from condyle.geometry.mesh import Mesh
from tests.geometry.formats.shapes import (
    MODEL_RELATION,
    TYPES,
    cube,
    every_format,
    glb,
    gltf_document,
    lumpy,
    mesh_xml,
    model_xml,
    obj_text,
    package,
    ply,
    relations_xml,
    stl,
    stl_text,
    tetrahedron,
)

CUBE = cube()


def with_number(mesh: Mesh, value: float) -> Mesh:
    """The mesh with one coordinate put to a value."""
    vertices = mesh.vertices.copy()
    vertices[2, 1] = value
    return Mesh(vertices, mesh.faces)


def document(**more: Any) -> bytes:
    made, data = gltf_document(CUBE, **more)
    return glb(made, data)


def changed(path: str, value: Any) -> bytes:
    """The cube's GLB with one entry of the document replaced (``accessors.0.count``)."""
    made, data = gltf_document(CUBE)
    at: Any = made
    *steps, last = [int(s) if s.isdigit() else s for s in path.split(".")]
    for step in steps:
        at = at[step]
    at[last] = value
    return glb(made, data)


def external(uri: str, kind: str = "buffers") -> bytes:
    made, data = gltf_document(CUBE)
    if kind == "buffers":
        made["buffers"][0]["uri"] = uri
    else:
        made["buffers"][0]["uri"] = "data:application/octet-stream;base64," + base64.b64encode(data).decode()
        made["images"] = [{"uri": uri}]
    return json.dumps(made).encode()


def bomb() -> bytes:
    """A 3MF whose model is 64 MB of spaces."""
    return package(model_xml() + " " * (64 * 1024**2))


def nested_bomb() -> bytes:
    """Components that double thirty times: a thousand million tetrahedra."""
    body = f'<object id="1" type="model">{mesh_xml(tetrahedron())}</object>'
    for number in range(2, 32):
        one = f'<component objectid="{number - 1}"/>'
        body += f'<object id="{number}" type="model"><components>{one}{one}</components></object>'
    return package(model_xml(body, build='<item objectid="31"/>'))


def laughing() -> bytes:
    entities = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
    text = model_xml(before="<metadata name='Title'>&l9;</metadata>")
    return package(text.replace("<model", f'<!DOCTYPE model [<!ENTITY l0 "ha">{entities}]><model', 1))


def claims(data: bytes, size: int) -> bytes:
    """A ZIP whose directory claims another unpacked size for its last file."""
    at = data.rindex(b"PK\x01\x02")
    return data[: at + 24] + struct.pack("<I", size) + data[at + 28 :]


def encrypted(data: bytes) -> bytes:
    at = data.rindex(b"PK\x01\x02")
    return data[: at + 8] + b"\x01" + data[at + 9 :]


def plain_zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("sculpt.stl", stl(CUBE))
    return out.getvalue()


PLY_HEADER = b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
FILES = every_format(lumpy())

BAD: dict[str, tuple[str, bytes, str]] = {
    # name of the case: file name, content, code
    "empty stl": ("a.stl", b"", "file.empty"),
    "empty obj": ("a.obj", b"", "file.empty"),
    "empty ply": ("a.ply", b"", "file.empty"),
    "empty glb": ("a.glb", b"", "file.empty"),
    "empty 3mf": ("a.3mf", b"", "file.empty"),
    "stl header alone": ("a.stl", b"\x01" * 40, "file.truncated"),
    "stl without triangles": ("a.stl", bytes(84), "file.empty"),
    "stl text without triangles": ("a.stl", b"solid nothing\nendsolid nothing\n", "file.empty"),
    "stl cut in a triangle": ("a.stl", FILES["a.stl"][:-17], "file.truncated"),
    "stl cut in half": ("a.stl", FILES["a.stl"][: len(FILES["a.stl"]) // 2], "file.truncated"),
    "stl with a monstrous count": ("a.stl", bytes(80) + b"\xff" * 4 + bytes(50), "file.truncated"),
    "stl text cut short": ("a.stl", FILES["text.stl"][:4000], "file.truncated"),
    "stl text cut in a facet": ("a.stl", FILES["text.stl"][:4000] + b"\nendsolid", "file.syntax"),
    "stl text with a word": ("a.stl", stl_text(CUBE).replace(b"vertex 0 0 2", b"vertex 0 zero 2"), "file.syntax"),
    "stl text, four corners": ("a.stl", stl_text(CUBE).replace(b" endloop", b" vertex 1 2 3\n endloop", 1), "file.syntax"),
    "stl with NaN": ("a.stl", stl(with_number(CUBE, np.nan)), "file.not_finite"),
    "stl with infinity": ("a.stl", stl(with_number(CUBE, np.inf)), "file.not_finite"),
    "stl text with NaN": ("a.stl", stl_text(with_number(CUBE, np.nan)), "file.not_finite"),
    "stl too far out": ("a.stl", stl(with_number(CUBE, 1e30)), "file.range"),
    "obj that is binary": ("a.obj", bytes(range(256)) * 4, "file.kind"),
    "obj without faces": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "file.empty"),
    "obj with NaN": ("a.obj", obj_text(with_number(CUBE, np.nan)), "file.not_finite"),
    "obj too far out": ("a.obj", obj_text(with_number(CUBE, -1e12)), "file.range"),
    "obj with a word": ("a.obj", obj_text(CUBE).replace(b"v 0.0 0.0 2.0", b"v 0.0 up 2.0"), "file.syntax"),
    "obj with two numbers": ("a.obj", obj_text(CUBE).replace(b"v 0.0 0.0 2.0", b"v 0.0 0.0"), "file.syntax"),
    "obj with a face of two": ("a.obj", obj_text(CUBE) + b"f 1 2\n", "file.syntax"),
    "obj with a face of words": ("a.obj", obj_text(CUBE) + b"f a b c\n", "file.syntax"),
    "obj with a face of fractions": ("a.obj", obj_text(CUBE) + b"f 1 2 3.5\n", "file.syntax"),
    "obj beyond its vertices": ("a.obj", obj_text(CUBE) + b"f 1 2 9\n", "file.index"),
    "obj with vertex zero": ("a.obj", obj_text(CUBE) + b"f 0 1 2\n", "file.index"),
    "obj back beyond its vertices": ("a.obj", obj_text(CUBE) + b"f -1 -2 -9\n", "file.index"),
    "obj with a monstrous index": ("a.obj", obj_text(CUBE) + b"f 1 2 " + b"9" * 40 + b"\n", "file.syntax"),
    "ply without a body": ("a.ply", ply(CUBE, "ascii").split(b"end_header")[0], "file.truncated"),
    "ply cut short": ("a.ply", ply(CUBE, "ascii")[:-30], "file.truncated"),
    "ply binary cut short": ("a.ply", ply(CUBE, "binary_little_endian")[:-30], "file.truncated"),
    "ply cut in the vertices": ("a.ply", ply(lumpy(), "binary_big_endian")[:1000], "file.truncated"),
    "ply with a monstrous count": ("a.ply", ply(CUBE, "binary_little_endian").replace(
        b"vertex 8", b"vertex 50000000"), "file.truncated"),
    "ply with a count beyond all": ("a.ply", ply(CUBE, "ascii").replace(b"vertex 8", b"vertex 8" + b"0" * 30), "file.huge"),
    "ply with a negative count": ("a.ply", ply(CUBE, "ascii").replace(b"vertex 8", b"vertex -8"), "file.syntax"),
    "ply of an unknown kind": ("a.ply", ply(CUBE, "binary_middle_endian"), "file.syntax"),
    "ply with an unknown type": ("a.ply", ply(CUBE, "ascii").replace(b"property uchar red", b"property colour red"),
                                 "file.syntax"),
    "ply without z": ("a.ply", ply(CUBE, "ascii").replace(b"double z", b"double depth"), "file.syntax"),
    "ply without faces": ("a.ply", PLY_HEADER + b"end_header\n0 0 0\n1 0 0\n0 1 0\n", "file.empty"),
    "ply with a word": ("a.ply", ply(CUBE, "ascii").replace(b"0.0 0.0 2.0 7", b"0.0 up 2.0 7"), "file.syntax"),
    "ply with NaN": ("a.ply", ply(with_number(CUBE, np.nan), "binary_little_endian"), "file.not_finite"),
    "ply beyond its vertices": ("a.ply", ply(CUBE, "ascii").replace(b"3 0 1 3", b"3 0 1 8"), "file.index"),
    "ply with a face of two": ("a.ply", PLY_HEADER + b"element face 1\nproperty list uchar int vertex_indices\n"
                               b"end_header\n0 0 0\n1 0 0\n0 1 0\n2 0 1\n", "file.syntax"),
    "ply with a negative list": ("a.ply", PLY_HEADER + b"element face 1\nproperty list char int vertex_indices\n"
                                 b"end_header\n0 0 0\n1 0 0\n0 1 0\n-3 0 1 2\n", "file.truncated"),
    "ply of strips": ("a.ply", PLY_HEADER + b"element tristrips 1\nproperty list int int vertex_indices\n"
                      b"end_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n", "file.unsupported"),
    "glb cut in the header": ("a.glb", b"glTF\x02\0\0\0", "file.truncated"),
    "glb cut short": ("a.glb", document()[:-40], "file.truncated"),
    "glb of version 1": ("a.glb", b"glTF\x01\0\0\0" + document()[8:], "file.unsupported"),
    "glb whose document is none": ("a.glb", b"glTF" + struct.pack("<III4s", 2, 24, 4, b"JSON") + b"nope", "file.syntax"),
    "gltf whose document is cut": ("a.gltf", json.dumps(gltf_document(CUBE)[0]).encode()[:-40], "file.syntax"),
    "gltf nested without end": ("a.gltf", b'{"asset":' + b"[" * 100_000, "file.syntax"),
    "gltf that is a list": ("a.gltf", b'["asset"]', "file.syntax"),
    "gltf draco": ("a.glb", document(extensionsRequired=["KHR_draco_mesh_compression"]), "file.compressed"),
    "gltf meshopt": ("a.glb", document(extensionsRequired=["EXT_meshopt_compression"]), "file.compressed"),
    "gltf meshopt, newer": ("a.glb", document(extensionsRequired=["KHR_meshopt_compression"]), "file.compressed"),
    "gltf draco, not declared as required": ("a.glb", changed("accessors.0", {
        "componentType": 5126, "count": 8, "type": "VEC3"}), "file.compressed"),
    "gltf meshopt fallback": ("a.glb", changed("bufferViews.0.buffer", 1), "file.syntax"),
    "gltf unknown extension": ("a.glb", document(extensionsRequired=["XYZ_unheard_of"]), "file.unsupported"),
    "gltf instancing": ("a.glb", document(extensionsUsed=["EXT_mesh_gpu_instancing"]), "file.unsupported"),
    "gltf of version 3": ("a.glb", document(asset={"version": "3.0"}), "file.unsupported"),
    "gltf without meshes": ("a.glb", document(nodes=[{"name": "nothing"}]), "file.empty"),
    "gltf of points": ("a.glb", changed("meshes.0.primitives.0.mode", 0), "file.empty"),
    "gltf with NaN": ("a.glb", glb(*gltf_document(with_number(CUBE, np.nan))), "file.not_finite"),
    "gltf too far out": ("a.glb", glb(*gltf_document(with_number(CUBE, 1e20))), "file.range"),
    "gltf beyond its vertices": ("a.glb", glb(*gltf_document(Mesh(CUBE.vertices, CUBE.faces + 1))), "file.index"),
    "gltf with a monstrous count": ("a.glb", changed("accessors.0.count", 100_000_000), "file.truncated"),
    "gltf with a count beyond all": ("a.glb", changed("accessors.0.count", 10**30), "file.syntax"),
    "gltf with a negative count": ("a.glb", changed("accessors.0.count", -1), "file.syntax"),
    "gltf with a negative offset": ("a.glb", changed("bufferViews.0.byteOffset", -8), "file.syntax"),
    "gltf view beyond its buffer": ("a.glb", changed("bufferViews.0.byteLength", 10**9), "file.truncated"),
    "gltf buffer shorter than stated": ("a.glb", changed("buffers.0.byteLength", 10**9), "file.truncated"),
    "gltf circle of nodes": ("a.glb", changed("nodes.0.children", [0]), "file.syntax"),
    "gltf node that is not there": ("a.glb", changed("scenes.0.nodes", [7]), "file.syntax"),
    "gltf mesh that is not there": ("a.glb", changed("nodes.0.mesh", 7), "file.syntax"),
    "gltf flattened": ("a.glb", changed("nodes.0.scale", [1, 0, 1]), "file.syntax"),
    "gltf placed at NaN": ("a.gltf", external("a").replace(b'"mesh": 0}', b'"mesh": 0, "scale": [1, NaN, 1]}'), "file.syntax"),
    "gltf of wrong types": ("a.glb", changed("meshes.0.primitives", "none"), "file.syntax"),
    "gltf whose accessor is a word": ("a.glb", changed("meshes.0.primitives.0.indices", "first"), "file.syntax"),
    "gltf buffer by a path up": ("a.gltf", external("../secret.bin"), "file.path"),
    "gltf buffer by a coded path up": ("a.gltf", external("%2e%2e/secret.bin"), "file.path"),
    "gltf buffer by a root path": ("a.gltf", external("/etc/hostname"), "file.path"),
    "gltf buffer by a drive": ("a.gltf", external("C:\\secret.bin"), "file.path"),
    "gltf buffer by address": ("a.gltf", external("https://example.org/a.bin"), "file.path"),
    "gltf buffer by file address": ("a.gltf", external("file:///etc/hostname"), "file.path"),
    "gltf texture by a path up": ("a.gltf", external("../../secret.png", "images"), "file.path"),
    "gltf buffer that is not there": ("a.gltf", external("elsewhere.bin"), "file.missing"),
    "gltf buffer of broken base64": ("a.gltf", external("data:;base64,????"), "file.syntax"),
    "3mf cut short": ("a.3mf", package()[:-60], "file.truncated"),
    "3mf cut in half": ("a.3mf", package()[:300], "file.truncated"),
    "3mf that is another archive": ("a.3mf", plain_zip(), "file.kind"),
    "3mf zip bomb": ("a.3mf", bomb(), "file.bomb"),
    "3mf that claims gigabytes": ("a.3mf", claims(package(), 3_900_000_000), "file.bomb"),
    "3mf of multiplying components": ("a.3mf", nested_bomb(), "file.bomb"),
    "3mf that lies about its size": ("a.3mf", claims(package(), 50), "file.truncated"),
    "3mf encrypted": ("a.3mf", encrypted(package()), "file.unsupported"),
    "3mf with entities": ("a.3mf", laughing(), "file.entities"),
    "3mf with an outer entity": ("a.3mf", package(model_xml().replace(
        "<model", '<!DOCTYPE m [<!ENTITY x SYSTEM "file:///etc/hostname">]><model', 1)), "file.entities"),
    "3mf relations with entities": ("a.3mf", package(relations=relations_xml((MODEL_RELATION, "/3D/3dmodel.model")).replace(
        "<Relationships", "<!DOCTYPE r []><Relationships", 1)), "file.entities"),
    "3mf name that leads up": ("a.3mf", package(extra={"../../outside.txt": b"x"}), "file.path"),
    "3mf name from the root": ("a.3mf", package(extra={"/etc/outside.txt": b"x"}), "file.path"),
    "3mf name that is empty": ("a.3mf", package(extra={"x": b"x"}).replace(b"xPK\x05", b"\0PK\x05"), "file.path"),
    "3mf name on a drive": ("a.3mf", package(extra={"C:outside.txt": b"x"}), "file.path"),
    "3mf target that leads up": ("a.3mf", package(relations=relations_xml((MODEL_RELATION, "/../3dmodel.model"))), "file.path"),
    "3mf two names that differ in case": ("a.3mf", package(extra={"3d/3DMODEL.model": b"x"}), "file.syntax"),
    "3mf without content types": ("a.3mf", package(types=None), "file.kind"),
    "3mf whose model has no type": ("a.3mf", package(types=TYPES.replace('Extension="model"', 'Extension="mdl"')),
                                    "file.syntax"),
    "3mf without items": ("a.3mf", package(model_xml(build="")), "file.empty"),
    "3mf with NaN": ("a.3mf", package(model_xml().replace('x="1.0"', 'x="NaN"')), "file.not_finite"),
    "3mf too far out": ("a.3mf", package(model_xml().replace('x="1.0"', 'x="1e300"')), "file.range"),
    "3mf moved too far out": ("a.3mf", package(model_xml(
        build='<item objectid="1" transform="1 0 0 0 1 0 0 0 1 1e12 0 0"/>')), "file.range"),
    "3mf extension it cannot do without": ("a.3mf", package(model_xml(
        attributes='requiredextensions="z" xmlns:z="http://example.org/strange"')), "file.unsupported"),
    "no mesh at all": ("notes.txt", b"A list of errands.\n", "file.kind"),
    "an ending that is not known": ("a.fbx", b"Kaydara" + bytes(100), "file.kind"),
    "a picture named as a sculpt": ("a.obj", b"\x89PNG\r\n\x1a\n" + bytes(200), "file.kind"),
}  # fmt: skip


@pytest.mark.parametrize("case", sorted(BAD))
def test_bad_files_are_refused_clearly(case: str, tmp_path: Path) -> None:
    name, content, code = BAD[case]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(FileFormatError) as caught:
        read_scene(path)
    error = caught.value
    assert error.code == code
    assert error.message
    assert error.message.isprintable()
    assert len(error.message) < 300
    assert error.hint.endswith(".")
    assert error.place.file is not None
    assert str(tmp_path) not in str(error)


@pytest.mark.parametrize(
    ("name", "content", "line"),
    [
        ("a.obj", obj_text(CUBE) + b"f 1 2\n", 22),
        ("a.obj", obj_text(CUBE) + b"f 1 2 9\n", 22),
        ("a.obj", obj_text(CUBE).replace(b"v 0.0 0.0 2.0", b"v 0.0 up 2.0"), 3),
        ("a.stl", stl_text(CUBE).replace(b"vertex 2 2 2", b"vertex 2 2", 1), 16),
        ("a.ply", ply(CUBE, "ascii").replace(b"0.0 0.0 2.0 7", b"0.0 up 2.0 7"), 14),
        ("a.ply", ply(CUBE, "ascii").replace(b"property uchar red", b"property colour red"), 8),
        ("a.3mf", package(model_xml().replace("<triangle", "\n\n<triangle", 1).replace('v1="0"', 'v1="x"', 1)), 3),
        ("a.gltf", b'{"asset":\n{"version": "2.0"},\n oops}', 3),
    ],
)
def test_the_place_names_the_line(name: str, content: bytes, line: int) -> None:
    with pytest.raises(FileFormatError) as caught:
        read_scene_bytes(content, name)
    assert caught.value.place.line == line


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "nothing.stl", tmp_path / ("n" * 5000), tmp_path / "nul\0.stl"):
        with pytest.raises(FileFormatError) as caught:
            read_scene(path)
        assert caught.value.hint


def test_a_file_larger_than_the_limit_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    with path.open("wb") as stream:
        stream.truncate(limits.MAX_FILE_BYTES + 1)  # a hole: nothing is written
    with pytest.raises(FileFormatError) as caught:
        read_scene(path)
    assert caught.value.code == "file.huge"


def test_too_many_triangles_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("limits", "stl", "threemf", "threemf_model", "ply"):
        monkeypatch.setattr(f"condyle.geometry.formats.{module}.MAX_TRIANGLES", 11)
    for name, content in every_format(CUBE).items():
        with pytest.raises(FileFormatError) as caught:
            read_scene_bytes(content, name)
        assert caught.value.code == "file.huge", name


def test_a_mesh_shown_too_often_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A thousand nodes that show one mesh are counted before they fill the memory."""
    monkeypatch.setattr("condyle.geometry.formats.gltf.MAX_TRIANGLES", 100)
    made, data = gltf_document(CUBE)
    made["nodes"] = [{"mesh": 0} for _ in range(1000)]
    made["scenes"] = [{"nodes": list(range(1000))}]
    with pytest.raises(FileFormatError) as caught:
        read_scene_bytes(glb(made, data), "a.glb")
    assert caught.value.code == "file.huge"


def test_a_buffer_behind_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    made, data = gltf_document(CUBE)
    made["buffers"][0]["uri"] = "a.bin"
    (tmp_path / "outside.bin").write_bytes(data)
    folder = tmp_path / "figure"
    folder.mkdir()
    (folder / "a.gltf").write_text(json.dumps(made))
    (folder / "a.bin").symlink_to(tmp_path / "outside.bin")
    with pytest.raises(FileFormatError) as caught:
        read_scene(folder / "a.gltf")
    assert caught.value.code == "file.path"


@pytest.mark.parametrize(("real", "named"), [("a.glb", "a.stl"), ("ascii.ply", "a.obj"), ("a.3mf", "a.glb"),
                                             ("text.stl", "a.ply"), ("a.stl", "sculpt"), ("a.obj", "a.txt")])  # fmt: skip
def test_a_wrong_ending_is_read_for_what_it_is_and_reported(real: str, named: str) -> None:
    scene = read_scene_bytes(every_format(CUBE)[real], named)
    assert scene.merged().volume_mm3 == pytest.approx(8.0)
    assert "was read as that" in scene.notes[-1]


def test_bytes_after_the_end_of_an_stl_are_reported() -> None:
    scene = read_scene_bytes(stl(CUBE) + b"trailing", "a.stl")
    assert scene.triangle_count == 12
    assert "8 bytes" in scene.notes[0]


def test_open_and_inverted_meshes_are_read_as_they_are() -> None:
    """Mending is intake's: a reader neither closes nor turns what it is given."""
    open_mesh = Mesh(CUBE.vertices, CUBE.faces[:-2])
    inverted = Mesh(CUBE.vertices, CUBE.faces[:, ::-1])
    for name, content in every_format(open_mesh).items():
        assert read_scene_bytes(content, name).triangle_count == 10
    for name, content in every_format(inverted).items():
        assert read_scene_bytes(content, name).merged().volume_mm3 == pytest.approx(-8.0)
