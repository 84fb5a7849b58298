"""A sculpt is all of its files: what a glTF points to, and every piece, counts in its hash.

The glTF is written by trimesh; hashes are judged by hashlib.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
import trimesh

from condyle.errors import CondyleError, InputError
from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import box
from condyle.project.sculpt import load_sculpt


def digest(*data: bytes) -> str:
    return "blake2b:" + hashlib.blake2b(b"".join(data), digest_size=20).hexdigest()


def test_buffers_beside_a_gltf_count(tmp_path: Path) -> None:
    files = trimesh.exchange.gltf.export_gltf(trimesh.Scene(trimesh.creation.box((1.0, 2.0, 3.0))))
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    sides = [files[uri] for uri in sorted(b["uri"] for b in json.loads(files["model.gltf"])["buffers"])]
    sculpt = load_sculpt([tmp_path / "model.gltf"])
    assert len(sides) >= 1
    assert sculpt.hash == digest(files["model.gltf"], *sides)
    assert sculpt.scene.triangle_count == 12


def test_pieces_count_in_their_order(tmp_path: Path) -> None:
    one, two = stl_bytes(box((0, 0, 0), (1, 1, 1)).mesh), stl_bytes(box((2, 0, 0), (3, 1, 1)).mesh)
    (tmp_path / "one.stl").write_bytes(one)
    (tmp_path / "two.stl").write_bytes(two)
    paths = [tmp_path / "one.stl", tmp_path / "two.stl"]
    assert load_sculpt(paths[:1]).hash == digest(one)
    assert load_sculpt(paths).hash == digest(one, two) != load_sculpt(paths[::-1]).hash
    assert load_sculpt(paths).scene.triangle_count == 24


def test_what_cannot_be_read_is_told_with_its_whole_path(tmp_path: Path) -> None:
    (tmp_path / "broken.stl").write_bytes(b"solid")
    for name in ("none.stl", "", "broken.stl", "a\0b"):
        with pytest.raises(InputError) as caught:
            _ = load_sculpt([tmp_path / name]).scene
        assert isinstance(caught.value, CondyleError)
        assert str(tmp_path) in str(caught.value.place)
