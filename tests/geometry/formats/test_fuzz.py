"""Random and damaged bytes end in a scene of finite numbers or in a FileFormatError, whatever they are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from condyle.errors import FileFormatError
from condyle.geometry.formats import read_scene_bytes
from tests.geometry.formats.shapes import cube, every_format, glb, gltf_document, stl_text
from tests.geometry.formats.test_gltf import arm

NAMES = ("a.stl", "a.obj", "a.ply", "a.glb", "a.gltf", "a.3mf", "a")
VALID = {**every_format(cube()), "skin.glb": glb(arm().json, arm().data)}
STARTS = (
    b"",
    b"solid ",
    b"ply\nformat ascii 1.0\n",
    b"glTF\x02\0\0\0",
    b"PK\x03\x04",
    b"v 0 0 0\nf ",
    b'{"asset":{"version":"2.0"},',
)

many = settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


def survives(data: bytes, name: str) -> None:
    try:
        scene = read_scene_bytes(data, name)
    except FileFormatError as error:
        assert error.hint
        assert error.message.isprintable()
        return
    for named in scene.meshes:
        assert np.isfinite(named.mesh.vertices).all()
        assert named.mesh.triangle_count
        assert int(named.mesh.faces.max()) < len(named.mesh.vertices)
        assert int(named.mesh.faces.min()) >= 0


@many
@given(st.sampled_from(STARTS), st.binary(max_size=400), st.sampled_from(NAMES))
def test_random_bytes(start: bytes, data: bytes, name: str) -> None:
    survives(start + data, name)


@pytest.mark.parametrize("name", sorted(VALID))
@many
@given(data=st.data())
def test_damaged_files(name: str, data: st.DataObject) -> None:
    """Bytes overwritten, cut out, or doubled."""
    content = bytearray(VALID[name])
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, max(len(content) - 1, 0)))
        kind = data.draw(st.sampled_from(("set", "cut", "double", "end")))
        if kind == "set":
            content[at : at + 4] = data.draw(
                st.sampled_from((b"\0" * 4, b"\xff" * 4, b"\x7f\x80\0\1", b"nan ", b"-1\n ", b"<>&;"))
            )
        elif kind == "cut":
            del content[at : at + data.draw(st.integers(1, 60))]
        elif kind == "double":
            content[at:at] = content[at : at + data.draw(st.integers(1, 60))]
        else:
            del content[at:]
        if not content:
            content += b"\0"
    survives(bytes(content), name)


SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(-3, 12), st.sampled_from((10**9, 2**31, 2**63, 10**30)),
    st.floats(allow_nan=True), st.text(max_size=5),
)  # fmt: skip
VALUES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
                      max_leaves=6)  # fmt: skip


@many
@given(data=st.data())
def test_gltf_documents_with_entries_replaced(data: st.DataObject) -> None:
    """Anything may stand anywhere in the document: no type is taken for granted."""
    skinned = data.draw(st.booleans())
    document = arm()
    if not skinned:
        document.json, document.data = gltf_document(cube())
    for _ in range(data.draw(st.integers(1, 3))):
        at = document.json
        while True:
            keys = list(at) if isinstance(at, dict) else list(range(len(at)))
            key = data.draw(st.sampled_from(keys))
            if not isinstance(at[key], dict | list) or not at[key] or data.draw(st.booleans()):
                at[key] = data.draw(VALUES)
                break
            at = at[key]
        if not isinstance(document.json, dict):
            break
    survives(glb(document.json, document.data), "a.glb")


WORDS = st.sampled_from(
    ["solid", "endsolid", "facet", "normal", "outer loop", "vertex", "endloop", "endfacet", "0", "1", "-1", "1e5", "nan", "x",
     "\n", "ply", "format ascii 1.0", "element vertex 3", "property float x", "property list uchar int vertex_indices",
     "element face 1", "end_header", "v", "f", "1/2/3", "g", "o", "\\", "#"]
)  # fmt: skip


@many
@given(st.lists(WORDS, max_size=60), st.sampled_from(("a.stl", "a.obj", "a.ply")), st.sampled_from((" ", "\n")))
def test_the_words_of_the_formats_in_any_order(words: list[str], name: str, between: str) -> None:
    start = {"a.stl": "solid a\n", "a.obj": "", "a.ply": "ply\n"}[name]
    survives((start + between.join(words)).encode() or b" ", name)


def test_a_long_text_stl_line_does_not_hang() -> None:
    survives(b"solid a " + b"vertex " * 200_000 + b"facet endsolid", "a.stl")
    survives(stl_text(cube()) + b"solid " * 100_000, "a.stl")
