"""The model files that the Debian package assimp-testmodels (BSD-3) carries, many of them malformed on purpose: each is answered."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from condyle.errors import FileFormatError
from condyle.geometry.formats import READABLE, read_scene

FOLDER = Path("/usr/share/assimp")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not FOLDER.is_dir(), reason="apt-get install assimp-testmodels brings the files"),
]


def test_every_file_is_read_or_refused_with_code_remedy_and_place() -> None:
    files = sorted(p for p in FOLDER.rglob("*") if p.is_file())
    mine = [p for p in files if p.suffix.lower() in READABLE]
    read = 0
    for path in files:
        try:
            scene = read_scene(path)
        except FileFormatError as error:
            assert error.code.startswith("file."), path
            assert error.hint, path
            assert error.place.file, path
            assert error.message.isprintable(), path
            continue
        read += 1
        assert all(np.isfinite(m.mesh.vertices).all() and m.mesh.triangle_count for m in scene.meshes), path
    assert len(mine) > 50
    assert read > 25, "sound files are among them"
